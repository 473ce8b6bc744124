"""Damage to single cells: labels, numbers, dates, words; and to rows."""

from __future__ import annotations

from openpyxl import Workbook

from returned_files import Good, good_return
from trialkit.documents.returns import Answers

from .catalogue import accepting, damage
from .damaged_files import ALL, XLSX, lines, text

SOLUTION = ("solution",)


def european(day: str) -> str:
    """Write an ISO date day first."""
    year, month, date = day.split("-")
    return f"{date}/{month}/{year}"


# Labels


@damage("asked", "TK-R25", "B02 differs in one place", odd=True, answers=accepting("TK-R25"))
def letter_o_for_zero_without_check_character(good: Good) -> str:
    """BO2 for B02: no check character proves it."""
    return good.csv().replace("B02,", "BO2,")


@damage("repaired", "TK-R28", 'was read as "33')
def letter_read_for_a_figure(good: Good) -> str:
    """1 for 7 and O for D, which labels do not have: the check character proves what was meant."""
    return good.with_column("heads", "bucket", lambda label: label.replace("7", "1").replace("D", "O")).csv()


@damage("repaired", "TK-R28", "the layout has no other label that this can be")
def lower_case_labels(good: Good) -> str:
    """Labels in small letters."""
    return good.with_column("heads", "bucket", str.lower).csv()


@damage("asked", "TK-R26", "it may be 007", odd=True, answers=accepting("TK-R26"))
def leading_zeros_lost(good: Good) -> str:
    """007 that became 7."""
    return good.csv().replace("007,", "7,")


@damage("refused", "TK-R27", "a number that a spreadsheet program", odd=True)
def label_made_a_number(good: Good) -> str:
    """1E5 that became a hundred thousand."""
    return good.csv().replace("1E5,", "1.00E+05,")


@damage("refused", "TK-R27", "a number that a spreadsheet program", odd=True)
def label_made_a_whole_number(good: Good) -> str:
    """1E5 that became 100000."""
    return good.csv().replace("1E5,", "100000,")


@damage("refused", "TK-R27", "a date that a spreadsheet program", odd=True)
def label_made_a_date(good: Good) -> str:
    """MAR1 that became the first of March."""
    return good.csv().replace("MAR1,", "1-Mar,")


@damage("repaired", "TK-R29", "only marks around the value")
def smart_quotes_and_trailing_blanks(good: Good) -> str:
    """Labels from a word processor."""
    return good.with_column("heads", "bucket", lambda label: f"“{label}”\u00a0").csv()


@damage("refused", "TK-R30", "The nearest label of the layout is")
def label_not_in_the_layout(good: Good) -> str:
    """A label that is valid but belongs to no bucket of this trial."""
    return good.with_cell("heads", 0, "bucket", "34X4").with_cell("heads", 1, "bucket", "34X4").csv()


@damage("asked", "TK-R25", "differs in one place", answers=accepting("TK-R25"))
def label_misread_by_one_character(good: Good) -> str:
    """One wrong character, so that the check character does not fit."""
    return good.csv().replace(good.buckets[0], "4" + good.buckets[0][1:])


@damage("repaired", "TK-R28", "the layout has no other label")
def label_in_another_script(good: Good) -> str:
    """Cyrillic and Greek capitals that look the same (X and T)."""
    return good.with_column("heads", "bucket", lambda label: label.replace("X", "Х").replace("T", "Τ")).csv()


@damage("refused", "TK-R31", "weight_g")
def two_rows_for_one_head(good: Good) -> str:
    """A head twice, with two weights."""
    rows = lines(good)
    return text([*rows, rows[1].replace("143.2", "155.5")])


@damage("repaired", "TK-R40", "it says the same as row 2")
def rows_pasted_twice(good: Good) -> str:
    """Rows copied and pasted below."""
    rows = lines(good)
    return text([*rows, *rows[1:4]])


@damage("asked", "TK-R32", "1 of the 8 buckets of FERN has no row", answers=accepting("TK-R32"),
        gives=(("heads", 14, "bucket", ""), ("heads", 15, "bucket", "")))  # fmt: skip
def planned_bucket_missing(good: Good) -> str:
    """The last bucket's rows were taken out."""
    return text(lines(good)[:-2])


@damage("asked", "TK-R57", "it belongs to MILL", file=XLSX, tables=ALL, answers=accepting("TK-R57"))
def row_of_another_garden(good: Good) -> bytes:
    """A visit of the other garden on Fernsedge's form."""
    return good.changed("visits", lambda i, row: {**row, "site": "MILL"} if i == 1 else row).workbook()


@damage("conflict", "TK-R51", "143.2", before=True)
def two_heads_swapped(good: Good) -> str:
    """The second return has the weights of two heads of a bucket exchanged."""
    first, second = good.tables["heads"][0]["weight_g"], good.tables["heads"][1]["weight_g"]
    return good.with_cell("heads", 0, "weight_g", second).with_cell("heads", 1, "weight_g", first).csv()


# Numbers


@damage("repaired", "TK-R33", "the comma is the decimal separator")
def decimal_commas(good: Good) -> str:
    """Commas before decimals throughout, columns parted by semicolons."""
    return good.with_column("heads", "weight_g", lambda w: w.replace(".", ",")).csv(delimiter=";")


@damage("asked", "TK-R34", "commas and points as decimal separators", answers=accepting("TK-R34"))
def decimal_commas_here_and_there(good: Good) -> str:
    """Commas in some rows, points in others."""
    weight = good.tables["heads"][2]["weight_g"].replace(".", ",")
    return good.with_cell("heads", 2, "weight_g", weight).csv()


@damage("asked", "TK-R34", "it may be 1.152", answers=Answers(decimals="point"),
        gives=(("heads", 2, "weight_g", "1152"),))  # fmt: skip
def thousands_or_decimals(good: Good) -> str:
    """1,152 may be a large head or a slipped point."""
    return good.with_cell("heads", 2, "weight_g", "1,152").csv()


@damage("asked", "TK-R34", "the gap may separate thousands", answers=accepting("TK-R34"),
        gives=(("heads", 2, "weight_g", "1152"),))  # fmt: skip
def thousands_parted_by_a_gap(good: Good) -> str:
    """1 152 may be two numbers."""
    return good.with_cell("heads", 2, "weight_g", "1 152").csv()


@damage("repaired", "TK-R33", "it can be read in one way only", gives=(("heads", 2, "weight_g", "1152.5"),))
def thousands_separator_and_decimals(good: Good) -> str:
    """1,152.5 can only be read in one way."""
    return good.with_cell("heads", 2, "weight_g", "1,152.5").csv()


@damage("repaired", "TK-R35", "the unit is that of the column")
def unit_in_the_cell(good: Good) -> str:
    """152 g."""
    return good.with_column("heads", "weight_g", lambda weight: f"{weight} g").csv()


# 5.4 oz x 28.349523125 g/oz = 153.087424875 g (NIST Handbook 44, appendix C), worked out by hand.
@damage("repaired", "TK-R35", "1 oz being 28.349523125 g", gives=(("heads", 2, "weight_g", "153.09"),))
def ounces_in_the_cell(good: Good) -> str:
    """5.4oz."""
    return good.with_cell("heads", 2, "weight_g", "5.4oz").csv()


@damage("repaired", "TK-R35", "1 kg being 1000 g", gives=(("heads", 2, "weight_g", "152"),))
def kilograms_in_the_cell(good: Good) -> str:
    """0.152 kg."""
    return good.with_cell("heads", 2, "weight_g", "0.152 kg").csv()


@damage("refused", "TK-V03", "a number alone")
def unit_that_is_not_known(good: Good) -> str:
    """A weight in stones."""
    return good.with_cell("heads", 2, "weight_g", "0.02 stone").csv()


@damage("asked", "TK-R36", "in kilograms it would be 152 g", answers=Answers(weights="kg"),
        gives=(("heads", 2, "weight_g", "152"),))  # fmt: skip
def kilograms_among_grams(good: Good) -> str:
    """0.152 among 150s."""
    return good.with_cell("heads", 2, "weight_g", "0.152").csv()


WEIGHTS = {i: row["weight_g"] for i, row in enumerate(good_return().tables["heads"]) if row["weight_g"]}


# x g / 28.349523125 rounded to a tenth of an ounce, as a kitchen scale shows it.
def _ounces(weight: str) -> str:
    return f"{float(weight) / 28.349523125:.1f}"


@damage("asked", "TK-R36", "in ounces it would be", answers=Answers(weights="g"),
        gives=tuple(("heads", i, "weight_g", _ounces(WEIGHTS[i]).removesuffix(".0")) for i in WEIGHTS))  # fmt: skip
def weights_in_ounces(good: Good) -> str:
    """A kitchen scale that shows ounces; the answer under test keeps them."""
    return good.with_column("heads", "weight_g", _ounces).csv()


@damage("asked", "TK-R36", "in kilograms it would be 143.2 g", answers=Answers(weights="kg"))
def weights_in_kilograms(good: Good) -> str:
    """All weights in kilograms."""
    return good.with_column("heads", "weight_g", lambda weight: f"{float(weight) / 1000:.4f}").csv()


@damage("asked", "TK-R21", "in kg; every value would be converted", answers=accepting("TK-R21"))
def heading_in_kilograms(good: Good) -> str:
    """A heading that names another unit."""
    kilograms = good.with_column("heads", "weight_g", lambda weight: f"{float(weight) / 1000:.4f}")
    return kilograms.csv().replace("weight_g", "Weight (kg)", 1)


@damage("refused", "TK-R37", '"~150"')
def about(good: Good) -> str:
    """About 150."""
    return good.with_cell("heads", 2, "weight_g", "~150").csv()


@damage("refused", "TK-R37", '">200"')
def more_than(good: Good) -> str:
    """More than the scale shows."""
    return good.with_cell("heads", 2, "weight_g", ">200").csv()


@damage("refused", "TK-R37", '"150-160"')
def from_to(good: Good) -> str:
    """A range."""
    return good.with_cell("heads", 2, "weight_g", "150-160").csv()


@damage("refused", "TK-R37", '"??"')
def question_marks(good: Good) -> str:
    """Question marks."""
    return good.with_cell("heads", 2, "weight_g", "??").csv()


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


@damage("refused", "TK-V10", '"-143.2"')
def unicode_minus(good: Good) -> str:
    """A minus sign of a word processor: read as a minus, and no weight is below nothing."""
    return good.with_cell("heads", 0, "weight_g", "−143.2").csv()


@damage("repaired", "TK-R38", "the figures stand for these", tables=SOLUTION)
def unicode_decimals(good: Good) -> str:
    """A full-width point in a pH."""
    return good.with_cell("solution", 0, "ph_after", "6．1").csv("solution")


@damage("refused", "TK-V14", "a finite number")
def not_a_number(good: Good) -> str:
    """NaN, which programs take for a number."""
    return good.with_cell("heads", 2, "weight_g", "NaN").csv()


@damage("refused", "TK-V14", "a finite number")
def infinite(good: Good) -> str:
    """Inf."""
    return good.with_cell("heads", 2, "weight_g", "inf").csv()


@damage("refused", "TK-V02", '"1_000"')
def underscore_in_a_number(good: Good) -> str:
    """1_000, which some programs accept."""
    return good.with_cell("heads", 2, "weight_g", "1_000").csv()


@damage("refused", "TK-V10", '"0"')
def nothing_weighed_but_harvested(good: Good) -> str:
    """0 g for a head that was harvested."""
    return good.with_cell("heads", 2, "weight_g", "0").csv()


@damage("repaired", "TK-R39", "the outcome is dead, so nothing was weighed")
def nothing_weighed_of_a_dead_head(good: Good) -> str:
    """0 g for a head that died."""
    return good.with_cell("heads", 7, "weight_g", "0").csv()


@damage("refused", "TK-R37", "one number")
def number_made_a_date(good: Good) -> bytes:
    """15.2 that became the fifteenth of February."""
    return good.with_cell("heads", 2, "weight_g", "15-Feb").csv().encode()


@damage("refused", "TK-R18", "the formula")
def formula_as_text_in_a_number(good: Good) -> str:
    """A formula that was saved in place of its value."""
    return good.with_cell("heads", 2, "weight_g", "=G3+4").csv()


# Words for nothing


@damage("repaired", "TK-R39", "it can only mean that there is nothing to record")
def hyphens_for_nothing(good: Good) -> str:
    """Hyphens in the cells of a dead head."""
    return good.with_cell("heads", 7, "weight_g", "-").with_cell("heads", 7, "harvested_on", "–").csv()


@damage("repaired", "TK-R39", "it can only mean that there is nothing to record")
def not_applicable(good: Good) -> str:
    """n/a in the cells of a dead head."""
    return good.with_cell("heads", 7, "weight_g", "n/a").with_cell("heads", 7, "marketable", "N/A").csv()


@damage("repaired", "TK-R39", "it can only mean that there is nothing to record")
def the_word_none(good: Good) -> str:
    """None for a weight."""
    return good.with_cell("heads", 7, "weight_g", "none").csv()


@damage("asked", "TK-R39", "nothing was added (0)", tables=SOLUTION, answers=accepting("TK-R39"),
        gives=(("solution", 2, "acid_tsp", "0"),))  # fmt: skip
def none_where_it_may_mean_zero(good: Good) -> str:
    """None under the acid added."""
    return good.with_cell("solution", 2, "acid_tsp", "none").csv("solution")


@damage("refused", "TK-V11", "one of harvested")
def blank_word_where_a_word_is_needed(good: Good) -> str:
    """A hyphen for the outcome: dead, missing or forgotten."""
    return good.with_cell("heads", 2, "outcome", "-").csv()


@damage("repaired", "TK-R52", "1 row is not complete yet", gives=(("heads", 2, "weight_g", ""),))
def blank_where_a_weight_is_missing(good: Good) -> str:
    """A harvested head that was not weighed yet."""
    return good.with_cell("heads", 2, "weight_g", "").csv()


@damage("refused", "TK-R37", "a date, or an empty cell")
def question_mark_for_a_date(good: Good) -> str:
    """? for a day."""
    return good.with_cell("heads", 2, "harvested_on", "?").csv()


# Words


@damage("repaired", "TK-R50", "nothing else can be meant")
def outcome_in_capitals(good: Good) -> str:
    """Harvested, Dead."""
    return good.with_column("heads", "outcome", str.title).csv()


@damage("asked", "TK-R49", "it may be harvested", answers=accepting("TK-R49"))
def outcome_misspelt(good: Good) -> str:
    """Harvestd."""
    return good.with_cell("heads", 2, "outcome", "harvestd").csv()


@damage("repaired", "TK-R50", "nothing else can be meant")
def ticks_for_yes(good: Good) -> str:
    """A tick for yes, n for no."""
    return good.with_column("heads", "marketable", lambda word: "✓" if word == "yes" else "n").csv()


@damage("repaired", "TK-R28", "no other garden can be meant", tables=("visits",))
def full_name_of_the_garden(good: Good) -> str:
    """Fernsedge School for FERN."""
    return good.with_column("visits", "site", lambda _: "Fernsedge School").csv("visits")


@damage("asked", "TK-R25", "FERN is the nearest", tables=("visits",), answers=accepting("TK-R25"))
def garden_misspelt(good: Good) -> str:
    """FERM for FERN."""
    return good.with_column("visits", "site", lambda _: "FERM").csv("visits")


@damage("repaired", "TK-R03", "semicolons", gives=(("heads", 2, "note", "葉が小さい"),))
def note_in_another_script(good: Good) -> str:
    """A note that is kept as it is."""
    return good.with_cell("heads", 2, "note", "葉が小さい").csv(delimiter=";")


@damage("repaired", "TK-R03", "semicolons", gives=(("heads", 2, "note", '\'=HYPERLINK("http://x.invalid")'),))
def formula_injection(good: Good) -> str:
    """A note that a spreadsheet program would run: it is kept, with a quotation mark in front in the table."""
    return good.with_cell("heads", 2, "note", '=HYPERLINK("http://x.invalid")').csv(delimiter=";")


@damage("refused", "TK-V12", "without control characters")
def control_characters_in_a_note(good: Good) -> str:
    """A bell and an escape."""
    return good.with_cell("heads", 2, "note", "torn\x07\x1b[2J").csv()


# Dates


@damage("repaired", "TK-R43", "day-first, as every date of the sheet must be")
def day_first_throughout(good: Good) -> str:
    """20/08/2026: no other order has a month 20."""
    changed = good
    for column in ("transplanted_on", "harvested_on", "last_not_ready_on"):
        changed = changed.with_column("heads", column, european)
    return changed.csv()


@damage("repaired", "TK-R43", "month-first, as every date of the sheet must be")
def month_first_throughout(good: Good) -> str:
    """8/24/2026."""
    changed = good
    for column in ("transplanted_on", "harvested_on", "last_not_ready_on"):
        changed = changed.with_column("heads", column, lambda day: f"{int(day[5:7])}/{int(day[8:])}/{day[:4]}")
    return changed.csv()


@damage("asked", "TK-R41", "it may be 2026-09-03 (day-first) or 2026-03-09 (month-first)", tables=SOLUTION,
        answers=Answers(dates="day-first"))  # fmt: skip
def day_or_month_first(good: Good) -> str:
    """03/09/2026."""
    return good.with_column("solution", "measured_on", european).csv("solution")


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


@damage("asked", "TK-R53", "exchanged day and month", file=XLSX, tables=ALL, answers=accepting("TK-R53"))
def day_and_month_swapped_by_the_program(good: Good) -> bytes:
    """Some days are text, day first, and others are dates of the program, which may have exchanged day and month."""

    def change(book: Workbook) -> None:
        for row in range(2, 6):
            book["heads"][f"C{row}"] = "24/08/2026"

    return good.workbook(change)


# 2026-08-24 is day 46258 of the 1900 system; 2026-08-24 minus 1899-12-30, worked out with the date command.
@damage("asked", "TK-R42", "2026-08-24 if it begins in 1900, as usual, or 2030-08-25 if in 1904",
        answers=Answers(serials="1900"))  # fmt: skip
def dates_as_day_counts(good: Good) -> str:
    """46258."""
    return good.with_column("heads", "transplanted_on", lambda _: "46258").csv()


@damage("asked", "TK-R42", "2026-08-24 if in 1904", file=XLSX, tables=ALL, answers=Answers(serials="1904"))
def day_counts_of_1904(good: Good) -> bytes:
    """Numbers in a workbook, counted from 1904: 46258 - 1462."""

    def change(book: Workbook) -> None:
        for row in range(2, 18):
            book["heads"][f"C{row}"] = 44796
            book["heads"][f"C{row}"].number_format = "General"

    return good.workbook(change)


@damage("repaired", "TK-R43", "it can be read in one way only")
def dates_with_the_month_in_letters(good: Good) -> str:
    """24-Aug-2026."""
    return good.with_column("heads", "transplanted_on", lambda _: "24-Aug-2026").csv()


@damage("repaired", "TK-R43", "it can be read in one way only")
def dates_with_slashes_year_first(good: Good) -> str:
    """2026/8/24."""
    return good.with_column("heads", "transplanted_on", lambda _: "2026/8/24").csv()


@damage("repaired", "TK-R43", "the time of day was left out")
def dates_with_a_time(good: Good) -> str:
    """2026-08-24 14:30."""
    return good.with_column("heads", "transplanted_on", lambda _: "2026-08-24 14:30").csv()


@damage("refused", "TK-R37", "a date with its year")
def dates_without_a_year(good: Good) -> str:
    """24 Aug."""
    return good.with_column("heads", "transplanted_on", lambda _: "24 Aug").csv()


@damage("refused", "TK-H06", "a date not before transplanted_on")
def harvested_before_transplanting(good: Good) -> str:
    """One harvest before its transplanting."""
    return good.with_cell("heads", 2, "harvested_on", "2026-08-22").with_cell("heads", 2, "last_not_ready_on", "").csv()


@damage("refused", "TK-K03", "within a year of the start of the trial")
def future_date(good: Good) -> str:
    """A day years ahead."""
    return good.with_cell("heads", 2, "harvested_on", "2029-09-22").csv()


@damage("refused", "TK-V08", "a day that exists")
def day_that_does_not_exist(good: Good) -> str:
    """The thirty-first of September."""
    return good.with_cell("heads", 2, "harvested_on", "2026-09-31").csv()


@damage("refused", "TK-V08", "a day that exists")
def day_that_does_not_exist_day_first(good: Good) -> str:
    """31/09/2026."""
    changed = good.with_column("heads", "harvested_on", european)
    return changed.with_cell("heads", 2, "harvested_on", "31/09/2026").csv()


@damage("refused", "TK-K03", "within a year of the start of the trial")
def wrong_year(good: Good) -> str:
    """2025 for 2026."""
    return good.with_cell("heads", 2, "transplanted_on", "2025-08-24").csv()
