"""`trialkit merge` as a user runs it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from commands import DATA_ERROR, DONE, WRONG_CALL, run
from contents import contents
from returned_files import Good, good_return


@pytest.fixture
def good() -> Good:
    """A garden's return."""
    return good_return()


@pytest.fixture
def folder(good: Good, tmp_path: Path) -> Path:
    """A trial before its records."""
    return good.write_trial(tmp_path / "trial")


def test_a_workbook_then_the_same_again(folder: Path, good: Good, tmp_path: Path) -> None:
    """New rows are counted; the same file twice changes no byte, and says that it was merged before."""
    path = tmp_path / "fern.xlsx"
    data = good.workbook()
    path.write_bytes(data)
    result = run("merge", folder, path)
    assert result.returncode == DONE, result.stderr
    assert "fern.xlsx, heads: 16 new." in result.stdout
    assert "Next: trialkit check" in result.stdout
    before = contents(folder)
    again = run("merge", folder, path)
    assert again.returncode == DONE
    assert "(merged before), heads: 16 the same as before." in again.stdout
    assert contents(folder) == before
    assert path.read_bytes() == data


def test_a_question_waits_for_an_answer(folder: Path, good: Good, tmp_path: Path) -> None:
    """Days that may be months: nothing is merged, the option is named; with it all is, and a note says so."""
    days = {"2026-09-28": "05/09/26"}
    spoilt = good.with_column("heads", "harvested_on", lambda day: days.get(day, "04/09/26"))
    path = tmp_path / "fern.csv"
    path.write_text(spoilt.with_column("heads", "last_not_ready_on", lambda _: "").csv(), "utf-8")
    result = run("merge", folder, path)
    assert result.returncode == DATA_ERROR
    assert "question:" in result.stdout
    assert "Next: the same command, with your answers: --dates day-first or --dates month-first" in result.stdout
    assert not (folder / "heads.csv").exists() or len((folder / "heads.csv").read_text().splitlines()) <= 1
    answered = run("merge", folder, path, "--dates", "day-first")
    assert answered.returncode == DONE, answered.stdout
    assert "2026-09-0" in (folder / "heads.csv").read_text("utf-8")


def test_a_conflict_is_listed_and_chosen(folder: Path, good: Good, tmp_path: Path) -> None:
    """Both values with who returned them; nothing is overwritten until one is chosen, and then it stays chosen."""
    (tmp_path / "first.csv").write_text(good.csv(), "utf-8")
    (tmp_path / "second.csv").write_text(good.with_cell("heads", 0, "weight_g", "99").csv(), "utf-8")
    kept = good.tables["heads"][0]["weight_g"]
    assert run("merge", folder, tmp_path / "first.csv").returncode == DONE
    assert "TK-R51" not in run("check", folder).stdout
    result = run("merge", folder, tmp_path / "second.csv")
    assert result.returncode == DATA_ERROR
    assert f'kept      "{kept}"  from first.csv' in result.stdout
    assert 'returned  "99"  from second.csv' in result.stdout
    document = json.loads(run("merge", folder, "--json").stdout)
    (conflict,) = document["conflicts"]
    assert f",{kept}," in (folder / "heads.csv").read_text("utf-8")
    told = run("check", folder)
    assert told.returncode == DATA_ERROR
    assert f'found "{kept}" and "99" for' in told.stdout
    assert f"--choose {conflict['id']}=kept" in told.stdout
    chosen = run("merge", folder, "--choose", f"{conflict['id']}=returned")
    assert chosen.returncode == DONE, chosen.stdout
    assert ",99," in (folder / "heads.csv").read_text("utf-8")
    assert run("merge", folder, tmp_path / "first.csv").returncode == DONE
    assert "TK-R51" not in run("check", folder).stdout


def test_one_bad_file_does_not_hold_up_the_others(folder: Path, good: Good, tmp_path: Path) -> None:
    """Everything wrong with every file is told at once; what can be merged is."""
    (tmp_path / "good.csv").write_text(good.csv(), "utf-8")
    (tmp_path / "bad.csv").write_text(good.with_cell("heads", 2, "weight_g", "~150").csv(), "utf-8")
    (tmp_path / "worse.xlsx").write_bytes(good.workbook()[:900])
    result = run("merge", folder, tmp_path / "bad.csv", tmp_path / "worse.xlsx", tmp_path / "good.csv")
    assert result.returncode == DATA_ERROR
    assert "1 of 3 files merged" in result.stdout
    assert '"~150"' in result.stdout
    assert "worse.xlsx: nothing of it was merged" in result.stdout
    assert "Traceback" not in result.stderr + result.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--accept", "TK-R99"], "there is no such rule"),
        (["--choose", "abc"], "=kept or =returned"),
        (["nowhere.csv"], "nowhere.csv"),
    ],
)
def test_wrong_calls(folder: Path, arguments: list[str], words: str) -> None:
    """Exit status 2 with what would be right."""
    result = run("merge", folder, *arguments)
    assert result.returncode == WRONG_CALL
    assert words in result.stderr
