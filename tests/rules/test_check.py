"""Checking a trial folder: each kind of damage gives its own message, in its own place, and nothing else."""

import os
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pandas as pd
import pytest

from english_left import english_said
from returned_files import good_return
from trialkit.documents.problems import Problem
from trialkit.languages import speaking
from trialkit.protocol.randomise import randomise
from trialkit.rules.trial_folder import check_trial, read_trial
from trialkit.tables.bucket_ids import make_bucket_id
from trialkit.tables.problem import TrialError
from trialkit.tables.table_schema import load_schema
from trialkit.words.problem_words import problem_sentence, told_problem


class Damage(NamedTuple):
    """Text of a good file replaced once, and the whole message that must follow."""

    file: str
    old: str
    new: str
    message: str


def replace_once(folder: Path, file: str, old: str, new: str) -> None:
    """Damage one place of a file."""
    text = (folder / file).read_text("utf-8")
    assert old in text, f"the good {file} no longer holds {old!r}"
    (folder / file).write_text(text.replace(old, new, 1), "utf-8")


def messages(problems: tuple[Problem, ...]) -> list[str]:
    """Show problems as an adviser reads them."""
    return [problem_sentence(problem) for problem in problems]


OF_THE_TRIAL = ("fernsedge", "old-mill", "harbour")
"""What the good folder calls its gardens."""


def in_spanish(problems: tuple[Problem, ...]) -> list[str]:
    """Show problems as an adviser reads them who reads Spanish: what of it is English."""
    with speaking("es"):
        told = [told_problem(problem, at_desk=True) for problem in problems]
    return english_said([text for one in told for text in (one.found, one.expected, one.how_to_fix)], OF_THE_TRIAL)


FIRST = "334X,1,2026-08-24,harvested,2026-09-24,2026-09-21,145.5,yes,"
SECOND = "334X,2,2026-08-24,harvested,2026-09-25,2026-09-21,150.5,yes,"


def head(**changed: str) -> str:
    """Return the first head's row with some cells changed."""
    cells = dict(zip((field.name for field in load_schema("heads").on_forms), FIRST.split(","), strict=True))
    return ",".join((cells | changed).values())


def first_head(column: str, text: str, message: str, **others: str) -> Damage:
    """Damage the first head's cells; the message is on the one named, and begins with what it holds."""
    found = '"' + text.strip('"') + '"' if text else "an empty cell"
    if column != "head" and ("[TK-H" in message or "[TK-K03" in message):  # a value that was read, but is not right
        to_correct = f"To correct it: trialkit correct DIR BUCKET HEAD {column}=VALUE --why TEXT."
        message = message.replace("[TK-", f"{to_correct} [TK-")
    row = head(**{column: text}, **others)
    return Damage("heads.csv", FIRST, row, f"heads.csv, row 2, column {column}: found {found}. {message}")


FINITE = "Expected a finite number. Leave the cell empty when there is nothing to record. [TK-V14]"
IN_RANGE = (
    "Expected 1 to 2000 g. Weigh in grams. If the head was not weighed, leave the cell empty and say why under "
    "outcome. [TK-V10]"
)
# fmt: off
ERRORS = {
    "unit in the cell": first_head("weight_g", "152 g",
        'Expected a number alone. Remove "g" if that is the unit in the heading. If not, convert the value. [TK-V03]'),
    "decimal comma": first_head("weight_g", '"152,4"',
        "Expected a number with a point as decimal separator. Write 152.4 with a point. [TK-V04]"),
    "decimals or thousands": first_head("weight_g", '"1,152"',
        "Expected a number with a point as decimal separator. Write 1.152 if the comma is a decimal separator, "
        "or 1152 if it separates thousands. [TK-V04]"),
    "words for a number": first_head("weight_g", "about 150",
        "Expected a number. Write the number in plain figures. [TK-V02]"),
    "underscore in a number": first_head("weight_g", "1_000",
        "Expected a number. Write 1000 without anything between the figures. [TK-V02]"),
    "infinite": first_head("weight_g", "inf", FINITE),
    "not a number": first_head("weight_g", "NaN", FINITE),
    "overflowing number": first_head("weight_g", "1e999", FINITE),
    "nothing on the scale": first_head("weight_g", "0", IN_RANGE),
    "giant head": first_head("weight_g", "9999", IN_RANGE),
    "harvested without weight": first_head("weight_g", "",
        "Expected a weight, as the outcome is harvested. Enter the weight, or correct the outcome. If nobody "
        "weighed the head, its outcome is not_weighed. It then counts as a marketable head, and the bucket's "
        "weight comes from its others. [TK-H02]"),
    "weight of a head that nobody weighed": first_head("weight_g", "145.5",
        "Expected an empty cell, as the outcome says that nobody weighed the head. Empty the weight, or correct the "
        "outcome. [TK-H04]", outcome="not_weighed"),
    "harvest without an outcome": first_head("outcome", "",
        "Expected an outcome, as a harvest is recorded. Write harvested, or what else became of the head. Or "
        "empty the other cells. [TK-H18]"),
    "never transplanted": first_head("transplanted_on", "",
        "Expected a date, as the outcome says that the head stood in the bucket. Enter the day. A head that "
        "never went into its bucket has the outcome never_planted. [TK-H19]"),
    "thirty-first of February": first_head("harvested_on", "2026-02-31",
        "Expected a day that exists. Look up the day in the record and correct it. [TK-V08]"),
    "ambiguous date": first_head("harvested_on", "03/04/26",
        "Expected a date as year-month-day. Write year-month-day, with the year in full. [TK-V07]"),
    "date with the year in full": first_head("harvested_on", "20/05/2026",
        "Expected a date as year-month-day. Write 2026-05-20 if that is the day meant. [TK-V07]"),
    "day or month first": first_head("harvested_on", "10.9.2026",
        "Expected a date as year-month-day. Write 2026-09-10 or 2026-10-09, whichever day is meant. [TK-V07]"),
    "spreadsheet day count": first_head("harvested_on", "46289",
        "Expected a date as year-month-day. A spreadsheet shows its own day count here. Format the column as a "
        "date, year-month-day, and save it again. [TK-V06]"),
    "harvested without date": first_head("harvested_on", "",
        "Expected a date, as the outcome is harvested. Enter the date, or correct the outcome. [TK-H03]"),
    "wrong year": first_head("harvested_on", "2027-09-24",
        "Expected a date from 2026-08-20 to 2027-08-20, within a year of the start of the trial. Correct the date, "
        "or trial.started_on in trial.toml. [TK-K03]"),
    "harvested before transplanting": first_head("harvested_on", "2026-08-21",
        "Expected a date not before transplanted_on. Look up both dates and correct them. "
        "[TK-H06]", last_not_ready_on=""),
    "half a year on the bench": first_head("harvested_on", "2027-02-21",
        "Expected at most 180 days after transplanted_on. Look up both dates and correct the wrong one. [TK-H11]"),
    "before the trial began": first_head("transplanted_on", "2026-08-02",
        "Expected a date from 2026-08-20 to 2027-08-20, within a year of the start of the trial. Correct the date, "
        "or trial.started_on in trial.toml. [TK-K03]"),
    "not ready after it was cut": first_head("last_not_ready_on", "2026-09-30",
        "Expected a date from transplanted_on to harvested_on. Look up the dates and correct them. [TK-H07]"),
    "dead but weighed": first_head("weight_g", "145.5",
        "Expected an empty cell, as the outcome says that the head was not cut. "
        "Empty the weight, or correct the outcome. [TK-H04]", outcome="dead", harvested_on=""),
    "missing but dated": first_head("harvested_on", "2026-09-24",
        "Expected an empty cell, as the outcome says that the head was not cut. "
        "Empty the date, or correct the outcome. [TK-H05]", outcome="missing", weight_g=""),
    "misspelt outcome": first_head("outcome", "harvestd",
        "Expected one of harvested, not_weighed, not_ready, dead, bolted, eaten, stolen, never_planted, gave_up, "
        'missing. Did you mean "harvested"? Use one of the words listed. [TK-V11]'),
    "neither yes nor no": first_head("marketable", "perhaps",
        "Expected yes or no. Write yes or no, or leave it empty. [TK-V09]"),
    "half a head": first_head("head", "1.5", "Expected a whole number. Write a whole number. [TK-V05]"),
    "no head number": first_head("head", "", "Expected a value. Fill in the cell. [TK-V01]"),
    "too many heads": first_head("head", "3",
        "Expected 1 to 2, the heads a bucket (bucket.heads in trial.toml). Correct the bucket or the head, or "
        "bucket.heads in trial.toml. [TK-H01]"),
    "same head twice": Damage("heads.csv", SECOND, SECOND.replace("334X,2", "334X,1"),
        'heads.csv, row 3, column head: found bucket "334X", head "1". Expected only one row for it, but row 2 '
        "has it already. Keep the true row, remove the other. [TK-K01]"),
    "misread bucket": Damage("heads.csv", SECOND, SECOND.replace("334X", "343X"),
        'heads.csv, row 3, column bucket: found "343X". Expected a bucket that layout.csv lists. Did you mean '
        '"334X"? Otherwise add it to layout.csv. [TK-K02]'),
    "identity with a smart quote": Damage("heads.csv", SECOND, SECOND.replace("334X", "334X’"),
        'heads.csv, row 3, column bucket: found "334X’". Expected letters, figures and hyphens. Correct the '
        "spelling. [TK-V12]"),
    "row longer than the header": Damage("heads.csv", FIRST, head(note="fine,really"),
        'heads.csv, row 2: found 10 cells, the last of them "really". Expected 9 cells as in the header. Put a '
        'cell that holds a comma into "quotation marks". Leave an empty cell empty, but keep its comma. [TK-F09]'),
    "row shorter than the header": Damage("heads.csv", FIRST, FIRST[: FIRST.index(",yes")],
        "heads.csv, row 2: found 7 cells. Expected 9 cells as in the header. Put a cell that holds a comma into "
        '"quotation marks". Leave an empty cell empty, but keep its comma. [TK-F09]'),
    "unclosed quotation mark": Damage("heads.csv", SECOND, SECOND.replace(",yes,", ',yes,"eaten by slugs'),
        'heads.csv, row 3: found a cell that never ends. Expected a closing " for each opening one. Close the '
        "quotation mark, or take it out. [TK-F06]"),
    "text after a quotation mark": Damage("heads.csv", SECOND, SECOND.replace(",yes,", ',yes,"slugs"!'),
        'heads.csv, row 3: found text after a closing ". Expected a closing " for each opening one. Close the '
        "quotation mark, or take it out. [TK-F06]"),
    "semicolons": Damage("visits.csv", "site,visited_on,observer_role,note", "site;visited_on;observer_role;note",
        "visits.csv, row 1: found a header separated by semicolons, and rows that are not. Expected columns separated "
        "by one mark. Save it again as comma separated values. [TK-F07]"),
    "site that does not exist": Damage("layout.csv", "334X,fernsedge", "334X,fernsedg",
        'layout.csv, row 2, column site: found "fernsedg". Expected a site that sites.csv lists. Did you mean '
        '"fernsedge"? Otherwise add it to sites.csv. [TK-K02]'),
    "treatment that was not planned": Damage("layout.csv", "334X,fernsedge,1,1,Larkmoor Butter,2",
        "334X,fernsedge,1,1,Larkmoor Butter,3",
        'layout.csv, row 2, column dose_tsp: found "3". Expected one of 2, 4. Correct layout.csv, or add the level '
        "to trial.toml. [TK-L01]"),
    "two buckets in one place": Damage("layout.csv", "336T,fernsedge,1,2", "336T,fernsedge,1,1",
        'layout.csv, row 3, column position: found "1". Expected a position of its own in the garden. Correct '
        "one of the positions. [TK-L02]"),
    "product that is not on the shelf": Damage("trial.toml", 'product = "Blend L 9-12-30"',
        'product = "Blend M 9-12-30"',
        'trial.toml, row 16, factors.dose.product: found "Blend M 9-12-30". Expected a product of products.csv. Did '
        'you mean "Blend L 9-12-30"? Otherwise add it to products.csv. [TK-P08]'),
    "misspelt key": Damage("trial.toml", "seed = ", "seed = 1\nblokcs = ",
        'trial.toml, row 25, layout.blokcs: found "blokcs". Expected a key of the protocol. Did you mean "blocks"? '
        "[TK-P02]"),
    "not TOML": Damage("trial.toml", "heads = 2", "heads = two",
        "trial.toml, row 10: found Invalid value (at character 9 of the line). Expected a protocol in TOML. Put text "
        'into "double quotes". Write numbers with a point, and dates as 2026-08-20. [TK-P01]'),
    "control characters": Damage("sites.csv", "Fernsedge School", "Fernsedge\x1b[2J",
        'sites.csv, row 2, column name: found "Fernsedge\\x1b[2J". Expected text without control characters. Type '
        "the text again. [TK-V12]"),
    "note without end": Damage("sites.csv", "shade, after four", "x" * 501,
        f'sites.csv, row 3, column note: found "{"x" * 79}…". Expected at most 500 characters. Shorten it. [TK-V13]'),
}
# fmt: on


@pytest.mark.parametrize("damage", ERRORS.values(), ids=ERRORS.keys())
def test_each_kind_of_damage_is_told_in_full(good_folder: Path, damage: Damage) -> None:
    """A damaged place gives exactly one error, which names the place, what stands there and how to fix it."""
    replace_once(good_folder, damage.file, damage.old, damage.new)
    result = check_trial(good_folder)
    assert messages(result.errors) == [damage.message]
    assert in_spanish(result.errors) == []
    assert result.trial is None
    assert not result.ok


# fmt: off
WARNINGS = {
    "late harvest": first_head("harvested_on", "2026-11-03",
        "Expected about 28 to 56 days after transplanted_on (schedule.harvest_after_days). Look up both dates. "
        "If they are right, there is nothing to do. [TK-H12]"),
    "early harvest": first_head("harvested_on", "2026-09-06",
        "Expected about 28 to 56 days after transplanted_on (schedule.harvest_after_days). Look up both dates. "
        "If they are right, there is nothing to do. [TK-H12]", last_not_ready_on=""),
    "figures of another width": first_head("weight_g", "１４５.５",
        "Expected plain figures. It is read as 145.5. Nothing to do if the value is right. To end this warning, "
        "type it again in plain figures. [TK-V15]"),
    "slipped decimal point": first_head("weight_g", "14.55",
        "Expected a weight like the others in its garden. Look up the record. If the weight is right, there is "
        "nothing to do. [TK-H10]"),
    "slipped decimal point and no such growth": first_head("weight_g", "1455",
        "Expected at most 30 g for each day from transplanting to harvest. Look up the weight and both dates, and "
        "correct the wrong one. [TK-H16]"),
    "nobody knows": Damage("heads.csv", FIRST + "\n" + SECOND, "334X,1,,,,,,,\n334X,2,2026-08-24,,,2026-09-01,,,late",
        "heads.csv, row 2, column outcome: found none for 2 heads at fernsedge. Expected an outcome. Write what "
        "became of each, if somebody knows. If nobody does, leave them empty: that says as much as gave_up or "
        "missing. To correct it: trialkit correct DIR BUCKET HEAD outcome=VALUE --why TEXT. [TK-H20]"),
    "forgotten head": Damage("heads.csv", FIRST + "\n", "",
        'layout.csv, row 2, column bucket: found 1 row in heads.csv for "334X". Expected 2, one for each head of '
        "the bucket (bucket.heads). First look for a row under a mistyped bucket. Add a row for each head whose "
        "fate somebody knows. If nobody does, there is nothing to do. [TK-H09]"),
    "forgotten bucket": Damage("heads.csv", FIRST + "\n" + SECOND + "\n", "",
        'layout.csv, row 2, column bucket: found "334X". Expected rows in heads.csv for this bucket. Ask what '
        "became of them. If nobody knows, there is nothing to do. A bucket without a row has no record, as if "
        "its heads said gave_up. [TK-H08]"),
    "wrong dose mixed": Damage("solution.csv", "334X,2026-08-23,20,2", "334X,2026-08-23,20,4",
        'solution.csv, row 2, column nutrient_tsp: found "4". Expected the dose that layout.csv gives this '
        "bucket, 2. Look up the record, and correct it if it is wrong. If the bucket was mixed so, say why in "
        "the note of this row. To correct it: trialkit correct DIR BUCKET nutrient_tsp=VALUE --why TEXT. [TK-S01]"),
    "site without buckets": Damage("sites.csv", "old-mill,", "harbour,Harbour Day Centre,,,,,,\nold-mill,",
        'sites.csv, row 3, column site: found "harbour". Expected a garden that has buckets in layout.csv. '
        "Remove the garden. If the trial has begun and it takes part, let trialkit site lay it out. [TK-L06]"),
    "more blocks planned than laid out": Damage("trial.toml", "blocks = 2", "blocks = 3",
        "layout.csv, column site: found 8 buckets, 4 treatments more or less often. Expected each of 4 "
        'treatments 3 times at "fernsedge". Nothing to do if the change was meant. Say so in the report. [TK-L05]'),
}
# fmt: on


@pytest.mark.parametrize("damage", WARNINGS.values(), ids=WARNINGS.keys())
def test_what_may_be_right_is_only_warned_of(good_folder: Path, damage: Damage) -> None:
    """A place worth a second look gives a warning, and the trial can still be analysed."""
    replace_once(good_folder, damage.file, damage.old, damage.new)
    result = check_trial(good_folder)
    assert messages(result.warnings)[:1] == [damage.message]
    assert in_spanish(result.warnings) == []
    assert result.ok
    assert result.trial is not None


def test_a_good_folder_has_no_problems(good_folder: Path) -> None:
    """A good trial is read whole: typed, a cultivar called NA kept as text, a digest of each file."""
    result = check_trial(good_folder)
    assert messages(result.problems) == []
    trial = read_trial(good_folder)
    assert set(trial.layout["cultivar"]) == {"Larkmoor Butter", "NA"}
    assert set(trial.sha256) == {path.name for path in good_folder.iterdir()}
    kinds = [str(dtype) for dtype in trial.heads.dtypes.drop(["bucket", "outcome", "cultivar_planted", "note"])]
    assert kinds == ["Int64", *["datetime64[s]"] * 3, "float64", "boolean"]
    assert len(trial.heads) == 32
    assert trial.heads["note"].eq("").all()


def test_every_problem_is_told_at_once_in_the_order_of_files_and_rows(good_folder: Path) -> None:
    """Damage in several files and rows is all reported by one check, one cause for each cell."""
    for name in ("decimal comma", "misread bucket", "treatment that was not planned", "misspelt key"):
        replace_once(good_folder, *ERRORS[name][:3])
    replace_once(good_folder, "heads.csv", "336T,1,2026-08-24", "336T,1,2026-8-24")
    found = [(p.file, p.row, p.rule) for p in check_trial(good_folder).errors]
    # An unreadable protocol leaves out only the rules that need it, here that of the treatments.
    of_heads = [("heads.csv", 2, "TK-V04"), ("heads.csv", 3, "TK-K02"), ("heads.csv", 4, "TK-V06")]
    assert found == [("trial.toml", 25, "TK-P02"), *of_heads]
    replace_once(good_folder, "trial.toml", "seed = 1\nblokcs = ", "seed = ")
    found = [(p.file, p.row, p.rule) for p in check_trial(good_folder).errors]
    assert found == [("layout.csv", 2, "TK-L01"), *of_heads]


@pytest.mark.parametrize(
    ("file", "severity"),
    [
        ("trial.toml", "error"),
        ("sites.csv", "error"),
        ("layout.csv", "error"),
        ("heads.csv", "error"),
        ("products.csv", "error"),  # the protocol names products
        ("solution.csv", "warning"),
        ("visits.csv", "warning"),
    ],
)
def test_a_missing_file_is_said_once(good_folder: Path, file: str, severity: str) -> None:
    """A missing file gives one problem and no others that merely follow from it."""
    (good_folder / file).unlink()
    (problem,) = check_trial(good_folder).problems
    assert (problem.rule, problem.file, problem.severity, told_problem(problem).found) == (
        "TK-F01",
        file,
        severity,
        "no file",
    )


def test_products_are_only_needed_when_the_protocol_names_one(good_folder: Path) -> None:
    """Without a named product, products.csv may be absent: a warning."""
    replace_once(good_folder, "trial.toml", 'product = "Blend L 9-12-30"\n', "")
    replace_once(good_folder, "trial.toml", '["white vinegar 5 %"]', '["none"]')
    layout = (good_folder / "layout.csv").read_text("utf-8")
    (good_folder / "layout.csv").write_text(layout.replace("white vinegar 5 %", "none"), "utf-8")
    (good_folder / "products.csv").unlink()
    solution = (good_folder / "solution.csv").read_text("utf-8")
    (good_folder / "solution.csv").write_text(solution.replace(",3,7.4,6.1,", ",0,7.4,7.4,"), "utf-8")
    result = check_trial(good_folder)
    assert [p.rule for p in result.warnings] == ["TK-F01"]
    assert result.ok


@pytest.mark.parametrize("stage", ["plan", "layout"])
def test_early_stages_do_not_ask_for_records(good_folder: Path, stage: str) -> None:
    """Before there are records, a trial without them is in order."""
    later = {"plan": ("layout", "solution", "visits", "heads"), "layout": ("solution", "visits", "heads")}[stage]
    for name in later:
        (good_folder / f"{name}.csv").unlink()
    result = check_trial(good_folder, stage=stage)  # type: ignore[arg-type]
    assert messages(result.problems) == []
    assert len(result.trial.heads) == 0
    assert list(result.trial.heads.columns)[:2] == ["bucket", "head"]


def test_a_folder_that_is_not_there_is_a_problem_not_a_crash(tmp_path: Path) -> None:
    """Checking nowhere says which files are missing."""
    rules = {p.rule for p in check_trial(tmp_path / "nowhere").problems}
    assert rules == {"TK-F01"}
    with pytest.raises(TrialError, match=r"TK-F01 trial\.toml"):
        read_trial(tmp_path / "nowhere")


def test_missing_unknown_and_repeated_columns(good_folder: Path) -> None:
    """A misspelt heading is told as what is unknown and what is missing; a repeated one as such."""
    replace_once(good_folder, "heads.csv", "weight_g", "weight_gr")
    assert [(p.rule, p.row, p.column) for p in check_trial(good_folder).errors] == [
        ("TK-C02", 1, "weight_gr"),
        ("TK-C01", 1, "weight_g"),
    ]
    assert 'Did you mean "weight_g"?' in problem_sentence(check_trial(good_folder).errors[0])
    replace_once(good_folder, "heads.csv", "weight_gr", "head")
    (problem,) = check_trial(good_folder).errors
    assert (problem.rule, problem.column, told_problem(problem).found) == ("TK-C03", "head", '"head" 2 times')


@pytest.mark.parametrize("text", ["", "\n\n,,\n", "bucket,head,transplanted_on,outcome,harvested_on,weight_g\n"])
def test_an_empty_table_is_said_once(good_folder: Path, text: str) -> None:
    """An empty heads.csv is an error, an empty visits.csv a warning."""
    (good_folder / "heads.csv").write_text(text, "utf-8")
    assert [p.rule for p in check_trial(good_folder).problems] == ["TK-F08"]
    assert not check_trial(good_folder).ok


def test_no_records_of_visits_is_a_warning(good_folder: Path) -> None:
    """A header alone in visits.csv does not stop the analysis."""
    (good_folder / "visits.csv").write_text("site,visited_on\n", "utf-8")
    (problem,) = check_trial(good_folder).problems
    assert (problem.rule, problem.severity) == ("TK-F08", "warning")


Bytes = Callable[[bytes], bytes]


@pytest.mark.parametrize(
    ("spoil", "rule", "words"),
    [
        (lambda b: b.replace(b"shade", "flétri".encode("cp1252")), "TK-F04", "Windows-1252"),
        (lambda b: b.replace(b"shade", "flétri".encode("mac_roman")), "TK-F04", "Mac Roman"),
        (lambda b: b.decode().encode("utf-16"), "TK-F04", "UTF-16"),
        (lambda b: b.replace(b"shade", b"sh\0ade"), "TK-F05", "NUL"),
        (lambda b: b"PK\x03\x04" + b, "TK-F10", "workbook"),
        (lambda b: b + b"x" * 20_000_001, "TK-F03", "at most 20 MB"),
    ],
    ids=["cp1252", "mac", "utf-16", "nul", "workbook", "too large"],
)
def test_files_that_are_not_utf8_text(good_folder: Path, spoil: Bytes, rule: str, words: str) -> None:
    """A file in another encoding is refused with the encoding it looks like and how to save it again."""
    path = good_folder / "sites.csv"
    path.write_bytes(spoil(path.read_bytes()))
    (problem,) = check_trial(good_folder).errors
    assert (problem.rule, problem.file) == (rule, "sites.csv")
    assert words in problem_sentence(problem)
    if "1252" in words or "Mac" in words:
        assert problem.row == 3
        assert "flétri" in told_problem(problem).found
        assert "CSV UTF-8" in told_problem(problem).how_to_fix


def test_marks_and_blanks_that_programs_add_are_passed_over(good_folder: Path) -> None:
    """A byte-order mark, other line ends, blank rows, blanks around cells and empty columns at the right do no harm."""
    path = good_folder / "heads.csv"
    lines = path.read_text("utf-8").splitlines()
    lines = [f"{line},," for line in [*lines[:3], ",,,,,,,,", *lines[3:]]]
    text = "\r\n".join(lines).replace("harvested,", " harvested\u00a0,").replace("weight_g", " weight_g ")
    path.write_bytes(b"\xef\xbb\xbf" + text.encode() + b"\r\n\r\n")
    assert messages(check_trial(good_folder).problems) == []
    path.write_bytes(path.read_bytes().replace(b",150.5,", b",0,", 1))
    assert check_trial(good_folder).errors[0].row == 3
    path.write_bytes(path.read_bytes().replace(b"336T,1,2", b"336T,x,2", 1))
    assert check_trial(good_folder).errors[1].row == 5, "a blank row counts, as it does in a spreadsheet"


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("products.csv", "Blend L", "Ble\ufeffnd L"),
        ("sites.csv", "fernsedge,", "fern\u202ehill,"),
        ("trial.toml", '"NA"', '"N\u202eA"'),
        ("trial.toml", '"Larkmoor Butter", "NA"', '"Fenleaf", "N\u202eA"'),
    ],
)
def test_a_name_from_another_file_is_shown_safely(good_folder: Path, file: str, old: str, new: str) -> None:
    """What a message suggests is a stranger's text too: marks that turn the line round are spelt out."""
    replace_once(good_folder, file, old, new)
    problems = check_trial(good_folder).problems
    assert problems
    assert all(problem_sentence(problem).isprintable() for problem in problems)


def test_nothing_outside_the_folder_is_read(good_folder: Path, tmp_path: Path) -> None:
    """A link that leads out of the folder is refused; one within it is followed; a folder is no file."""
    outside = tmp_path / "outside.csv"
    outside.write_text("secret\n", "utf-8")
    visits = good_folder / "visits.csv"
    visits.rename(good_folder / "visits-2026.csv")
    visits.symlink_to("visits-2026.csv")
    assert check_trial(good_folder).ok
    visits.unlink()
    visits.symlink_to(outside)
    (problem,) = check_trial(good_folder).errors
    assert (problem.rule, told_problem(problem).found) == ("TK-F02", "a link that leads out of the folder")
    visits.unlink()
    visits.mkdir()
    assert told_problem(check_trial(good_folder).errors[0]).found == "a folder or a device"
    visits.rmdir()
    os.mkfifo(visits)
    assert check_trial(good_folder).errors[0].rule == "TK-F02", "a pipe must not be waited for"
    visits.unlink()
    visits.symlink_to("visits.csv")
    assert check_trial(good_folder).errors[0].rule == "TK-F02", "nor a link to itself be followed for ever"


def test_a_split_plot_must_have_whole_plots_of_one_level(good_folder: Path) -> None:
    """In a split-plot each whole plot holds one level of the whole-plot factor."""
    replace_once(good_folder, "trial.toml", '"randomised complete blocks"', '"split-plot"\nwhole_plot = "dose"')
    (problem,) = check_trial(good_folder).errors
    assert (problem.rule, problem.column, told_problem(problem).found) == ("TK-L04", "whole_plot", "no such column")
    header, *rows = (good_folder / "layout.csv").read_text("utf-8").splitlines()
    plots = [f"{row},{1 if ',2,white' in row else 2}" for row in rows]
    (good_folder / "layout.csv").write_text("\n".join([f"{header},whole_plot", *plots]) + "\n", "utf-8")
    assert [p.rule for p in check_trial(good_folder).problems] == ["TK-L07"]  # written by hand, not drawn
    wrong = [plots[0][:-1] + "2", plots[1][:-1], *plots[2:]]
    (good_folder / "layout.csv").write_text("\n".join([f"{header},whole_plot", *wrong]) + "\n", "utf-8")
    errors = check_trial(good_folder).errors
    assert {p.rule for p in errors} == {"TK-L04"}
    assert (3, "whole_plot") in [(p.row, p.column) for p in errors]


def test_a_layout_with_plain_identities_is_warned_of_once(good_folder: Path) -> None:
    """Identities of the adviser's own making are accepted, with one warning that they carry no check."""
    for name in ("layout.csv", "heads.csv", "solution.csv"):
        path = good_folder / name
        path.write_text(path.read_text("utf-8").replace("334X", "B01").replace("336T", "B02"), "utf-8")
    plain, drawn = sorted(check_trial(good_folder).problems, key=lambda p: p.rule)
    assert (plain.rule, told_problem(plain).found) == ("TK-L03", '2 without, such as "B01"')
    assert drawn.rule == "TK-L07"


def test_a_seed_changed_after_labelling_is_warned_of(good_folder: Path) -> None:
    """A layout that is not the seed's is warned of once: labels and layout may no longer belong together."""
    replace_once(good_folder, "trial.toml", "seed = 20260820", "seed = 20260821")
    (problem,) = check_trial(good_folder).problems
    assert problem_sentence(problem) == (
        "layout.csv: found another layout. Expected the layout of seed 20260821. If it was made elsewhere, there "
        "is nothing to do. If trial.toml was changed after labelling, put it back. [TK-L07]"
    )


@pytest.mark.parametrize("day", ["2026-09-07", "2026-11-02", "2026-08-23"])
def test_harvest_somewhat_outside_the_window_is_no_matter(good_folder: Path, day: str) -> None:
    """Fourteen days either side of the window are allowed, and a harvest before transplanting is told once."""
    replace_once(good_folder, "heads.csv", FIRST, head(harvested_on=day, last_not_ready_on=""))
    assert [p.rule for p in check_trial(good_folder).problems] == (["TK-H06"] if day == "2026-08-23" else [])


def test_a_layout_may_be_sorted_otherwise_but_not_moved(good_folder: Path) -> None:
    """The order of the rows says nothing; two buckets that changed places are another layout."""
    path = good_folder / "layout.csv"
    header, *rows = path.read_text("utf-8").splitlines()
    path.write_text("\n".join([header, *rows[::-1]]) + "\n", "utf-8")
    assert messages(check_trial(good_folder).problems) == []
    replace_once(good_folder, "layout.csv", "334X,fernsedge,1,1", "334X,fernsedge,1,9")
    assert [p.rule for p in check_trial(good_folder).problems] == ["TK-L07"]


def test_a_garden_that_dropped_out_makes_no_other_layout(good_folder: Path) -> None:
    """The layout is compared with that of the gardens in it: one more in sites.csv changes nothing."""
    replace_once(good_folder, "sites.csv", "old-mill,", "a-harbour,Harbour Day Centre,,,,,,\nold-mill,")
    assert [p.rule for p in check_trial(good_folder).problems] == ["TK-L06"]


def test_cells_at_fault_are_not_told_again_as_another_layout(good_folder: Path) -> None:
    """A misspelt garden or level is one error; that the layout is another by it goes without saying."""
    for name in ("site that does not exist", "treatment that was not planned"):
        replace_once(good_folder, *ERRORS[name][:3])
        assert "TK-L07" not in [p.rule for p in check_trial(good_folder).problems]
        replace_once(good_folder, ERRORS[name].file, ERRORS[name].new, ERRORS[name].old)


def test_a_plan_too_large_to_be_laid_out_is_no_crash(good_folder: Path) -> None:
    """A protocol that asks for more buckets than identities cannot be compared with; the check goes on."""
    doses = ", ".join(f"{dose / 2:g}" for dose in range(1, 31))
    replace_once(good_folder, "trial.toml", "levels = [2, 4]", f"levels = [{doses}]")
    replace_once(good_folder, "trial.toml", "blocks = 2", "blocks = 50")
    rows = (good_folder / "layout.csv").read_text("utf-8").splitlines()
    sites = (good_folder / "sites.csv").read_text("utf-8")
    for i in range(10):  # a bucket of its own at each of ten more gardens, so that the plan has 36,000 buckets
        name = f"garden-{i}"
        rows.append(f"{make_bucket_id(6_000 + i)},{name},1,1,Larkmoor Butter,2,white vinegar 5 %")
        sites += f"{name},Garden {i},,,,,,\n"
    (good_folder / "layout.csv").write_text("\n".join(rows) + "\n", "utf-8")
    (good_folder / "sites.csv").write_text(sites, "utf-8")
    assert {p.rule for p in check_trial(good_folder, stage="layout").problems} == {"TK-L05"}


def test_a_layout_without_replication_is_doubted(good_folder: Path) -> None:
    """One bucket of each treatment in all is a warning, for nothing can be concluded from it."""
    path = good_folder / "layout.csv"
    header, *rows = path.read_text("utf-8").splitlines()
    first = [row for row in rows if ",fernsedge,1," in row]
    path.write_text("\n".join([header, *first]) + "\n", "utf-8")
    found = [p for p in check_trial(good_folder, stage="layout").problems if p.rule == "TK-L08"]
    assert [p.severity for p in found] == ["warning"]
    assert "two buckets or more of a treatment" in told_problem(found[0]).expected


def test_whole_plots_without_replication_are_doubted(good_folder: Path) -> None:
    """A split-plot with one whole plot of each level cannot test what stands on whole plots."""
    swap = (
        'kind = "randomised complete blocks"\nblocks = 2',
        'kind = "split-plot"\nwhole_plot = "cultivar"\nblocks = 1',
    )
    replace_once(good_folder, "trial.toml", *swap)
    sites = pd.read_csv(good_folder / "sites.csv").iloc[:1]
    sites.to_csv(good_folder / "sites.csv", index=False)
    trial = read_trial(good_folder, stage="plan")
    once = randomise(trial.protocol, trial.sites)
    again = once.assign(bucket=[make_bucket_id(100 + i) for i in range(len(once))], position=once["position"] + 10)
    layout = pd.concat([once, again])  # each dose twice in its whole plot, but one whole plot of each cultivar
    layout.to_csv(good_folder / "layout.csv", index=False)
    (found,) = [p for p in check_trial(good_folder, stage="layout").problems if p.rule == "TK-L08"]
    assert "two whole plots or more of a cultivar" in told_problem(found).expected
    layout.assign(whole_plot=range(1, len(layout) + 1)).to_csv(good_folder / "layout.csv", index=False)
    assert "TK-L08" not in [p.rule for p in check_trial(good_folder, stage="layout").problems]


def test_a_wrong_year_is_told(good_folder: Path) -> None:
    """A head cut a year after transplanting is an error, one cut far outside the window a warning."""
    heads = (good_folder / "heads.csv").read_text("utf-8")
    day = heads.splitlines()[1].split(",")[4]
    replace_once(good_folder, "trial.toml", "started_on = 2026-08-20\n", "")
    (good_folder / "heads.csv").write_text(heads.replace(day, f"{int(day[:4]) + 1}{day[4:]}", 1), "utf-8")
    assert "TK-H11" in [p.rule for p in check_trial(good_folder).errors]
    (good_folder / "heads.csv").write_text(heads, "utf-8")
    replace_once(good_folder, "trial.toml", "[28, 56]", "[90, 120]")
    assert {p.rule for p in check_trial(good_folder).warnings} == {"TK-H12"}


def test_a_hundred_thousand_heads_are_checked(good_folder: Path) -> None:
    """A table far larger than any trial is read whole (how fast: tests/benchmarks/checking.py)."""
    replace_once(good_folder, "trial.toml", "heads = 2", "heads = 12")
    buckets = [f"B{number}" for number in range(8334)]
    layout = [f"{b},fernsedge,1,{place},NA,2,white vinegar 5 %" for place, b in enumerate(buckets, start=1)]
    (good_folder / "layout.csv").write_text(
        "\n".join(["bucket,site,block,position,cultivar,dose_tsp,acidifier", *layout]), "utf-8"
    )
    heads = [
        f"{b},{number},2026-08-24,harvested,2026-09-24,,{100 + (place + number) % 90 / 10},yes,"
        for place, b in enumerate(buckets)
        for number in range(1, 13)
    ]
    (good_folder / "heads.csv").write_text(
        "\n".join([",".join(field.name for field in load_schema("heads").on_forms), *heads]), "utf-8"
    )
    (good_folder / "solution.csv").unlink()
    result = check_trial(good_folder)
    assert len(result.trial.heads) == 100_008


def test_one_square_of_two_treatments_is_refused(good_folder: Path) -> None:
    """A Latin square of two leaves nothing to judge chance by: two squares a garden are asked for."""
    swap = ('kind = "randomised complete blocks"\nblocks = 2', 'kind = "Latin square"\nblocks = 1')
    replace_once(good_folder, "trial.toml", *swap)
    replace_once(good_folder, "trial.toml", '["Larkmoor Butter", "NA"]', '["Larkmoor Butter"]')
    replace_once(good_folder, "trial.toml", 'cultivar = "Larkmoor Butter", dose', "dose")
    found = [p for p in check_trial(good_folder, stage="plan").problems if p.rule == "TK-P11"]
    assert [p.column for p in found] == ["layout.blocks"]
    assert "at least 2 squares" in told_problem(found[0]).expected
    replace_once(good_folder, "trial.toml", "blocks = 1", "blocks = 2")
    assert not check_trial(good_folder, stage="plan").errors


def test_a_county_says_whom_to_ask(tmp_path: Path) -> None:
    """The block in the folder above; one that cannot be read is told, and keeps nobody from analysing."""
    folder = good_return().write_trial(tmp_path / "trial")
    plain = check_trial(folder)
    assert plain.contact == "county horticulture adviser"
    county = tmp_path / "county.toml"
    county.write_text('[county]\nname = "Larkmoor"\ncontact = "The desk, tel. 555 0100"\n', "utf-8")
    told = check_trial(folder)
    assert (told.contact, told.problems) == ("The desk, tel. 555 0100", plain.problems)
    assert told.trial is None or told.trial.contact == told.contact
    county.write_text("[county\n", "utf-8")
    damaged = check_trial(folder)
    assert damaged.contact == plain.contact
    assert [(one.severity, one.file) for one in damaged.problems if one not in plain.problems] == [
        ("warning", "county.toml")
    ]
