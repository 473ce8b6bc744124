"""Seasons that went badly, through the commands: every one gets an answer or a named refusal, and nothing is damaged.

Some are drawn anew, the others are those in which something was wrong once. Many more: tests/benchmarks/bad_seasons.py.
"""

import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

import trialkit.analysis
from bad_seasons import FATES, HARMS, TRIALS, Season, lost_levels, not_numbers, seasons, told
from commands import DONE, NOT_COMPUTED, run
from once import once
from trialkit.analysis import analyse
from trialkit.documents.results import Results
from trialkit.rules.trial_folder import CheckedTrial

Whole = Callable[[str], Path]
WERE_WRONG = (
    Season("two factors", ("all lost but one head", "a cell lost"), 1048936728),  # nothing to compare with
    Season("priced", ("all lost but three heads",), 1408593841, withdrawn=True),  # weights that hardly vary
    Season("acids", ("nothing marketable", "equal days"), 344612762),  # an acid lost, unsaid
    Season("two treatments", ("all marketable or not",), 1),  # nothing to draw
    Season("two treatments", ("one head", "a level lost"), 1),  # the practice lost
)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Whole:
    """Make each trial once, whole."""
    return cache(lambda name: once(tmp_path_factory, f"whole-{name}", TRIALS[name]))


@pytest.mark.parametrize("season", WERE_WRONG, ids=lambda season: f"{season.trial}, {season.harms[0]}")
def test_a_season_gets_an_answer_or_a_named_refusal(season: Season, whole: Whole, tmp_path: Path) -> None:
    """Check, analysis, report, package and ledger: no traceback, no warning, no number that is none, nothing unsaid."""
    season.write(tmp_path / "trial", whole)
    assert told(tmp_path / "trial", tmp_path / "ledger", onward=False).wrong == []


def test_the_generator_knows_every_harm_and_fate(whole: Whole, tmp_path: Path) -> None:
    """What is drawn goes through all kinds, is the same for the same seed, and is what it says."""
    drawn = list(seasons(60, 1))
    assert drawn == list(seasons(60, 1)) != list(seasons(60, 2))
    assert {one.trial for one in drawn} == set(TRIALS)
    assert {harm for one in drawn for harm in one.harms} == set(HARMS)
    fates = set()
    for seed in range(40):
        folder = tmp_path / str(seed)
        Season("two treatments", ("a level lost",), seed).write(folder, whole)
        fates |= {line.split(",")[3] for line in (folder / "heads.csv").read_text("utf-8").splitlines()[1:]}
        assert len(lost_levels(folder)["cultivar"]) <= 1
    assert set(FATES) <= fates


def test_what_stands_where_a_number_should_is_found() -> None:
    """But not inside words, addresses or scripts."""
    assert not_numbers("a gain of nan g, -inf to inf") == ["-inf", "inf", "nan"]
    assert not_numbers("<script>NaN</script> information in inf.csv, Nan") == []


def test_results_that_could_not_be_read_again_are_not_written(
    monkeypatch: pytest.MonkeyPatch, whole: Whole, tmp_path: Path
) -> None:
    """They are refused as a fault of the program, and those of before stay."""
    Season("two treatments", (), 1).write(tmp_path / "trial", whole)
    assert run("analyse", tmp_path / "trial").returncode == DONE
    written = tmp_path / "trial" / "results" / "results.json"
    before = written.read_bytes()

    def broken(trial: CheckedTrial, *, all_pairs: bool = False) -> Results:
        return replace(analyse(trial, all_pairs=all_pairs), confidence=float("nan"))

    monkeypatch.setattr(trialkit.analysis, "analyse", broken)
    done = run("analyse", tmp_path / "trial")
    assert done.returncode == NOT_COMPUTED
    assert "damaged at confidence" in done.stderr
    assert "Please report it" in done.stderr
    assert written.read_bytes() == before


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere a process has no limit of memory")
@pytest.mark.parametrize("kilobytes", [90_000, 200_000])
def test_little_memory_is_said(kilobytes: int, whole: Whole) -> None:
    """Whether it runs out while a library is loaded or later: one sentence, and the status of what is not computed."""
    command = f'ulimit -v {kilobytes}; exec "$0" -m trialkit analyse "$1"'
    done = subprocess.run(
        ["sh", "-c", command, sys.executable, whole("two treatments")], capture_output=True, text=True, check=False
    )
    assert done.returncode == NOT_COMPUTED
    assert done.stderr.startswith("Error: there is not enough memory for this.")
    assert len(done.stderr.splitlines()) == 1
