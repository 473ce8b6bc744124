"""Tables that a spreadsheet program saved in its own way: read where one reading is left, else told in one line."""

import csv
import io
import re
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from contents import contents
from returned_files import good_return
from trialkit._resources import resource_folder
from trialkit.documents.problems import Problem
from trialkit.returns.correcting import Wanted, correct
from trialkit.returns.journal import Reason
from trialkit.returns.merge_files import merge_files
from trialkit.rules.trial_folder import CheckedTrial, check_trial
from trialkit.words.problem_words import problem_sentence

TABLES = ("sites", "products", "layout", "solution", "visits", "heads")
EXAMPLE = resource_folder("example_trials") / "autumn_dose"
Cell = Callable[[str, str], str]


def day_as(pattern: str) -> Cell:
    """Return what writes dates in another way, in which {y}, {yy}, {m} and {d} stand for their parts."""

    def written(_: str, text: str) -> str:
        if not (match := re.fullmatch(r"(\d{4})-(\d\d)-(\d\d)", text)):
            return text
        year, month, day = map(int, match.groups())
        return pattern.format(y=year, yy=year % 100, m=month, d=day)

    return written


US = day_as("{m}/{d}/{y}")


def german(column: str, text: str) -> str:
    """Write dates and decimals as a German program does."""
    text = day_as("{d:02}.{m:02}.{y}")(column, text)
    return text.replace(".", ",") if re.fullmatch(r"\d*\.\d+", text) else text


def save_again(path: Path, cell: Cell, *, delimiter: str = ",", encoding: str = "utf-8-sig", end: str = "\r\n") -> None:
    """Rewrite each cell of a CSV file but for its header."""
    header, *rows = csv.reader(io.StringIO(path.read_text("utf-8"), newline=""))
    stream = io.StringIO()
    writer = csv.writer(stream, delimiter=delimiter, lineterminator=end)
    writer.writerow(header)
    writer.writerows([cell(name, text) for name, text in zip(header, row, strict=True)] for row in rows)
    path.write_bytes(stream.getvalue().encode(encoding))


def same_tables(found: CheckedTrial, expected: CheckedTrial) -> bool:
    """Tell whether all tables are the same, to the type."""
    return all(getattr(found, name).equals(getattr(expected, name)) for name in TABLES)


def told(problems: tuple[Problem, ...]) -> list[str]:
    """Say problems."""
    return [problem_sentence(problem) for problem in problems]


@pytest.fixture(scope="module")
def example() -> CheckedTrial:
    """The bundled trial as it is."""
    trial = check_trial(EXAMPLE).trial
    assert trial is not None
    return trial


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of it, without results."""
    return Path(shutil.copytree(EXAMPLE, tmp_path / "trial"))


@pytest.mark.parametrize(
    ("cell", "delimiter", "says"),
    [
        (US, ",", "Dates are written 9/29/2026 for 2026-09-29"),
        (day_as("{m:02}/{d:02}/{yy:02}"), ",", "Dates are written 09/29/26 for 2026-09-29"),
        (day_as("{d:02}/{m:02}/{yy:02}"), "\t", "written 29/09/26 for 2026-09-29. Its columns are separated by tabs"),
        (day_as("{y}/{m}/{d}"), ",", "Dates are written 2026/9/29 for 2026-09-29"),
        (day_as("{y}-{m:02}-{d:02} 00:00:00"), ",", "Dates are written 2026-09-29 00:00:00 for 2026-09-29"),
        (german, ";", "Dates are written 29.09.2026 for 2026-09-29"),
    ],
)
def test_what_can_be_read_in_one_way_is_read_so(
    folder: Path, example: CheckedTrial, cell: Cell, delimiter: str, says: str
) -> None:
    """Every table is what it was, one line for each file says so, and no file is touched."""
    for name in TABLES:
        save_again(folder / f"{name}.csv", cell, delimiter=delimiter)
    before = contents(folder)
    result = check_trial(folder)
    assert result.trial is not None, told(result.errors)
    assert same_tables(result.trial, example)
    plain = [problem for problem in result.warnings if problem.rule != "TK-F11"]
    assert told(tuple(plain)) == told(check_trial(EXAMPLE).warnings)
    lines = [problem for problem in result.warnings if problem.rule == "TK-F11"]
    files = [problem.file for problem in lines]
    assert len(files) == len(set(files))
    assert {"heads.csv", "solution.csv", "visits.csv"} <= set(files)
    (sentence,) = (problem_sentence(problem) for problem in lines if problem.file == "heads.csv")
    assert says in sentence
    assert "trialkit correct DIR" in sentence
    assert contents(folder) == before


def test_decimal_commas_are_read_where_all_numbers_agree(folder: Path, example: CheckedTrial) -> None:
    """With semicolons between columns, or with commas and quotation marks."""
    for delimiter in ";,":
        shutil.copy(EXAMPLE / "solution.csv", folder)
        save_again(folder / "solution.csv", german, delimiter=delimiter)
        result = check_trial(folder)
        assert result.trial is not None
        assert same_tables(result.trial, example)
        (sentence,) = (text for text in told(result.warnings) if "TK-F11" in text)
        assert re.search(r"Decimals are written (\d+),(\d+) for \1\.\2", sentence)


def test_days_that_can_be_read_in_two_ways_are_one_error(tmp_path: Path) -> None:
    """Instead of one for each cell; the file is not read at all."""
    good = good_return().with_column("heads", "transplanted_on", lambda _: "2026-08-04")
    good = good.with_column("heads", "harvested_on", lambda _: "2026-09-08")
    good = good.with_column("heads", "last_not_ready_on", lambda _: "2026-09-05")
    folder = good.write_trial(tmp_path / "trial")
    (folder / "heads.csv").write_text(good.csv(), "utf-8")
    save_again(folder / "heads.csv", US)
    (error,) = (problem for problem in check_trial(folder).errors if problem.file == "heads.csv")
    assert problem_sentence(error) == (
        "heads.csv, row 2, column transplanted_on: found a table that a spreadsheet program saved in its own "
        'way. "8/4/2026" may be 2026-04-08 or 2026-08-04, and nothing in the table says which. Expected dates '
        "that can be read in one way. Put the file back from a copy, then correct single values: trialkit "
        "correct DIR BUCKET HEAD COLUMN=VALUE --why TEXT. Or show dates as year-month-day and names as text in "
        'the spreadsheet program, and save it as "CSV UTF-8". [TK-F12]'
    )


def test_the_journal_settles_the_order(tmp_path: Path) -> None:
    """Days of solutions are keys that the journal remembers; of heads, what was corrected."""
    good = good_return().with_column("solution", "measured_on", lambda _: "2026-09-03")
    for column, day in (
        ("transplanted_on", "2026-09-04"),
        ("harvested_on", "2026-10-08"),
        ("last_not_ready_on", "2026-10-05"),
    ):
        good = good.with_column("heads", column, lambda _, day=day: day)  # type: ignore[misc]
    folder = good.write_trial(tmp_path / "trial")
    (tmp_path / "fern.json").write_bytes(good.phone())
    assert merge_files(folder, [tmp_path / "fern.json"]).ok
    before = check_trial(folder)
    head = good.tables["heads"][0]
    for name in ("solution", "heads"):
        save_again(folder / f"{name}.csv", US)
    assert {problem.file for problem in check_trial(folder).errors if problem.rule == "TK-F12"} == {"heads.csv"}
    (folder / "heads.csv").write_text(good.csv(), "utf-8")
    wanted = Wanted(head["bucket"], head["head"], None, {"harvested_on": "2026-10-07"})
    assert correct(folder, wanted, Reason("slip", "adviser", date(2026, 10, 1))).ok
    save_again(folder / "heads.csv", US)
    after = check_trial(folder)
    assert not [problem for problem in after.errors if problem.rule == "TK-F12"]
    assert {problem.file for problem in after.warnings if problem.rule == "TK-F11"} == {"heads.csv", "solution.csv"}
    assert told(after.errors) == told(before.errors)


def test_both_orders_in_one_file_are_no_order(folder: Path) -> None:
    """What was exchanged in part can no longer be told."""
    lines = (folder / "heads.csv").read_text("utf-8").splitlines()
    save_again(folder / "heads.csv", US)
    text = (folder / "heads.csv").read_text("utf-8-sig")
    assert len(lines) > 100
    day = next(part for part in re.findall(r"\d+/\d+/2026", text) if int(part.split("/")[1]) > 12)
    month, number, year = day.split("/")
    (folder / "heads.csv").write_text(text.replace(day, f"{number}/{month}/{year}", 1), "utf-8")
    (error,) = check_trial(folder).errors
    assert error.rule == "TK-F12"
    assert "cannot have the same order" in problem_sentence(error)


@pytest.mark.parametrize(
    ("column", "text", "says"),
    [
        ("transplanted_on", "46254", '"46254" is a day count'),
        ("weight_g", "7. Apr", 'took numbers for dates, such as "7. Apr"'),
        ("bucket", "1.00E+05", 'took names for numbers, such as "1.00E+05". Expected'),
    ],
)
def test_what_a_program_spoiled_is_one_error(folder: Path, column: str, text: str, says: str) -> None:
    """Day counts, numbers made dates, names made numbers that no bucket has."""
    save_again(folder / "heads.csv", lambda name, before: text if name == column and before else before)
    (error,) = check_trial(folder).errors
    assert (error.rule, error.row, error.column) == ("TK-F12", 2, column)
    assert says in problem_sentence(error)


def as_numbers(column: str, text: str) -> str:
    """Write buckets that look like numbers as a program shows them."""
    return {"007": "7", "1E5": "1.00E+05"}.get(text, text) if column == "bucket" else text


@pytest.mark.parametrize("shown", ["1.00E+05", "100000", "1E+05"])
def test_buckets_made_numbers_are_read_where_one_is_left(tmp_path: Path, shown: str) -> None:
    """Leading zeros and powers of ten come back from the layout."""
    good = good_return(odd=True)
    folder = good.write_trial(tmp_path / "trial")
    (folder / "heads.csv").write_text(good.csv(), "utf-8")
    expected = check_trial(folder)
    save_again(folder / "heads.csv", lambda name, text: as_numbers(name, text).replace("1.00E+05", shown))
    result = check_trial(folder)
    lines = [problem for problem in result.problems if problem.rule == "TK-F11"]
    assert "Names are taken for numbers, 7 for 007" in problem_sentence(lines[0])
    assert told(tuple(problem for problem in result.problems if problem not in lines)) == told(expected.problems)


def test_a_number_of_two_buckets_is_asked_about(tmp_path: Path) -> None:
    """7 may be 007 or 07: nothing is guessed."""
    good = good_return(odd=True)
    folder = good.write_trial(tmp_path / "trial")
    (folder / "heads.csv").write_text(good.csv(), "utf-8")
    other = next(row["bucket"] for row in good.tables["heads"] if row["bucket"] not in ("007", "1E5", "B02", "MAR1"))
    for name in ("layout.csv", "heads.csv"):
        text = (folder / name).read_text("utf-8")
        (folder / name).write_text(re.sub(rf"(?m)^{other},", "07,", text), "utf-8")
    save_again(folder / "heads.csv", as_numbers)
    (error,) = (problem for problem in check_trial(folder).errors if problem.file == "heads.csv")
    assert 'such as "7", which may be 007 or 07' in problem_sentence(error)


def test_a_correction_and_a_merge_write_the_table_as_it_was(tmp_path: Path) -> None:
    """Nothing but the corrected cell has changed then, whatever the program did to the rest."""
    good = good_return()
    folder = good.write_trial(tmp_path / "trial")
    (tmp_path / "fern.json").write_bytes(good.phone())
    assert merge_files(folder, [tmp_path / "fern.json"]).ok
    plain = Path(shutil.copytree(folder, tmp_path / "plain"))
    for name in ("heads", "solution", "visits"):
        save_again(folder / f"{name}.csv", german, delimiter=";")
    head = good.tables["heads"][0]
    for each in (folder, plain):
        wanted = Wanted(head["bucket"], head["head"], None, {"weight_g": "142"})
        assert correct(each, wanted, Reason("read 241", "adviser", date(2026, 10, 1))).ok
    assert (folder / "heads.csv").read_bytes() == (plain / "heads.csv").read_bytes()
    merge_files(folder)
    assert contents(folder) == contents(plain)


def test_one_cell_typed_by_hand_is_told_of_by_itself(folder: Path) -> None:
    """A column only part of which is in another form was saved so by nobody's program."""
    lines = (folder / "heads.csv").read_text("utf-8").splitlines(keepends=True)
    lines[5] = re.sub(r"(\d{4})-(\d\d)-(\d\d)", r"\3/\2/\1", lines[5], count=1)
    (folder / "heads.csv").write_text("".join(lines), "utf-8")
    (error,) = check_trial(folder).errors
    assert (error.rule, error.row) == ("TK-V07", 6)


def test_hostile_cells_are_passed_on(folder: Path) -> None:
    """Figures of other scripts, huge exponents and formulas neither crash nor are guessed at."""
    heads = pd.read_csv(folder / "heads.csv", dtype=str, keep_default_na=False)
    for text in ("١٢/٠٥/٢٠٢٧", "9" * 400, "1E+99", "1e999", "=1+1", "99/99/9999", "1/1/0000", "nan", "5/20/2027\x00"):
        for column in ("bucket", "transplanted_on", "weight_g"):
            heads.assign(**{column: text}).to_csv(folder / "heads.csv", index=False)
            assert check_trial(folder).errors, (text, column)
