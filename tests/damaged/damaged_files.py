"""Damage to the file as a whole: encoding, shape, sheets, headers."""

from __future__ import annotations

import io
import zipfile
from typing import Any

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill

from returned_files import Good

from .catalogue import accepting, damage

XLSX = "fernsedge.xlsx"
ALL: Any = ("heads", "solution", "visits")
YELLOW = PatternFill("solid", fgColor="FFFF00")


def lines(good: Good) -> list[str]:
    """Return the lines of the good CSV file."""
    return good.csv().splitlines()


def text(rows: list[str]) -> str:
    """Put lines together again."""
    return "\n".join(rows) + "\n"


# Encoding


@damage("repaired", "TK-R01", "byte-order mark")
def byte_order_mark(good: Good) -> bytes:
    """UTF-8 with its mark, as spreadsheet programs save it."""
    return b"\xef\xbb\xbf" + good.csv().encode()


@damage("repaired", "TK-R01", "UTF-16")
def utf_16(good: Good) -> bytes:
    """What spreadsheet programs call Unicode text: UTF-16 and tabs."""
    return good.csv(delimiter="\t").encode("utf-16")


@damage("repaired", "TK-R01", "UTF-16")
def utf_16_without_its_mark(good: Good) -> bytes:
    """UTF-16 that lost its mark on the way."""
    return good.csv().encode("utf-16-le")


@damage("repaired", "TK-R01", "looks like Windows-1252")
def cp1252_accents(good: Good) -> bytes:
    """Accents of Western Europe in one byte each."""
    return good.csv().encode("cp1252")


@damage("repaired", "TK-R01", "looks like Mac Roman")
def mac_roman_accents(good: Good) -> bytes:
    """Accents as older Macintosh programs wrote them."""
    return good.csv().encode("mac_roman")


@damage("asked", "TK-R02", 'it may have been "flétri', answers=accepting("TK-R02"))
def mojibake(good: Good) -> str:
    """UTF-8 that was read as Windows-1252 and saved."""
    return good.csv().encode().decode("cp1252")


@damage("refused", "TK-R05", "NUL bytes, the first in line 3")
def nul_bytes(good: Good) -> bytes:
    """A file from a failing memory card."""
    rows = lines(good)
    return text([*rows[:2], rows[2][:9] + "\0\0\0\0" + rows[2][13:], *rows[3:]]).encode()


# Marks between columns and lines


@damage("repaired", "TK-R03", "separated by semicolons")
def semicolons(good: Good) -> str:
    """CSV where the comma parts decimals."""
    return good.csv(delimiter=";")


@damage("repaired", "TK-R03", "separated by tabs", file="fernsedge.txt")
def tabs(good: Good) -> str:
    """Text parted by tabs."""
    return good.csv(delimiter="\t")


@damage("repaired", "TK-R03", "upright strokes")
def upright_strokes(good: Good) -> str:
    """Text parted by upright strokes."""
    return good.csv(delimiter="|")


@damage("repaired", "TK-R03", 'columns are separated by ";"')
def separator_line(good: Good) -> str:
    """The line sep=; that some programs put first."""
    return "sep=;\n" + good.csv(delimiter=";")


@damage("repaired", "TK-R12", "lines end in different ways")
def mixed_line_ends(good: Good) -> str:
    """Two files put together."""
    rows = lines(good)
    return "\r\n".join(rows[:5]) + "\r\n" + text(rows[5:])


@damage("refused", "TK-R09", "in line 4 that is never closed")
def quote_never_closed(good: Good) -> str:
    """A quotation mark before a note, and none after it."""
    rows = lines(good)
    rows[3] = rows[3].rpartition(",")[0] + ',"leaf torn'
    return text(rows)


@damage("refused", "TK-R09", "text after a closing quotation mark, in line 4")
def inch_mark_in_quotes(good: Good) -> str:
    """A quotation mark within quotation marks that was not doubled."""
    rows = lines(good)
    rows[3] = rows[3].rpartition(",")[0] + ',"leaf 3" long"'
    return text(rows)


# The wrong kind of file


@damage("repaired", "TK-R04", "the name ends in .csv, but the file is a workbook", tables=ALL)
def workbook_named_csv(good: Good) -> bytes:
    """A workbook that was renamed."""
    return good.workbook()


@damage("refused", "TK-R05", "a web page")
def html_named_csv(good: Good) -> str:
    """A web page that some programs save as a spreadsheet."""
    rows = "".join(f"<tr><td>{'</td><td>'.join(row.split(','))}</td></tr>" for row in lines(good))
    return f"<html><body><table>{rows}</table></body></html>"


@damage("refused", "TK-R05", "a photograph", file="fernsedge.jpg")
def photograph(good: Good) -> bytes:  # noqa: ARG001
    """A picture of the sheet."""
    return b"\xff\xd8\xff\xe0" + bytes(range(256)) * 8


@damage("refused", "TK-R05", "cut off or damaged", file=XLSX)
def truncated_workbook(good: Good) -> bytes:
    """A workbook of which the second half did not arrive."""
    data = good.workbook()
    return data[: len(data) // 2]


@damage("refused", "TK-R05", "damaged inside", file=XLSX)
def workbook_with_a_broken_sheet(good: Good) -> bytes:
    """A workbook whose sheet is no longer XML."""
    return rewritten(good.workbook(), "xl/worksheets/sheet2.xml", lambda data: data[: len(data) // 2])


@damage("refused", "TK-R05", "defines XML entities", file=XLSX)
def xml_bomb(good: Good) -> bytes:
    """Entities that unfold to gigabytes (the attack known as billion laughs)."""
    levels = "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
    document = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a0 "ha">{levels}]><worksheet>&a9;</worksheet>'
    return rewritten(good.workbook(), "xl/worksheets/sheet2.xml", lambda _: document.encode())


@damage("refused", "TK-R07", "that unpacks to", file=XLSX)
def zip_bomb(good: Good) -> bytes:
    """A small workbook that unpacks to a hundred megabytes."""
    return rewritten(good.workbook(), "xl/media/image1.png", lambda _: bytes(100_000_000))


@damage("refused", "TK-R06", "a locked workbook or an old .xls", file=XLSX)
def password_protected_workbook(good: Good) -> bytes:  # noqa: ARG001
    """What a spreadsheet program saves under a password is no longer a zip but a compound file."""
    return b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(3000)


@damage("refused", "TK-R05", "a document of another program", file="fernsedge.ods")
def open_document(good: Good) -> bytes:  # noqa: ARG001
    """A spreadsheet in the other common format."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("mimetype", "application/x-another-spreadsheet")
        archive.writestr("content.xml", "<office/>")
    return stream.getvalue()


@damage("refused", "TK-R08", "an empty file")
def empty_file(good: Good) -> str:  # noqa: ARG001
    """Nothing."""
    return "\n"


@damage("refused", "TK-R08", "at least one row below the header")
def header_only(good: Good) -> str:
    """A header without rows."""
    return text(lines(good)[:1])


@damage("refused", "TK-R10", "the headings of heads, solution or visits")
def something_else(good: Good) -> str:  # noqa: ARG001
    """A shopping list."""
    return "item,price\nbuckets,12.50\n"


@damage("refused", "TK-R10", "the table layout")
def the_layout_itself(good: Good) -> bytes:
    """The adviser's own table sent back."""
    del good
    return b"bucket,site,block,position,cultivar,dose_tsp,acidifier\n334X,FERN,1,1,NA,2,none\n"


@damage("refused", "TK-R07", "50000 rows", file="huge.csv")
def huge_sheet(good: Good) -> str:
    """A sheet filled to the bottom."""
    rows = lines(good)
    return text([rows[0], *rows[1:2] * 60_000])


@damage("refused", "TK-R07", "columns", file=XLSX)
def cell_far_out(good: Good) -> bytes:
    """A workbook with one value at the far end of a sheet."""

    def change(book: Workbook) -> None:
        book["heads"].cell(40_000, 5_000, "x")

    return good.workbook(change)


# The phone file


@damage("refused", "TK-R48", "a check sum that does not fit", file="fernsedge.json")
def phone_file_edited(good: Good) -> bytes:
    """A weight changed by hand in the file that the phone saved."""
    return good.phone().replace(b'"weight_g": "143.2"', b'"weight_g": "243.2"')


@damage("refused", "TK-R48", "text that breaks off", file="fernsedge.txt")
def phone_message_cut_off(good: Good) -> bytes:
    """A message that was too long."""
    return good.phone()[:-400]


@damage("repaired", "TK-R58", "Here are ours", file="fernsedge.txt", tables=ALL)
def phone_record_within_a_message(good: Good) -> bytes:
    """The record as text, with a greeting around it."""
    return b"Here are ours, finally!\n\n" + good.phone() + b"\n\nSent from the garden\n"


@damage("refused", "TK-R47", 'a form of "spring-dose"', file="fernsedge.json")
def form_of_another_trial(good: Good) -> bytes:
    """Last season's form."""
    return good.phone(trial="spring-dose")


@damage("refused", "TK-R47", "a form made for another layout", file="fernsedge.json")
def form_of_another_layout(good: Good) -> bytes:
    """A form from before the buckets were randomised again."""
    return good.phone(layout="0123456789ab")


# Shape


@damage("asked", "TK-R11", "the headings are in row 3", answers=accepting("TK-R11"))
def title_rows(good: Good) -> str:
    """A title and its date above the header."""
    return "Fernsedge School lettuce,,,,,,,,\nOctober,,,,,,,,\n" + good.csv()


@damage("repaired", "TK-R12", "blank rows were passed over")
def blank_rows(good: Good) -> str:
    """Blank rows in the middle and at the end."""
    rows = lines(good)
    return text([*rows[:4], ",,,,,,,,", "", *rows[4:], ",,,,,,,,", ",,,,,,,,"])


@damage("repaired", "TK-R12", "blank columns")
def trailing_blank_columns(good: Good) -> str:
    """Commas at the end of each line."""
    return text([f"{row},,," for row in lines(good)])


@damage("refused", "TK-R13", '"Mean"')
def mean_row_at_the_bottom(good: Good) -> str:
    """A row that somebody worked out."""
    return good.csv() + "Mean,,,,,,151.2,,\n"


@damage("refused", "TK-R14", "another header")
def two_tables_on_one_sheet(good: Good) -> str:
    """The solution below the heads."""
    return good.csv() + ",,,,,,,,\n" + text([f"{row}," for row in good.csv("solution").splitlines()])


@damage("refused", "TK-R14", "headings of the table solution beside it")
def two_tables_side_by_side(good: Good) -> str:
    """The solution right of the heads."""
    beside = [row.partition(",")[2] for row in good.csv("solution").splitlines()]
    return text([f"{row},,{beside[min(i, 8)]}" for i, row in enumerate(lines(good))])


@damage("repaired", "TK-R40", "the heading line is repeated", tables=("heads",))
def header_repeated(good: Good) -> str:
    """The header once more in the middle, as on a printed list."""
    rows = lines(good)
    return text([*rows[:9], rows[0], *rows[9:]])


@damage("refused", "TK-R15", "merged cells A2:A3", file=XLSX)
def merged_cells(good: Good) -> bytes:
    """One label merged over the rows of its heads."""
    return good.workbook(lambda book: book["heads"].merge_cells("A2:A3"))


@damage("refused", "TK-R15", "merged cells E1:F1", file=XLSX)
def merged_header_cells(good: Good) -> bytes:
    """Two headings merged into one."""
    return good.workbook(lambda book: book["heads"].merge_cells("E1:F1"))


@damage("asked", "TK-R16", "1 cell coloured", file=XLSX, tables=ALL, answers=accepting("TK-R16"))
def colour_as_data(good: Good) -> bytes:
    """A yellow weight, which means something to somebody."""

    def change(book: Workbook) -> None:
        book["heads"]["G4"].fill = YELLOW

    return good.workbook(change)


@damage("asked", "TK-R16", "struck out", file=XLSX, tables=ALL, answers=accepting("TK-R16"))
def struck_out(good: Good) -> bytes:
    """A weight struck out but left there."""

    def change(book: Workbook) -> None:
        book["heads"]["G4"].font = Font(strike=True)

    return good.workbook(change)


@damage("asked", "TK-R16", "scale was wet", file=XLSX, tables=ALL, answers=accepting("TK-R16"))
def remark_on_a_cell(good: Good) -> bytes:
    """A remark pinned to a cell."""

    def change(book: Workbook) -> None:
        book["heads"]["G4"].comment = Comment("scale was wet", "volunteer")

    return good.workbook(change)


@damage("asked", "TK-R17", "2 hidden rows", file=XLSX, tables=ALL, answers=accepting("TK-R17"))
def hidden_rows(good: Good) -> bytes:
    """Rows hidden by a filter."""

    def change(book: Workbook) -> None:
        for row in (4, 5):
            book["heads"].row_dimensions[row].hidden = True

    return good.workbook(change)


@damage("asked", "TK-R17", "a hidden column", file=XLSX, tables=ALL, answers=accepting("TK-R17"))
def hidden_column(good: Good) -> bytes:
    """A column folded away."""

    def change(book: Workbook) -> None:
        book["heads"].column_dimensions["F"].hidden = True

    return good.workbook(change)


@damage("asked", "TK-R17", "a hidden sheet", file=XLSX, tables=ALL, answers=accepting("TK-R17"))
def hidden_sheet(good: Good) -> bytes:
    """A table on a sheet that does not show."""

    def change(book: Workbook) -> None:
        book["visits"].sheet_state = "hidden"

    return good.workbook(change)


@damage("asked", "TK-R46", "it is no table of the record", file=XLSX, tables=ALL, answers=accepting("TK-R46"))
def sheet_of_scribbles(good: Good) -> bytes:
    """A sheet that somebody added."""

    def change(book: Workbook) -> None:
        book.create_sheet("Sheet5")["B2"] = "ask about the hose"

    return good.workbook(change)


@damage("repaired", "TK-R54", "recognised by its headings as the table heads", file=XLSX, tables=ALL)
def renamed_sheet(good: Good) -> bytes:
    """A sheet that was given another name."""

    def change(book: Workbook) -> None:
        book["heads"].title = "Lettuce"

    return good.workbook(change)


@damage("repaired", "TK-R40", 'the sheet says the same as the sheet "heads"', file=XLSX, tables=ALL)
def duplicated_sheet(good: Good) -> bytes:
    """A sheet copied to be on the safe side."""

    def change(book: Workbook) -> None:
        book.copy_worksheet(book["heads"]).title = "heads (2)"

    return good.workbook(change)


@damage("refused", "TK-R31", "one row for bucket and head", file=XLSX)
def duplicated_sheet_that_was_changed(good: Good) -> bytes:
    """A copy in which one weight differs."""

    def change(book: Workbook) -> None:
        book.copy_worksheet(book["heads"]).title = "heads (2)"
        book["heads (2)"]["G2"] = 199

    return good.workbook(change)


@damage("refused", "TK-R18", "without its value", file=XLSX)
def formula_without_value(good: Good) -> bytes:
    """A formula written by a program that does not work it out."""

    def change(book: Workbook) -> None:
        book["heads"]["G4"] = "=150.1+4.6"

    return good.workbook(change)


@damage("repaired", "TK-R44", "=100+46.3", file=XLSX, tables=ALL)
def formula_with_value(good: Good) -> bytes:
    """A formula with the value that it had when it was saved."""

    def with_value(data: bytes) -> bytes:
        return data.replace(b"<f>100+46.3</f><v />", b"<f>100+46.3</f><v>146.3</v>").replace(
            b"<f>100+46.3</f><v></v>", b"<f>100+46.3</f><v>146.3</v>"
        )

    def change(book: Workbook) -> None:
        book["heads"]["G3"] = "=100+46.3"

    made = good.with_cell("heads", 1, "weight_g", "146.3").workbook(change)
    return rewritten(made, "xl/worksheets/sheet2.xml", with_value)


@damage("refused", "TK-R18", 'the error "#REF!"', file=XLSX)
def formula_error(good: Good) -> bytes:
    """A value that is an error."""

    def change(book: Workbook) -> None:
        book["heads"]["G4"] = "#REF!"
        book["heads"]["G4"].data_type = "e"

    return good.workbook(change)


# The header


@damage("repaired", "TK-R19", 'was read as "weight_g"')
def header_capitals_and_blanks(good: Good) -> str:
    """A header made beautiful."""
    rows = lines(good)
    rows[0] = " Bucket ,HEAD,Transplanted On,Outcome,Harvested-on,Last not ready on,Weight\u00a0g,Marketable,Note"
    return text(rows)


@damage("repaired", "TK-R19", '"Head weight (g)" was read as "weight_g"')
def header_by_title(good: Good) -> str:
    """The titles of the columns in place of their names."""
    return (
        good.csv().replace("weight_g", "Head weight (g)", 1).replace("last_not_ready_on", "Last seen not ready on", 1)
    )


@damage("refused", "TK-R20", '"weight_g" 2 times')
def duplicate_column(good: Good) -> str:
    """A heading twice."""
    return good.csv().replace("marketable", "weight_g", 1)


@damage("asked", "TK-R21", "it looks like weight_g", answers=accepting("TK-R21"))
def misspelt_column(good: Good) -> str:
    """A slip in a heading."""
    return good.csv().replace("weight_g", "wieght_g", 1)


@damage("asked", "TK-R22", "the table has no such column", answers=accepting("TK-R22"))
def extra_column(good: Good) -> str:
    """A column of somebody's own."""
    rows = lines(good)
    return text([rows[0] + ",snails", *[f"{row},{i % 3}" for i, row in enumerate(rows[1:])]])


@damage("asked", "TK-R22", "it has no heading", answers=accepting("TK-R22"))
def column_without_heading(good: Good) -> str:
    """Values under an empty heading."""
    rows = lines(good)
    return text([",".join([row.partition(",")[0], "" if i == 0 else "x", row.partition(",")[2]])
                 for i, row in enumerate(rows)])  # fmt: skip


@damage("refused", "TK-R23", "10 cells, the last of them")
def row_longer_than_the_header(good: Good) -> str:
    """A note with a comma and no quotation marks."""
    rows = lines(good)
    rows[4] += "torn, but eaten"
    return text(rows)


@damage("refused", "TK-R23", "7 cells")
def row_shorter_than_the_header(good: Good) -> str:
    """A row typed without its last commas."""
    rows = lines(good)
    rows[4] = ",".join(rows[4].split(",")[:7])
    return text(rows)


@damage("refused", "TK-R24", '"week1", "week2"')
def wide_layout(good: Good) -> str:
    """A column for each week."""
    rows = [f"{row['bucket']},FERN,7.1,6.8,6.5" for row in good.tables["solution"]]
    return text(["bucket,measured_on,week1,week2,week3", *rows])


@damage("repaired", "TK-R19", "the columns stand in another order")
def columns_in_another_order(good: Good) -> str:
    """Columns moved about together with their headings."""
    rows = [row.split(",") for row in lines(good)]
    return text([",".join([*row[6:], *row[:6]]) for row in rows])


@damage("asked", "TK-R45", "the two columns would be exchanged", answers=accepting("TK-R45"))
def swapped_columns(good: Good) -> str:
    """Two date columns under each other's heading."""
    header, _, body = good.csv().partition("\n")
    header = (
        header.replace("transplanted_on", "x").replace("harvested_on", "transplanted_on").replace("x", "harvested_on")
    )
    return f"{header}\n{body}"


def rewritten(workbook: bytes, name: str, change: Any) -> bytes:
    """Return a workbook with one of its parts changed, or added."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.infolist():
            if entry.filename != name:
                new.writestr(entry, old.read(entry))
        new.writestr(name, change(old.read(name) if name in old.namelist() else b""))
    return stream.getvalue()
