"""Damage to single cells: labels, numbers, dates, words; and to rows."""

from openpyxl import Workbook

from returned_files import Good, good_return
from trialkit.documents.returns import Answers
from trialkit.domain.table_names import TableName

from .catalogue import XLSX, cell, column, damage, enter, from_lines, replaced, third_weight, weight

SOLUTION: tuple[TableName, ...] = ("solution",)
DATES = ("transplanted_on", "harvested_on", "last_not_ready_on")


def european(day: str) -> str:
    """Write an ISO date day first."""
    year, month, date = day.split("-")
    return f"{date}/{month}/{year}"


@damage("conflict", "TK-R51", "143.2", before=True)
def two_heads_swapped(good: Good) -> str:
    """The second return has the weights of two heads of a bucket exchanged."""
    first, second = good.tables["heads"][0]["weight_g"], good.tables["heads"][1]["weight_g"]
    return good.with_cell("heads", 0, "weight_g", second).with_cell("heads", 1, "weight_g", first).csv()


@damage("asked", "TK-R34", "commas and points as decimal separators")
def decimal_commas_here_and_there(good: Good) -> str:
    """Commas in some rows, points in others."""
    third = good.tables["heads"][2]["weight_g"].replace(".", ",")
    return good.with_cell("heads", 2, "weight_g", third).csv()


WEIGHTS = {i: row["weight_g"] for i, row in enumerate(good_return().tables["heads"]) if row["weight_g"]}


# x g / 28.349523125 rounded to a tenth of an ounce, as a kitchen scale shows it.
def _ounces(weight: str) -> str:
    return f"{float(weight) / 28.349523125:.1f}"


@damage("asked", "TK-R36", "In ounces it would be", answers=Answers(weights="g"),
        gives=tuple(("heads", i, "weight_g", _ounces(WEIGHTS[i]).removesuffix(".0")) for i in WEIGHTS))  # fmt: skip
def weights_in_ounces(good: Good) -> str:
    """A kitchen scale that shows ounces; the answer under test keeps them."""
    return good.with_column("heads", "weight_g", _ounces).csv()


@damage("asked", "TK-R21", "in kg. Every value would be converted")
def heading_in_kilograms(good: Good) -> str:
    """A heading that names another unit."""
    kilograms = good.with_column("heads", "weight_g", lambda weight: f"{float(weight) / 1000:.4f}")
    return kilograms.csv().replace("weight_g", "Weight (kg)", 1)


@damage("repaired", "TK-R38", "the figures stand for these")
def full_width_figures(good: Good) -> str:
    """Figures of an East Asian keyboard."""
    wide = str.maketrans("0123456789.", "０１２３４５６７８９．")
    return good.with_column("heads", "weight_g", lambda weight: weight.translate(wide)).csv()


@damage("repaired", "TK-R38", "the figures stand for these")
def figures_of_another_script(good: Good) -> str:
    """Arabic-Indic figures for the heads."""
    figures = str.maketrans("0123456789", "٠١٢٣٤٥٦٧٨٩")
    return good.with_column("heads", "head", lambda number: number.translate(figures)).csv()


@damage("repaired", "TK-R43", "day-first, as every date of the sheet must be")
def day_first_throughout(good: Good) -> str:
    """20/08/2026: no other order has a month 20."""
    changed = good
    for name in DATES:
        changed = changed.with_column("heads", name, european)
    return changed.csv()


@damage("repaired", "TK-R43", "month-first, as every date of the sheet must be")
def month_first_throughout(good: Good) -> str:
    """8/24/2026."""
    changed = good
    for name in DATES:
        changed = changed.with_column("heads", name, lambda day: f"{int(day[5:7])}/{int(day[8:])}/{day[:4]}")
    return changed.csv()


@damage("asked", "TK-R41", "--dates month-first", tables=SOLUTION, answers=Answers(dates="day-first"))
def two_digit_years(good: Good) -> str:
    """03/09/26."""
    changed = good.with_column("solution", "measured_on", lambda day: f"{day[8:]}/{day[5:7]}/{day[2:4]}")
    return changed.csv("solution")


@damage("refused", "TK-R41", "one order of day and month throughout")
def day_and_month_swapped_in_one_row(good: Good) -> str:
    """One row month first, the others day first."""
    changed = good.with_column("heads", "transplanted_on", european)
    return changed.with_cell("heads", 3, "transplanted_on", "08/24/2026").csv()


@damage("asked", "TK-R53", "exchanged day and month", file=XLSX)
def day_and_month_swapped_by_the_program(good: Good) -> bytes:
    """Some days are text, day first, and others are dates of the program, which may have exchanged day and month."""

    def change(book: Workbook) -> None:
        for row in range(2, 6):
            book["heads"][f"C{row}"] = "24/08/2026"

    return good.workbook(change)


@damage("asked", "TK-R42", "2026-08-24 if in 1904", file=XLSX, answers=Answers(serials="1904"))
def day_counts_of_1904(good: Good) -> bytes:
    """Numbers in a workbook, counted from 1904: 46258 - 1462."""

    def change(book: Workbook) -> None:
        for row in range(2, 18):
            book["heads"][f"C{row}"] = 44796
            book["heads"][f"C{row}"].number_format = "General"

    return good.workbook(change)


@damage("refused", "TK-H06", "a date not before transplanted_on")
def harvested_before_transplanting(good: Good) -> str:
    """One harvest before its transplanting."""
    return good.with_cell("heads", 2, "harvested_on", "2026-08-22").with_cell("heads", 2, "last_not_ready_on", "").csv()


@damage("refused", "TK-V08", "a day that exists")
def day_that_does_not_exist_day_first(good: Good) -> str:
    """31/09/2026."""
    changed = good.with_column("heads", "harvested_on", european)
    return changed.with_cell("heads", 2, "harvested_on", "31/09/2026").csv()


# fmt: off

# Labels

# BO2 for B02: no check character proves it.
enter("letter o for zero without check character", "asked", "TK-R25", "B02 differs in one place",
      replaced("B02,", "BO2,"), odd=True)
# 1 for 7 and O for D, which labels do not have: the check character proves what was meant.
enter("letter read for a figure", "repaired", "TK-R28", 'was read as "33',
      column("heads", "bucket", lambda label: label.replace("7", "1").replace("D", "O")))
enter("lower case labels", "repaired", "TK-R28", "the layout has no other label that this can be",
      column("heads", "bucket", str.lower))
enter("leading zeros lost", "asked", "TK-R26", "it may be 007", replaced("007,", "7,"), odd=True)
# 1E5 that became a hundred thousand.
enter("label made a number", "refused", "TK-R27", "a number that a spreadsheet program",
      replaced("1E5,", "1.00E+05,"), odd=True)
enter("label made a whole number", "refused", "TK-R27", "a number that a spreadsheet program",
      replaced("1E5,", "100000,"), odd=True)
# MAR1 that became the first of March.
enter("label made a date", "refused", "TK-R27", "a date that a spreadsheet program",
      replaced("MAR1,", "1-Mar,"), odd=True)
# Labels from a word processor.
enter("smart quotes and trailing blanks", "repaired", "TK-R29", "only marks around the value",
      column("heads", "bucket", lambda label: f"“{label}”\u00a0"))
# A label that is valid but belongs to no bucket of this trial.
enter("label not in the layout", "refused", "TK-R30", "The nearest label of the layout is",
      lambda good: good.with_cell("heads", 0, "bucket", "34X4").with_cell("heads", 1, "bucket", "34X4").csv())
# Scanned with a phone: the code on the label names trial, garden and bucket.
enter("label scanned", "repaired", "TK-R28", "the code of the label says so",
      lambda good: good.csv().replace(good.buckets[0], f"autumn-dose/FERN/{good.buckets[0]}"))
enter("label scanned in another trial", "refused", "TK-R30", "It is one of the trial",
      lambda good: good.csv().replace(good.buckets[0], f"spring-dose/FERN/{good.buckets[0]}"))
enter("label scanned in another garden", "refused", "TK-R30", "no such bucket in that garden",
      lambda good: good.csv().replace(good.buckets[0], f"autumn-dose/POND/{good.buckets[0]}"))
# One wrong character, so that the check character does not fit.
enter("label misread by one character", "asked", "TK-R25", "differs in one place",
      lambda good: good.csv().replace(good.buckets[0], "4" + good.buckets[0][1:]))
# Cyrillic and Greek capitals that look the same (X and T).
enter("label in another script", "repaired", "TK-R28", "the layout has no other label",
      column("heads", "bucket", lambda label: label.replace("X", "Х").replace("T", "Τ")))
# A head twice, with two weights.
enter("two rows for one head", "refused", "TK-R31", "weight_g",
      from_lines(lambda rows: [*rows, rows[1].replace("143.2", "155.5")]))
# Rows copied and pasted below.
enter("rows pasted twice", "repaired", "TK-R40", "it says the same as row 2",
      from_lines(lambda rows: [*rows, *rows[1:4]]))
# The last bucket's rows were taken out.
enter("planned bucket missing", "asked", "TK-R32", "1 of the 8 buckets of FERN has no row",
      from_lines(lambda rows: rows[:-2]), gives=(("heads", 14, "bucket", ""), ("heads", 15, "bucket", "")))
# A visit of the other garden on Fernsedge's form.
enter("row of another garden", "asked", "TK-R57", "it belongs to MILL",
      lambda good: good.changed("visits", lambda i, row: {**row, "site": "MILL"} if i == 1 else row).workbook(),
      file=XLSX)

# Numbers

# Commas before decimals throughout, columns parted by semicolons.
enter("decimal commas", "repaired", "TK-R33", "the comma is the decimal separator",
      lambda good: good.with_column("heads", "weight_g", lambda w: w.replace(".", ",")).csv(delimiter=";"))
# 1,152 may be a large head or a slipped point.
enter("thousands or decimals", "asked", "TK-R34", "it may be 1.152",
      weight("1,152"), answers=Answers(decimals="point"), gives=third_weight("1152"))
enter("thousands parted by a gap", "asked", "TK-R34", "the gap may separate thousands",
      weight("1 152"), gives=third_weight("1152"))
# 1,152.5 can only be read in one way.
enter("thousands separator and decimals", "repaired", "TK-R33", "it can be read in one way only",
      weight("1,152.5"), gives=third_weight("1152.5"))
enter("unit in the cell", "repaired", "TK-R35", "the unit is that of the column",
      column("heads", "weight_g", lambda weight: f"{weight} g"))
# 5.4 oz x 28.349523125 g/oz = 153.087424875 g (NIST Handbook 44, appendix C), worked out by hand.
enter("ounces in the cell", "repaired", "TK-R35", "1 oz being 28.349523125 g",
      weight("5.4oz"), gives=third_weight("153.09"))
enter("kilograms in the cell", "repaired", "TK-R35", "1 kg being 1000 g", weight("0.152 kg"), gives=third_weight("152"))
enter("unit that is not known", "refused", "TK-V03", "a number alone", weight("0.02 stone"))
enter("kilograms among grams", "asked", "TK-R36", "In kilograms it would be 152 g",
      weight("0.152"), answers=Answers(weights="kg"), gives=third_weight("152"))
enter("weights in kilograms", "asked", "TK-R36", "In kilograms it would be 143.2 g",
      column("heads", "weight_g", lambda weight: f"{float(weight) / 1000:.4f}"), answers=Answers(weights="kg"))
enter("about", "refused", "TK-R37", '"~150"', weight("~150"))
enter("more than", "refused", "TK-R37", '">200"', weight(">200"))
enter("from to", "refused", "TK-R37", '"150-160"', weight("150-160"))
enter("question mark after a number", "refused", "TK-R37", '"150?"', weight("150?"))
# A minus sign of a word processor: read as a minus, and no weight is below nothing.
enter("unicode minus", "refused", "TK-V10", '"-143.2"', cell("heads", 0, "weight_g", "−143.2"))
# A full-width point in a pH.
enter("unicode decimals", "repaired", "TK-R38", "the figures stand for these",
      cell("solution", 0, "ph_after", "6．1"), tables=SOLUTION)
# NaN, which programs take for a number.
enter("not a number", "refused", "TK-V14", "a finite number", weight("NaN"))
enter("infinite", "refused", "TK-V14", "a finite number", weight("inf"))
# 1_000, which some programs accept.
enter("underscore in a number", "refused", "TK-V02", '"1_000"', weight("1_000"))
# 0 g for a head that was harvested.
enter("nothing weighed but harvested", "refused", "TK-V10", '"0"', weight("0"))
enter("nothing weighed of a dead head", "repaired", "TK-R39", "the outcome is dead, so nothing was weighed",
      cell("heads", 7, "weight_g", "0"))
# 15.2 that became the fifteenth of February.
enter("number made a date", "refused", "TK-R37", "one number", weight("15-Feb"))
# A formula that was saved in place of its value.
enter("formula as text in a number", "refused", "TK-R18", "the formula", weight("=G3+4"))

# Words for nothing

# Hyphens in the cells of a dead head.
enter("hyphens for nothing", "repaired", "TK-R39", "it can only mean that there is nothing to record",
      lambda good: good.with_cell("heads", 7, "weight_g", "-").with_cell("heads", 7, "harvested_on", "–").csv())
# n/a in the cells of a dead head.
enter("not applicable", "repaired", "TK-R39", "it can only mean that there is nothing to record",
      lambda good: good.with_cell("heads", 7, "weight_g", "n/a").with_cell("heads", 7, "marketable", "N/A").csv())
enter("the word none", "repaired", "TK-R39", "it can only mean that there is nothing to record",
      cell("heads", 7, "weight_g", "none"))
enter("none where it may mean zero", "asked", "TK-R39", "nothing was added (0)",
      cell("solution", 2, "acid_tsp", "none"), tables=SOLUTION, gives=(("solution", 2, "acid_tsp", "0"),))
# A hyphen for the outcome: dead, missing or forgotten.
enter("blank word where a word is needed", "refused", "TK-V11", "one of harvested", cell("heads", 2, "outcome", "-"))
# A harvested head that was not weighed yet.
enter("blank where a weight is missing", "repaired", "TK-R52", "1 row is not complete yet",
      weight(""), gives=third_weight(""))
# Not known, by a sign or in words: of a weight, of whether it was marketable, of a reading.
enter("question marks", "repaired", "TK-R39", "it never counts as zero", weight("??"), gives=third_weight(""))
enter("the words don't know", "repaired", "TK-R39", "it never counts as zero",
      lambda good: good.with_cell("heads", 2, "weight_g", "Don’t know").with_cell("heads", 3, "marketable", "?").csv(),
      gives=(*third_weight(""), ("heads", 3, "marketable", "")))
enter("a reading not known", "repaired", "TK-R39", "it never counts as zero",
      cell("solution", 2, "ec_ms_cm", "no sé"), tables=SOLUTION, gives=(("solution", 2, "ec_ms_cm", ""),))
enter("not known whether anything was added", "repaired", "TK-R39", "it never counts as zero",
      cell("solution", 2, "acid_tsp", "unknown"), tables=SOLUTION, gives=(("solution", 2, "acid_tsp", ""),))
enter("ninguno where it may mean zero", "asked", "TK-R39", "nothing was added (0)",
      cell("solution", 2, "acid_tsp", "Ninguno"), tables=SOLUTION, gives=(("solution", 2, "acid_tsp", "0"),))
enter("ninguno of a dead head", "repaired", "TK-R39", "it can only mean that there is nothing to record",
      cell("heads", 7, "weight_g", "ninguno"))
enter("question mark for a date", "repaired", "TK-R39", "it never counts as zero",
      cell("heads", 7, "harvested_on", "?"))
# Words for none of an outcome: dead, missing or forgotten.
enter("ninguno where a word is needed", "refused", "TK-V11", "one of harvested", cell("heads", 2, "outcome", "ninguno"))

# Words

enter("outcome in capitals", "repaired", "TK-R50", "nothing else can be meant", column("heads", "outcome", str.title))
enter("outcome misspelt", "asked", "TK-R49", "it may be harvested", cell("heads", 2, "outcome", "harvestd"))
enter("ticks for yes", "repaired", "TK-R50", "nothing else can be meant",
      column("heads", "marketable", lambda word: "✓" if word == "yes" else "n"))
enter("full name of the garden", "repaired", "TK-R28", "no other garden can be meant",
      column("visits", "site", lambda _: "Fernsedge School"), tables=("visits",))
enter("garden misspelt", "asked", "TK-R25", "FERN is the nearest",
      column("visits", "site", lambda _: "FERM"), tables=("visits",))
# A note that is kept as it is.
enter("note in another script", "repaired", "TK-R03", "semicolons",
      lambda good: good.with_cell("heads", 2, "note", "葉が小さい").csv(delimiter=";"),
      gives=(("heads", 2, "note", "葉が小さい"),))
# A note that a spreadsheet program would run: it is kept, with a quotation mark in front in the table.
enter("formula injection", "repaired", "TK-R03", "semicolons",
      lambda good: good.with_cell("heads", 2, "note", '=HYPERLINK("http://x.invalid")').csv(delimiter=";"),
      gives=(("heads", 2, "note", '\'=HYPERLINK("http://x.invalid")'),))
enter("control characters in a note", "refused", "TK-V12", "without control characters",
      cell("heads", 2, "note", "torn\x07\x1b[2J"))

# Dates

enter("day or month first", "asked", "TK-R41", "it may be 2026-09-03 (day-first) or 2026-03-09 (month-first)",
      column("solution", "measured_on", european), tables=SOLUTION, answers=Answers(dates="day-first"))
# 2026-08-24 is day 46258 of the 1900 system; 2026-08-24 minus 1899-12-30, worked out with the date command.
enter("dates as day counts", "asked", "TK-R42", "2026-08-24 if it begins in 1900, as usual, or 2030-08-25 if in 1904",
      column("heads", "transplanted_on", lambda _: "46258"), answers=Answers(serials="1900"))
enter("dates with the month in letters", "repaired", "TK-R43", "it can be read in one way only",
      column("heads", "transplanted_on", lambda _: "24-Aug-2026"))
enter("dates with slashes year first", "repaired", "TK-R43", "it can be read in one way only",
      column("heads", "transplanted_on", lambda _: "2026/8/24"))
enter("dates with a time", "repaired", "TK-R43", "The time of day was left out",
      column("heads", "transplanted_on", lambda _: "2026-08-24 14:30"))
enter("dates without a year", "refused", "TK-R37", "a date with its year",
      column("heads", "transplanted_on", lambda _: "24 Aug"))
enter("future date", "refused", "TK-K03", "within a year of the start of the trial",
      cell("heads", 2, "harvested_on", "2029-09-22"))
# The thirty-first of September.
enter("day that does not exist", "refused", "TK-V08", "a day that exists",
      cell("heads", 2, "harvested_on", "2026-09-31"))
enter("wrong year", "refused", "TK-K03", "within a year of the start of the trial",
      cell("heads", 2, "transplanted_on", "2025-08-24"))

# Where two readings exist

# ’ of Windows-1252 is í of Mac Roman, and both make words.
enter("apostrophe of one of two encodings", "asked", "TK-R02", 'or Mac Roman, with "Fernsedgeís"',
      lambda good: good.with_cell("heads", 2, "note", "Fernsedge’s").csv().encode("cp1252"),
      gives=(("heads", 2, "note", "Fernsedge’s"),))
enter("accents spoiled twice", "asked", "TK-R02", 'it may have been "flétri près du bord"',
      lambda good: good.csv().encode().decode("cp1252").encode().decode("cp1252"))
enter("accents spoiled by another program", "asked", "TK-R02", 'it may have been "flétri près du bord"',
      lambda good: good.csv().encode().decode("mac_roman"))
# Day 236 of 2026 is 24 August; 23 is no month, and 36 no day.
enter("day of the year", "repaired", "TK-R43", "in one way only", cell("heads", 2, "transplanted_on", "2026-236"))
# Day 101 is 11 April; 1 October without a hyphen is written so too.
enter("day of the year or a hyphen forgotten", "refused", "TK-V07", "2026-04-11 or 2026-10-01 or 2026-01-01",
      cell("heads", 2, "transplanted_on", "2026-101"))
enter("week and its day", "repaired", "TK-R43", "in one way only", cell("heads", 2, "transplanted_on", "2026-W35-1"))
enter("weekday of another date", "refused", "TK-V08", "That one is a Monday",
      cell("heads", 2, "transplanted_on", "Tue 24 August 2026"))
enter("midnight at the end of a day", "refused", "TK-V07", "2026-08-24 or 2026-08-25",
      cell("heads", 2, "transplanted_on", "2026-08-24 24:00"))
enter("time of another place", "refused", "TK-V07", "2026-08-23 or 2026-08-24",
      cell("heads", 2, "transplanted_on", "2026-08-24T02:00:00Z"))
# 1234 g is a head, if a large one.
enter("point before three figures", "asked", "TK-R34", "or 1234 (it separates thousands)",
      weight("1.234"), answers=Answers(decimals="comma"), gives=third_weight("1234"))
enter("separators of another script", "repaired", "TK-R38", "the figures stand for these",
      column("heads", "weight_g", lambda weight: weight.replace(".", "٫")))
enter("gallons for litres", "refused", "TK-V03", "a number alone", cell("solution", 2, "volume_l", "5 gal"),
      tables=SOLUTION)
enter("marks of writing direction in labels", "repaired", "TK-R29", "only marks around the value",
      column("heads", "bucket", lambda label: f"\u202a{label[0]}\u00ad{label[1:]}\u202c"))
# fmt: on
