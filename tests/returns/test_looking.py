"""A look at merges and corrections changes nothing; what is shown of a sheet; what gardens have not told."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest

import trialkit
from contents import contents
from returned_files import Good, good_return
from trialkit.documents.returns import Answers
from trialkit.domain.errors import WrongCall
from trialkit.returns.answering import Given
from trialkit.returns.correcting import Wanted, correct, look_at_correction
from trialkit.returns.excerpts import ReadFile, read_file
from trialkit.returns.journal import Reason
from trialkit.returns.merge_files import Turn, look_at_files, merge_files
from trialkit.steps.record_steps import missing_of_gardens
from trialkit.words.missing_words import AskedLine, garden_message


@pytest.fixture
def good() -> Good:
    """What a garden returns."""
    return good_return()


@pytest.fixture
def folder(tmp_path: Path, good: Good) -> Path:
    """A trial that is laid out."""
    return good.write_trial(tmp_path / "trial")


def test_a_look_tells_what_the_merges_then_do(folder: Path, good: Good, tmp_path: Path) -> None:
    """Turn by turn, the later ones on what the earlier ones would leave; the folder stays as it is."""
    first, second = tmp_path / "first.csv", tmp_path / "second.csv"
    first.write_text(good.csv(), "utf-8")
    second.write_text(good.with_cell("heads", 2, "weight_g", "1,152").csv(), "utf-8")
    answers = Given(Answers(decimals="point"))
    turns = [Turn((first,)), Turn((second,)), Turn((second,), answers)]
    before = contents(folder)
    looked = look_at_files(folder, turns)
    assert contents(folder) == before
    (conflict,) = looked[-1].conflicts
    assert (conflict.returned, conflict.kept_by) == ("1152", "first.csv")
    choice = Turn((), Given(choices={conflict.id: "returned"}))
    *_, chosen = look_at_files(folder, [*turns, choice])
    assert contents(folder) == before
    made = [merge_files(folder, one.files, one.given) for one in (*turns, choice)]
    assert made == [*looked, chosen]
    trial = trialkit.Trial(folder)
    assert trial.look(([first], {}), ([], {"choose": {conflict.id: "kept"}}))[0].files[0].merged_before


def test_a_look_refuses_what_a_merge_refuses(folder: Path) -> None:
    """A reason is given with one file."""
    with pytest.raises(WrongCall, match="one file at a time"):
        trialkit.Trial(folder).look(([], {"why": "read again"}))


def test_a_look_at_a_correction(folder: Path, good: Good, tmp_path: Path) -> None:
    """It tells what would be refused, and nothing of what would be taken."""
    path = tmp_path / "heads.csv"
    path.write_text(good.csv(), "utf-8")
    merge_files(folder, [path])
    before = contents(folder)
    for values in ({"weight_g": "heavy"}, {"harvested_on": "2026-08-01"}, {"outcome": "dead"}, {"weight_g": "142"}):
        wanted = Wanted(good.buckets[0], "1", None, values)
        found = look_at_correction(folder, wanted)
        assert contents(folder) == before
        shutil.copytree(folder, tmp_path / "copy")
        assert correct(tmp_path / "copy", wanted, Reason("read again", "adviser", date(2026, 11, 1))).findings == found
        shutil.rmtree(tmp_path / "copy")


def read(tmp_path: Path, data: str | bytes, name: str = "heads.csv") -> ReadFile:
    """Read a file to show of it."""
    path = tmp_path / name
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    found = read_file(path, {})
    assert found is not None
    return found


def test_the_cells_around_a_question_are_the_sheet_s_own(folder: Path, good: Good, tmp_path: Path) -> None:
    """Headings, the row and its neighbours; the cell itself is pointed at, wherever its column stands."""
    sheet = good.with_cell("heads", 2, "weight_g", "1,152").csv()
    found = read(tmp_path, sheet)
    (outcome,) = look_at_files(folder, [Turn((tmp_path / "heads.csv",))])[0].files
    (asked,) = outcome.findings
    excerpt = found.excerpt(asked)
    assert excerpt is not None
    assert [number for number, _ in excerpt.rows] == [3, 4, 5]
    assert (excerpt.row, excerpt.headings[excerpt.place or 0]) == (4, "weight_g")
    assert excerpt.rows[1][1][excerpt.place or 0] == "1,152"
    assert excerpt.headings[0] == "bucket"
    assert [(one.table, one.records) for one in found.sheets] == [("heads", 16)]


def test_a_whole_column_is_shown_by_its_first_rows(folder: Path, good: Good, tmp_path: Path) -> None:
    """In a workbook, too, whose sheets are named."""

    def change(book: object) -> None:
        book["heads"]["G1"] = "How heavy?"  # type: ignore[index]

    found = read(tmp_path, good.workbook(change), "fern.xlsx")
    (outcome,) = look_at_files(folder, [Turn((tmp_path / "fern.xlsx",))])[0].files
    (asked,) = [one for one in outcome.findings if one.verdict == "question"]
    excerpt = found.excerpt(asked)
    assert excerpt is not None
    assert excerpt.row is None
    assert excerpt.headings[excerpt.place or 0] == "How heavy?"
    assert [cells[excerpt.place or 0] for _, cells in excerpt.rows] == ["143.2", "146.3", "149.4"]


def test_nothing_is_shown_of_what_cannot_be_read(tmp_path: Path) -> None:
    """A photograph has no cells."""
    (tmp_path / "a.csv").write_bytes(b"\xff\xd8\xff\xe0")
    assert read_file(tmp_path / "a.csv", {}) is None


def test_what_gardens_have_not_told(folder: Path, good: Good, tmp_path: Path) -> None:
    """Heads by bucket, solutions, days of harvest without a visit; of a garden that gave up, nothing."""
    assert all(one.nothing_yet for one in missing_of_gardens(folder).values())
    path = tmp_path / "heads.csv"
    path.write_text(
        good.changed("heads", lambda i, row: row if i != 3 else {"bucket": row["bucket"], "head": row["head"]}).csv(),
        "utf-8",
    )
    visits = tmp_path / "visits.csv"
    visits.write_text("site,visited_on\nFERN,2026-09-22\n", "utf-8")
    merge_files(folder, [path, visits])
    found = missing_of_gardens(folder)
    fern = found["FERN"]
    assert fern.heads == {good.buckets[1]: (2,)}
    assert fern.solution == tuple(good.buckets)
    assert "2026-09-22" not in fern.visits
    assert "2026-09-23" in fern.visits
    assert not fern.nothing_yet
    trialkit.Trial(folder).withdraw_site("MILL", why="moved away")
    mill = missing_of_gardens(folder)["MILL"]
    assert (mill.withdrew, mill.is_whole) == (True, True)


def test_a_message_asks_no_more_than_anybody_answers() -> None:
    """A dozen questions, then how many more; of a garden that told all, nothing is asked."""
    asked = [AskedLine(f"Bucket {number}", "What does the label say?", "“X”") for number in range(20)]
    told = garden_message("Doses", [], asked, nothing_yet=False, until=None, contact="the desk")
    assert told.count("- Bucket") == 12
    assert "- 8 more" in told
    assert "Send it to: the desk" in told
    assert "nothing to do" in garden_message("Doses", [], [], nothing_yet=False, until=None, contact="")
