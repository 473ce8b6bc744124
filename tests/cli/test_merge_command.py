"""`trialkit merge` as a user runs it."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from answers import told
from commands import DATA_ERROR, DONE, WRONG_CALL, run, start
from contents import contents
from returned_files import Good, good_return
from trialkit._resources import resource_folder


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
    assert "Next: the same command again, with your answers: --dates day-first or --dates month-first" in result.stdout
    assert not (folder / "heads.csv").exists() or len((folder / "heads.csv").read_text().splitlines()) <= 1
    answered = run("merge", folder, path, "--dates", "day-first")
    assert answered.returncode == DONE, answered.stdout
    assert "2026-09-0" in (folder / "heads.csv").read_text("utf-8")


def test_a_phone_file_is_put_right_in_the_phone_form(folder: Path, good: Good, tmp_path: Path) -> None:
    """It opens its own file; of another kind of file, or one that it would not open, nothing of it is said."""
    heavy = good.with_cell("heads", 0, "weight_g", "99999")
    way = "Open a phone form's file in the garden's phone form, put it right there, and save it anew. Then give"
    for data, is_said in ((heavy.phone(), True), (heavy.csv().encode(), False), (good.phone(check="0"), False)):
        path = tmp_path / "fern.txt"
        path.write_bytes(data)
        result = run("merge", folder, path)
        assert result.returncode == DATA_ERROR
        assert "Next: fix what was refused, in a copy or with whoever sent it." in result.stdout
        assert (way in result.stdout) == is_said


@pytest.mark.parametrize("kind", ["csv", "workbook", "phone"])
def test_standard_input_is_merged_as_a_file(folder: Path, good: Good, kind: str) -> None:
    """Whatever it is by its bytes; it is told, and kept, under a name of its own, and without a note on an ending."""
    data: bytes = {"csv": good.csv().encode(), "workbook": good.workbook(), "phone": good.phone()}[kind]
    document = told("merge", folder, "-", piped=data)
    (outcome,) = document["answer"]["files"]
    assert (outcome["name"], outcome["merged"], outcome["findings"]) == ("standard input", True, [])
    assert outcome["tables"]["heads"]["new"] == 16
    assert (folder / outcome["kept_as"]).read_bytes() == data
    assert {outcome["kept_as"], "heads.csv", "returned/returns.json"} <= set(document["written"])
    assert "standard input (merged before)" in run("merge", folder, "-", piped=data).stdout


def test_questions_about_standard_input(folder: Path, good: Good, tmp_path: Path) -> None:
    """Nobody is asked while it is read: the options are named, and the same input with one of them is merged."""
    data = good.with_column("heads", "harvested_on", lambda _: "04/09/26")
    data = data.with_column("heads", "last_not_ready_on", lambda _: "")
    asked = run("merge", folder, "-", piped=data.csv().encode())
    assert asked.returncode == DATA_ERROR
    assert "question: standard input, " in asked.stdout
    assert "with your answers: --dates day-first or --dates month-first" in asked.stdout
    (tmp_path / "answers.toml").write_text('dates = "day-first"\n', "utf-8")
    answers = ("--answers", tmp_path / "answers.toml")
    assert run("merge", folder, "-", *answers, piped=data.csv().encode()).returncode == DONE


def test_what_standard_input_may_not_be(folder: Path, good: Good, tmp_path: Path) -> None:
    """Twice, empty, or larger than any return: of that no more is read than shows it."""
    twice = run("merge", folder, "-", "-", piped=good.csv().encode())
    assert (twice.returncode, "standard input can be read once only" in twice.stderr) == (WRONG_CALL, True)
    assert "standard input" in run("merge", folder, "-").stdout
    with Path("/dev/zero").open("rb") as zeros:
        endless = subprocess.run(
            [sys.executable, "-m", "trialkit", "merge", str(folder), "-"],
            stdin=zeros, capture_output=True, text=True, check=False,
        )  # fmt: skip
    assert endless.returncode == DATA_ERROR
    assert "[TK-R07]" in endless.stdout
    assert "at most 10 MB" in endless.stdout
    (tmp_path / "-").write_text(good.csv(), "utf-8")
    assert run("merge", folder, tmp_path / "-").returncode == DONE  # a file may be called so


def test_a_pipe_into_a_merge(folder: Path, good: Good) -> None:
    """Between two processes."""
    done = subprocess.run(
        [sys.executable, "-m", "trialkit", "merge", str(folder), "-"],
        input=good.csv().encode(), capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == DONE, done.stderr
    assert b"standard input, heads: 16 new." in done.stdout


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
    document = json.loads(run("merge", folder, "--json").stdout)["answer"]
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


def test_headings_are_answered_by_options_or_a_file(folder: Path, good: Good, tmp_path: Path) -> None:
    """All in one command; an option goes before the file; the next file of the same headings needs neither."""
    path = tmp_path / "own.csv"
    own = good.csv().replace("weight_g", "Scale = g", 1).replace("bucket,", "Tag,", 1).replace(",note", ",Remarks", 1)
    path.write_text(own, "utf-8")
    asked = run("merge", folder, path)
    assert asked.returncode == DATA_ERROR
    assert '--accept TK-R22 or --heading "Scale = g=COLUMN"' in asked.stdout
    (tmp_path / "answers.toml").write_text('[headings]\nTag = "bucket"\n"Scale = g" = "note"\nRemarks = ""\n', "utf-8")
    answers = ["--answers", tmp_path / "answers.toml", "--heading", "Scale = g=weight_g"]
    told = run("merge", folder, path, *answers)
    assert told.returncode == DONE, told.stdout
    assert "heads: 16 new" in told.stdout
    again = run("merge", folder, path, "--json")
    assert json.loads(again.stdout)["answer"]["files"][0]["tables"]["heads"]["same"] == 16


def test_what_a_file_says_otherwise_is_taken_with_a_reason(folder: Path, good: Good, tmp_path: Path) -> None:
    """The reason is told and kept; without a file, or with two, the call is wrong."""
    (tmp_path / "first.csv").write_text(good.csv(), "utf-8")
    (tmp_path / "second.csv").write_text(good.with_cell("heads", 0, "weight_g", "99").csv(), "utf-8")
    run("merge", folder, tmp_path / "first.csv")
    result = run("merge", folder, tmp_path / "second.csv", "--why", "scale read in the dark", "--by", "volunteer")
    assert result.returncode == DONE, result.stdout
    assert 'is now "99". Why: scale read in the dark' in result.stdout
    assert "heads: 15 the same as before, 1 corrected." in result.stdout
    (kept,) = json.loads((folder / "returned" / "corrections.json").read_text("utf-8"))["corrections"]
    assert (kept["after"], kept["by"]) == ("99", "volunteer")
    assert run("merge", folder, "--why", "so").returncode == WRONG_CALL


def test_a_table_saved_by_a_spreadsheet_is_one_line(tmp_path: Path) -> None:
    """A weight corrected in a program of US settings: no hundreds of errors, and the analysis goes on."""
    folder = Path(shutil.copytree(resource_folder("example_trials") / "autumn_dose", tmp_path / "trial"))
    text = (folder / "heads.csv").read_text("utf-8")
    days = re.sub(r"(20\d\d)-(\d\d)-(\d\d)", lambda day: f"{int(day[2])}/{int(day[3])}/{day[1]}", text)
    (folder / "heads.csv").write_bytes(days.replace("\n", "\r\n").encode("utf-8-sig"))
    before = contents(folder)
    result = start("check", folder)
    assert result.returncode == DONE, result.stderr
    told = (result.stdout + result.stderr).splitlines()
    (line,) = (line for line in told if "heads.csv" in line)
    assert "Dates are written 9/29/2026 for 2026-09-29" in line
    assert "TK-F11" in line
    assert contents(folder) == before


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--heading", "Tag"], "the heading, then =COLUMN"),
        (["--heading", "Tag=buckte"], "Did you mean bucket?"),
        (["--heading", "Tag=head", "--heading", "Tag=bucket"], "is given as head and as bucket: give it once"),
        (["--answers", "nowhere.toml"], "nowhere.toml"),
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


def test_a_file_is_taken_back(folder: Path, good: Good, tmp_path: Path) -> None:
    """In words and as JSON: what went, what stays, and what is closed; an open conflict waits as ever."""
    for name, other in (
        ("fern.csv", good),
        ("two.csv", good.with_cell("heads", 0, "weight_g", "150").with_cell("heads", 5, "note", "bolting")),
        ("three.csv", good.with_cell("heads", 1, "weight_g", "151")),
    ):
        (tmp_path / name).write_text(other.csv(), "utf-8")
        run("merge", folder, tmp_path / name)
    refused = run("merge", folder, tmp_path / "two.csv", "--take-back", "two.csv", "--why", "x")
    assert (refused.returncode, "--take-back goes with --why and --by alone" in refused.stderr) == (WRONG_CALL, True)
    refused = run("merge", folder, "--take-back", "two.csv")
    assert (refused.returncode, "A reason is needed" in refused.stderr) == (WRONG_CALL, True)
    result = run("merge", folder, "--take-back", "two.csv", "--why", "of last season")
    assert result.returncode == DATA_ERROR
    assert "Took back two.csv: 1 cell is empty again." in result.stdout
    bucket = good.tables["heads"][0]["bucket"]
    assert re.search(rf"That closes \w+, on heads\.csv, {bucket} 1, weight_g\.", result.stdout)
    assert "There are conflicts" in result.stdout
    assert f"Next: trialkit check {folder}" in result.stdout
    document = told("merge", folder, "--take-back", "three.csv", "--why", "it too")
    answer = document["answer"]
    assert (answer["ok"], answer["taken_back"]["why"], answer["conflicts"]) == (True, "it too", [])
    assert [one["choice"] for one in answer["closed"]] == ["taken back"]
    assert document["written"] == answer["changed"] == ["returned/conflicts.json", "returned/returns.json"]
