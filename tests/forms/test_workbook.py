"""The record workbook: the schemas' lists and limits, locked keys, same bytes, a trip through an office program."""

import io
import shutil
import subprocess
import sys
import zipfile
from datetime import date
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from commands import run
from laid_out_trial import laid_out
from trialkit.domain.table_names import RECORD_TABLES, TableName
from trialkit.forms.workbook import record_workbook
from trialkit.rules.form_marks import form_marks
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.table_schema import load_schema

OFFICE = shutil.which("soffice")
needs_office = pytest.mark.skipif(OFFICE is None, reason="LibreOffice (soffice) is not installed")
HOSTILE = '=HYPERLINK("http://example.org";"x")<b>\x07&'


def opened(data: bytes) -> openpyxl.Workbook:
    """Open a workbook from its bytes."""
    return openpyxl.load_workbook(io.BytesIO(data))


def through_office(data: bytes, folder: Path) -> bytes:
    """Let LibreOffice open a workbook and save it again."""
    folder.mkdir()
    (folder / "record.xlsx").write_bytes(data)
    profile = f"-env:UserInstallation=file://{folder}/profile"
    command = [OFFICE, "--headless", profile, "--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", "out"]
    subprocess.run([*command, "record.xlsx"], cwd=folder, check=True, capture_output=True, timeout=120)
    return (folder / "out" / "record.xlsx").read_bytes()


def filled(data: bytes) -> bytes:
    """Fill the workbook in as a volunteer would."""
    book = opened(data)
    heads, solution, visits = book["heads"], book["solution"], book["visits"]
    place = columns_of(book, "heads")
    for row, weight in ((2, 152), (3, 148.5)):
        for name, value in (
            ("transplanted_on", date(2026, 8, 20)),
            ("outcome", "harvested"),
            ("harvested_on", date(2026, 9, 29)),
            ("weight_g", weight),
            ("marketable", "yes"),
            ("note", "=1+1 is no formula here"),
        ):
            cell = heads.cell(row, place[name])
            cell.value = value
            if name == "note":
                cell.data_type = "s"
    place = columns_of(book, "solution")
    solution.cell(2, place["measured_on"]).value = date(2026, 8, 20)
    solution.cell(2, place["nutrient_tsp"]).value = 4
    solution.cell(2, place["ph_after"]).value = 6.0
    visits.cell(2, 2).value = date(2026, 8, 25)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def columns_of(book: openpyxl.Workbook, table: TableName) -> dict[str, int]:
    """Map the name of each column to where the sheet has its heading."""
    headings = {field.heading: field.name for field in load_schema(table).fields}
    return {headings[cell.value]: cell.column for cell in book[table][1]}


def limits(book: openpyxl.Workbook, table: TableName) -> dict[str, tuple[str, str | None, str | None]]:
    """Return kind and bounds of each column's validation, by the column's name."""
    sheet, names = book[table], {place: name for name, place in columns_of(book, table).items()}
    found = {}
    for rule in sheet.data_validations.dataValidation:
        for place in rule.sqref.ranges:
            for column in range(place.min_col, place.max_col + 1):
                found[names[column]] = (rule.type, rule.formula1, rule.formula2)
    return found


def assert_limits(book: openpyxl.Workbook) -> None:
    """Every field of every schema is a column with its kind of limit; bounds of numbers and words of lists agree."""
    kinds = {"number": "decimal", "integer": "whole", "date": "date", "boolean": "list", "string": "textLength"}
    for table in RECORD_TABLES:
        schema = load_schema(table)
        assert list(columns_of(book, table)) == [field.name for field in schema.on_forms]
        found = limits(book, table)
        for field in schema.on_forms:
            kind, first, second = found[field.name]
            assert kind == ("list" if field.enum else kinds[field.type])
            if field.enum:
                assert first == f'"{",".join(word.replace("_", " ") for word in field.enum)}"'
            elif field.type in ("number", "integer"):
                assert (float(first or "nan"), float(second or "nan")) == (field.minimum, field.maximum)


def test_acid_goes_by_the_card_and_ph_is_read_again(trial: CheckedTrial) -> None:
    """The first sheet says so: steps are the card's, and later readings are rows without amounts."""
    book = opened(record_workbook(trial, "FERN"))
    said = " ".join(str(row[0].value) for row in book["Read me first"].iter_rows() if row[0].value)
    assert "never more at a time" in said
    assert "again in two days, and then every week: a row with the day and the pH before" in said


def test_lists_and_limits_are_those_of_the_schemas(trial: CheckedTrial) -> None:
    """Columns, kinds of validation, bounds and words, read back by openpyxl."""
    assert_limits(opened(record_workbook(trial, "FERN")))


def test_words_are_plain(trial: CheckedTrial) -> None:
    """Headings are the titles, with their units; what is refused is asked for in words that need no explaining."""
    book = opened(record_workbook(trial, "FERN"))
    assert [cell.value for cell in book["heads"][1]] == [
        "Bucket", "Head", "Transplanted on", "Outcome", "Harvested on", "Last seen not ready on", "Head weight (g)",
        "Marketable", "Note",
    ]  # fmt: skip
    assert [cell.value for cell in book["solution"][1]][3:6] == [
        "Nutrient added (teaspoons)",
        "Acid added (teaspoons)",
        "pH before",
    ]
    said = {rule.promptTitle: rule.error for rule in book["heads"].data_validations.dataValidation}
    assert said["Marketable"] == "Please choose yes or no."
    assert said["Harvested on"] == "Please write a day as year-month-day, such as 2026-09-28."
    assert said["Head weight"].startswith("Please write a number, 1 to 2000 g. Weigh in grams.")


def test_headings_are_recognised_without_a_word(trial: CheckedTrial, tmp_path: Path) -> None:
    """What comes back is read as it was sent out: merged, and nothing is said of its headings."""
    returned = tmp_path / "fern.xlsx"
    returned.write_bytes(filled(record_workbook(trial, "FERN")))
    done = run("merge", trial.folder, returned)
    assert (done.returncode, done.stderr) == (0, "")
    assert "TK-R19" not in done.stdout
    heads = pd.read_csv(trial.folder / "heads.csv", dtype=str, keep_default_na=False)
    assert heads["weight_g"].tolist() == ["152", "148.5"]
    assert "nutrient_tsp" in (trial.folder / "solution.csv").read_text("utf-8")


def test_buckets_and_heads_are_filled_in_and_locked(trial: CheckedTrial) -> None:
    """A row for each head, keys locked, everything else open; the sheet is protected without a password."""
    sheet = opened(record_workbook(trial, "FERN"))["heads"]
    own = trial.layout[trial.layout["site"] == "FERN"]
    rows = [(sheet.cell(row, 1).value, sheet.cell(row, 2).value) for row in range(2, sheet.max_row + 1)]
    assert rows == [(bucket, head) for bucket in own["bucket"] for head in (1, 2, 3, 4)]
    assert sheet.protection.sheet
    assert sheet.protection.password is None
    assert sheet["A2"].protection.locked
    assert sheet["A1"].protection.locked
    assert not sheet["C2"].protection.locked
    assert sheet["C2"].number_format == "yyyy-mm-dd"


def test_marks_and_order_of_sheets(trial: CheckedTrial) -> None:
    """Instructions first, a sheet for each table, hidden lists, very hidden marks of trial, layout, form and garden."""
    book = opened(record_workbook(trial, "MILL"))
    assert book.sheetnames == ["Read me first", "heads", "solution", "visits", "lists", "trialkit"]
    assert (book["lists"].sheet_state, book["trialkit"].sheet_state) == ("hidden", "veryHidden")
    marks = form_marks(trial, "FERN")
    assert {row[0].value: row[1].value for row in book["trialkit"].iter_rows()} == {
        "format": "trialkit-workbook-1",
        "trial": marks.trial,
        "layout": marks.layout,
        "form": marks.form,
        "site": "MILL",
    }


def test_a_blind_workbook_names_no_treatment(tmp_path: Path) -> None:
    """In no part of the file does the name of a treatment stand; in one that is not blind it does."""
    open_one = record_workbook(laid_out(tmp_path / "open"), "FERN")
    blind = record_workbook(laid_out(tmp_path / "blind", blind=True), "FERN")
    assert "white vinegar 5 %" in all_text(open_one)
    assert "white vinegar 5 %" not in all_text(blind)
    assert "4 tsp" not in all_text(blind)


def all_text(data: bytes) -> str:
    """Return every part of a workbook as text."""
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        return "".join(parts.read(name).decode("utf-8", "replace") for name in parts.namelist()).replace("\u00a0", " ")


def test_hostile_names_stay_text(tmp_path: Path) -> None:
    """A garden named like a formula is a text, without characters that a workbook must not hold."""
    book = opened(record_workbook(laid_out(tmp_path / "hostile", site_name="=1+1"), "FERN"))
    assert book["Read me first"]["A1"].data_type == "s"
    assert not any(cell.data_type == "f" for sheet in book for row in sheet.iter_rows() for cell in row)


@needs_office
def test_it_survives_an_office_program(trial: CheckedTrial, tmp_path: Path) -> None:
    """Opened and saved by LibreOffice: sheets, hidden marks, lists, limits, protection and keys are still there."""
    book = opened(through_office(record_workbook(trial, "FERN"), tmp_path / "office"))
    assert book.sheetnames == ["Read me first", "heads", "solution", "visits", "lists", "trialkit"]
    assert book["trialkit"].sheet_state != "visible"
    assert book["heads"].protection.sheet
    assert not book["heads"]["C2"].protection.locked
    assert book["heads"]["B3"].value == 2
    assert_limits(book)


@needs_office
def test_a_filled_workbook_comes_back(trial: CheckedTrial, tmp_path: Path) -> None:
    """Filled in, saved by LibreOffice, merged: the tables hold what was written, and nothing else."""
    returned = tmp_path / "fern.xlsx"
    returned.write_bytes(through_office(filled(record_workbook(trial, "FERN")), tmp_path / "office"))
    command = [sys.executable, "-m", "trialkit", "merge", str(trial.folder), str(returned)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    heads = pd.read_csv(trial.folder / "heads.csv", dtype=str, keep_default_na=False)
    first = trial.layout[trial.layout["site"] == "FERN"]["bucket"].iloc[0]
    assert heads[["bucket", "head", "weight_g"]].to_numpy().tolist() == [[first, "1", "152"], [first, "2", "148.5"]]
    assert set(heads["harvested_on"]) == {"2026-09-29"}
    assert set(heads["note"]) == {"'=1+1 is no formula here"}  # defused, as a formula would run elsewhere
    solution = pd.read_csv(trial.folder / "solution.csv", dtype=str, keep_default_na=False)
    assert solution[["bucket", "measured_on", "nutrient_tsp", "ph_after"]].to_numpy().tolist() == [
        [first, "2026-08-20", "4", "6"]
    ]
    visits = pd.read_csv(trial.folder / "visits.csv", dtype=str, keep_default_na=False)
    assert visits[["site", "visited_on"]].to_numpy().tolist() == [["FERN", "2026-08-25"]]
