"""`trialkit correct` as a user runs it."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from commands import DATA_ERROR, DONE, WRONG_CALL, run, start
from contents import contents
from returned_files import good_return

GOOD = good_return()
HEAD = next(row for row in GOOD.tables["heads"] if row.get("outcome") == "harvested")
BUCKET, NUMBER, WEIGHT = HEAD["bucket"], HEAD["head"], HEAD["weight_g"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A trial into which one garden's return was merged."""
    folder = GOOD.write_trial(tmp_path / "trial")
    for name in ("heads", "solution"):
        (tmp_path / f"{name}.csv").write_text(GOOD.csv(name), encoding="utf-8")  # type: ignore[arg-type]
        assert run("merge", folder, tmp_path / f"{name}.csv").returncode == DONE
    return folder


def test_a_weight(folder: Path) -> None:
    """In a process of its own: what was, what is and why are told; check goes on to read the table."""
    result = start("correct", folder, BUCKET.lower(), NUMBER, "weight_g=142 g", "--why", "read 241")
    assert result.returncode == DONE, result.stderr
    assert f'Corrected heads.csv, {BUCKET} {NUMBER}, weight_g: "{WEIGHT}" is now "142". Why: read 241' in result.stdout
    assert "Next: trialkit check" in result.stdout
    assert ",142," in (folder / "heads.csv").read_text("utf-8")


def test_as_json(folder: Path) -> None:
    """The correction with the day on which it was made; refused values with their findings."""
    document = json.loads(run("correct", folder, BUCKET, NUMBER, "weight_g=142", "--why", "so", "--json").stdout)[
        "answer"
    ]
    (made,) = document["corrections"]
    assert made["key"] == [BUCKET, NUMBER]
    assert (made["before"], made["after"], made["by"], made["why"]) == (WEIGHT, "142", "adviser", "so")
    date.fromisoformat(made["on"])
    refused = run("correct", folder, BUCKET, NUMBER, "weight_g=lots", "--why", "so", "--json")
    assert refused.returncode == DATA_ERROR
    assert json.loads(refused.stdout)["answer"]["findings"][0]["column"] == "weight_g"


def test_the_solution_of_a_bucket(folder: Path) -> None:
    """Without a head it is the bucket's solution; with --on that of a day."""
    row = GOOD.tables["solution"][0]
    result = run("correct", folder, row["bucket"], "ph_after=5,9", "--why", "strip read again")
    assert result.returncode == DONE, result.stderr
    assert 'is now "5.9"' in result.stdout
    on = run("correct", folder, row["bucket"], "ph_after=5.8", "--on", row["measured_on"], "--why", "and again")
    assert on.returncode == DONE, on.stderr
    other = run("correct", folder, row["bucket"], "ph_after=5.8", "--on", "2026-01-02", "--why", "and again")
    assert other.returncode == WRONG_CALL
    assert row["measured_on"] in other.stderr


def test_a_reason_that_would_steer_a_terminal(folder: Path) -> None:
    """What a stranger wrote is shown, never obeyed."""
    result = run("correct", folder, BUCKET, NUMBER, "weight_g=142", "--why", "\x1b[31mred\nline")
    assert result.returncode == DONE
    assert "\x1b" not in result.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((BUCKET, NUMBER, "--why", "so"), "Say what to correct"),
        ((BUCKET, NUMBER, "weight_g=1", "142", "--why", "so"), "is not COLUMN=VALUE: write a column and its value"),
        ((BUCKET, NUMBER, "weight_g=1", "weight_g=2", "--why", "so"), "given twice"),
        ((BUCKET, NUMBER, "weight_g=1"), "--why"),
        ((BUCKET, NUMBER, "weight=1", "--why", "so"), "Did you mean weight_g?"),
        ((BUCKET, NUMBER, "note=x", "--on", "2026-08-20", "--why", "so"), "--on is a day of solution.csv"),
    ],
)
def test_a_wrong_call_changes_nothing(folder: Path, words: tuple[str, ...], said: str) -> None:
    """What is missing or unknown is named."""
    before = contents(folder)
    result = run("correct", folder, *words)
    assert result.returncode == WRONG_CALL
    assert said in result.stderr
    assert contents(folder) == before


def test_an_unknown_bucket_names_the_nearest(folder: Path) -> None:
    """Nothing is guessed."""
    last = "4" if BUCKET[-1] != "4" else "3"
    result = run("correct", folder, BUCKET[:-1] + last, NUMBER, "weight_g=142", "--why", "so")
    assert result.returncode == DATA_ERROR
    assert BUCKET in result.stdout
    assert "Nothing was corrected." in result.stdout
