"""Damage to the file as a whole: encoding, shape, sheets, headers."""

import io
import zipfile
from typing import Any

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill

from returned_files import Good

from .catalogue import ALL, XLSX, damage, delimited, enter, from_lines, heading, lines, marked, sheet, text

YELLOW = PatternFill("solid", fgColor="FFFF00")
BEAUTIFUL = " Bucket ,HEAD,Transplanted On,Outcome,Harvested-on,Last not ready on,Weight\u00a0g,Marketable,Note"


def rewritten(workbook: bytes, name: str, change: Any) -> bytes:
    """Return a workbook with one of its parts changed, or added."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        for entry in old.infolist():
            if entry.filename != name:
                new.writestr(entry, old.read(entry))
        new.writestr(name, change(old.read(name) if name in old.namelist() else b""))
    return stream.getvalue()


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


@damage("refused", "TK-R05", "a web page")
def html_named_csv(good: Good) -> str:
    """A web page that some programs save as a spreadsheet."""
    rows = "".join(f"<tr><td>{'</td><td>'.join(row.split(','))}</td></tr>" for row in lines(good))
    return f"<html><body><table>{rows}</table></body></html>"


@damage("refused", "TK-R05", "defines XML entities", file=XLSX)
def xml_bomb(good: Good) -> bytes:
    """Entities that unfold to gigabytes (the attack known as billion laughs)."""
    levels = "".join(f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10))
    document = f'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a0 "ha">{levels}]><worksheet>&a9;</worksheet>'
    return rewritten(good.workbook(), "xl/worksheets/sheet2.xml", lambda _: document.encode())


@damage("refused", "TK-R05", "a document of another program", file="fernsedge.ods")
def open_document(good: Good) -> bytes:  # noqa: ARG001
    """A spreadsheet in the other common format."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("mimetype", "application/x-another-spreadsheet")
        archive.writestr("content.xml", "<office/>")
    return stream.getvalue()


@damage("refused", "TK-R14", "headings of the table solution beside it")
def two_tables_side_by_side(good: Good) -> str:
    """The solution right of the heads."""
    beside = [row.partition(",")[2] for row in good.csv("solution").splitlines()]
    return text([f"{row},,{beside[min(i, 8)]}" for i, row in enumerate(lines(good))])


@damage("asked", "TK-R17", "2 hidden rows", file=XLSX)
def hidden_rows(good: Good) -> bytes:
    """Rows hidden by a filter."""

    def change(book: Workbook) -> None:
        for row in (4, 5):
            book["heads"].row_dimensions[row].hidden = True

    return good.workbook(change)


@damage("asked", "TK-R17", "a hidden column", file=XLSX)
def hidden_column(good: Good) -> bytes:
    """A column folded away."""

    def change(book: Workbook) -> None:
        book["heads"].column_dimensions["F"].hidden = True

    return good.workbook(change)


def copy_of_the_heads(book: Workbook) -> None:
    """Copy the sheet of the heads."""
    book.copy_worksheet(book["heads"]).title = "heads (2)"


@damage("refused", "TK-R31", "one row for bucket and head", file=XLSX)
def duplicated_sheet_that_was_changed(good: Good) -> bytes:
    """A copy in which one weight differs."""

    def change(book: Workbook) -> None:
        copy_of_the_heads(book)
        book["heads (2)"]["G2"] = 199

    return good.workbook(change)


@damage("repaired", "TK-R44", "=100+46.3", file=XLSX)
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


@damage("asked", "TK-R22", "it has no heading")
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


@damage("refused", "TK-R24", '"week1", "week2"')
def wide_layout(good: Good) -> str:
    """A column for each week."""
    rows = [f"{row['bucket']},FERN,7.1,6.8,6.5" for row in good.tables["solution"]]
    return text(["bucket,measured_on,week1,week2,week3", *rows])


@damage("asked", "TK-R45", "The two columns would be exchanged")
def swapped_columns(good: Good) -> str:
    """Two date columns under each other's heading."""
    header, _, body = good.csv().partition("\n")
    header = (
        header.replace("transplanted_on", "x").replace("harvested_on", "transplanted_on").replace("x", "harvested_on")
    )
    return f"{header}\n{body}"


# fmt: off

# Encoding

# UTF-8 with its mark, as spreadsheet programs save it.
enter("byte order mark", "repaired", "TK-R01", "byte-order mark", lambda good: b"\xef\xbb\xbf" + good.csv().encode())
# What spreadsheet programs call Unicode text: UTF-16 and tabs.
enter("utf 16", "repaired", "TK-R01", "UTF-16",
      lambda good: good.csv(delimiter="\t").encode("utf-16"))
# UTF-16 that lost its mark on the way.
enter("utf 16 without its mark", "repaired", "TK-R01", "UTF-16", lambda good: good.csv().encode("utf-16-le"))
# Accents of Western Europe in one byte each.
enter("cp1252 accents", "repaired", "TK-R01", "looks like Windows-1252", lambda good: good.csv().encode("cp1252"))
# Accents as older Macintosh programs wrote them.
enter("mac roman accents", "repaired", "TK-R01", "looks like Mac Roman", lambda good: good.csv().encode("mac_roman"))
# UTF-8 that was read as Windows-1252 and saved.
enter("mojibake", "asked", "TK-R02", 'it may have been "flétri', lambda good: good.csv().encode().decode("cp1252"))
# A file from a failing memory card.
enter("nul bytes", "refused", "TK-R05", "NUL bytes, the first in line 3",
      from_lines(lambda rows: [*rows[:2], rows[2][:9] + "\0\0\0\0" + rows[2][13:], *rows[3:]]))

# Marks between columns and lines

# CSV where the comma parts decimals.
enter("semicolons", "repaired", "TK-R03", "separated by semicolons", delimited(";"))
enter("tabs", "repaired", "TK-R03", "separated by tabs", delimited("\t"), file="fernsedge.txt")
# Text parted by upright strokes.
enter("upright strokes", "repaired", "TK-R03", "upright strokes", delimited("|"))
# The line sep=; that some programs put first.
enter("separator line", "repaired", "TK-R03", 'columns are separated by ";"',
      lambda good: "sep=;\n" + good.csv(delimiter=";"))
# Two files put together.
enter("mixed line ends", "repaired", "TK-R12", "lines end in different ways",
      from_lines(lambda rows: [*[f"{row}\r" for row in rows[:5]], *rows[5:]]))

# The wrong kind of file

# A workbook that was renamed.
enter("workbook named csv", "repaired", "TK-R04", "the name ends in .csv, but the file is a workbook",
      Good.workbook, tables=ALL)
enter("photograph", "refused", "TK-R05", "a photograph",
      lambda _: b"\xff\xd8\xff\xe0" + bytes(range(256)) * 8, file="fernsedge.jpg")
# A workbook of which the second half did not arrive.
enter("truncated workbook", "refused", "TK-R05", "cut off or damaged",
      lambda good: good.workbook()[: len(good.workbook()) // 2], file=XLSX)
# A workbook whose sheet is no longer XML.
enter("workbook with a broken sheet", "refused", "TK-R05", "damaged inside",
      lambda good: rewritten(good.workbook(), "xl/worksheets/sheet2.xml", lambda data: data[: len(data) // 2]),
      file=XLSX)
# A small workbook that unpacks to a hundred megabytes.
enter("zip bomb", "refused", "TK-R07", "60 MB once it is unpacked",
      lambda good: rewritten(good.workbook(), "xl/media/image1.png", lambda _: bytes(100_000_000)), file=XLSX)
# What a spreadsheet program saves under a password is no longer a zip but a compound file.
enter("password protected workbook", "refused", "TK-R06", "a locked workbook or an old .xls",
      lambda _: b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(3000), file=XLSX)
enter("empty file", "refused", "TK-R08", "an empty file", lambda _: "\n")
enter("header only", "refused", "TK-R08", "at least one row below the header", from_lines(lambda rows: rows[:1]))
enter("something else", "refused", "TK-R10", "the headings of heads, solution or visits",
      lambda _: "item,price\nbuckets,12.50\n")
# The adviser's own table sent back.
enter("the layout itself", "refused", "TK-R10", "the table layout",
      lambda _: "bucket,site,block,position,cultivar,dose_tsp,acidifier\n334X,FERN,1,1,NA,2,none\n")
# A sheet filled to the bottom.
enter("huge sheet", "refused", "TK-R07", "20,000 rows",
      from_lines(lambda rows: [rows[0], *rows[1:2] * 60_000]), file="huge.csv")
# A workbook with one value at the far end of a sheet.
enter("cell far out", "refused", "TK-R07", "columns",
      lambda good: good.workbook(lambda book: book["heads"].cell(40_000, 5_000, "x")), file=XLSX)

# The phone file

# A weight changed by hand in the file that the phone saved.
enter("phone file edited", "refused", "TK-R48", "a check sum that does not fit",
      lambda good: good.phone().replace(b'"weight_g": "143.2"', b'"weight_g": "243.2"'), file="fernsedge.json")
# A message that was too long.
# Half of a character beyond the first 65,536, as only a broken program writes it; it blocked the files beside it.
enter("phone file with half a character", "refused", "TK-R48", "half a character",
      lambda good: good.phone(by="@").replace(b'"@"', b'"\\ud83e"'), file="fernsedge.json")
enter("phone message cut off", "refused", "TK-R48", "text that breaks off",
      lambda good: good.phone()[:-400], file="fernsedge.txt")
# The record as text, with a greeting around it.
enter("phone record within a message", "repaired", "TK-R58", "Here are ours",
      lambda good: b"Here are ours, finally!\n\n" + good.phone() + b"\n\nSent from the garden\n",
      file="fernsedge.txt", tables=ALL)
enter("form of another trial", "refused", "TK-R47", 'a form of "spring-dose"',
      lambda good: good.phone(trial="spring-dose"), file="fernsedge.json")
# A form from before the buckets were randomised again.
enter("form of another layout", "refused", "TK-R47", "a form made for another layout",
      lambda good: good.phone(layout="0123456789ab"), file="fernsedge.json")

# Shape

# A title and its date above the header.
enter("title rows", "asked", "TK-R11", "the headings are in row 3",
      lambda good: "Fernsedge School lettuce,,,,,,,,\nOctober,,,,,,,,\n" + good.csv())
# Blank rows in the middle and at the end.
enter("blank rows", "repaired", "TK-R12", "blank rows were passed over",
      from_lines(lambda rows: [*rows[:4], ",,,,,,,,", "", *rows[4:], ",,,,,,,,", ",,,,,,,,"]))
# Commas at the end of each line.
enter("trailing blank columns", "repaired", "TK-R12", "blank columns",
      from_lines(lambda rows: [f"{row},,," for row in rows]))
# A row that somebody worked out.
enter("mean row at the bottom", "refused", "TK-R13", '"Mean"', lambda good: good.csv() + "Mean,,,,,,151.2,,\n")
# The solution below the heads.
enter("two tables on one sheet", "refused", "TK-R14", "another header",
      lambda good: good.csv() + ",,,,,,,,\n" + text([f"{row}," for row in good.csv("solution").splitlines()]))
# The header once more in the middle, as on a printed list.
enter("header repeated", "repaired", "TK-R40", "the heading line is repeated",
      from_lines(lambda rows: [*rows[:9], rows[0], *rows[9:]]))
# One label merged over the rows of its heads.
enter("merged cells", "refused", "TK-R15", "merged cells A2:A3",
      lambda good: good.workbook(lambda book: book["heads"].merge_cells("A2:A3")), file=XLSX)
# Two headings merged into one.
enter("merged header cells", "refused", "TK-R15", "merged cells E1:F1",
      lambda good: good.workbook(lambda book: book["heads"].merge_cells("E1:F1")), file=XLSX)
# A yellow weight, which means something to somebody.
enter("colour as data", "asked", "TK-R16", "1 cell coloured", marked("G4", fill=YELLOW), file=XLSX)
# A weight struck out but left there.
enter("struck out", "asked", "TK-R16", "struck out", marked("G4", font=Font(strike=True)), file=XLSX)
enter("remark on a cell", "asked", "TK-R16", "scale was wet",
      marked("G4", comment=Comment("scale was wet", "volunteer")), file=XLSX)
# A table on a sheet that does not show.
enter("hidden sheet", "asked", "TK-R17", "a hidden sheet", sheet("visits", sheet_state="hidden"), file=XLSX)
# A sheet that somebody added.
enter("sheet of scribbles", "asked", "TK-R46", "it is no table of the record",
      lambda good: good.workbook(lambda book: book.create_sheet("Sheet5").cell(2, 2, "ask about the hose")), file=XLSX)
# A sheet that was given another name.
enter("renamed sheet", "repaired", "TK-R54", "recognised by its headings as the table heads",
      sheet("heads", title="Lettuce"), file=XLSX)
# A sheet copied to be on the safe side.
enter("duplicated sheet", "repaired", "TK-R40", 'the sheet says the same as the sheet "heads"',
      lambda good: good.workbook(copy_of_the_heads), file=XLSX)
# A formula written by a program that does not work it out.
enter("formula without value", "refused", "TK-R18", "without its value", marked("G4", value="=150.1+4.6"), file=XLSX)
# A value that is an error.
enter("formula error", "refused", "TK-R18", 'the error "#REF!"', marked("G4", value="#REF!", data_type="e"), file=XLSX)

# The header

# A header made beautiful.
enter("header capitals and blanks", "repaired", "TK-R19", 'was read as "weight_g"',
      from_lines(lambda rows: [BEAUTIFUL, *rows[1:]]))
# The titles of the columns in place of their names, typed from the paper sheet.
enter("header by title", "repaired", "TK-R19", '"Head Weight (g)" was read as "weight_g"',
      lambda good: heading("weight_g", "Head Weight (g)")(good).replace("last_not_ready_on", "Last seen not ready on"))
enter("duplicate column", "refused", "TK-R20", '"weight_g" 2 times', heading("marketable", "weight_g"))
enter("misspelt column", "asked", "TK-R21", "it looks like weight_g", heading("weight_g", "wieght_g"))
# A column of somebody's own.
enter("extra column", "asked", "TK-R22", "the table has no such column",
      from_lines(lambda rows: [rows[0] + ",snails", *[f"{row},{i % 3}" for i, row in enumerate(rows[1:])]]))
# A row typed without its last commas.
enter("row shorter than the header", "refused", "TK-R23", "7 cells",
      from_lines(lambda rows: [*rows[:4], ",".join(rows[4].split(",")[:7]), *rows[5:]]))
# Columns moved about together with their headings.
enter("columns in another order", "repaired", "TK-R19", "the columns are in another order",
      from_lines(lambda rows: [",".join([*row.split(",")[6:], *row.split(",")[:6]]) for row in rows]))
# fmt: on
