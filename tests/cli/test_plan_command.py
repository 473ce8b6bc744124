"""`trialkit plan` as a user runs it."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

import pytest

from bad_seasons import not_numbers
from commands import DONE, NOT_COMPUTED, WRONG_CALL, run
from seasons import accept, season
from small_plan import write_plan_folder
from small_trial import small_trial
from trialkit.documents.document import as_text, from_text
from trialkit.documents.plan import Plan
from trialkit.protocol.sections import DecisionRule, Section, Variation
from trialkit.words.plan_words import verdict_words, what_to_do

LABELLED = "product,kind,n_pct,p2o5_pct,k2o_pct,grams_per_tsp,price_per_kg\nBlend L,nutrient,9,12,30,5,12\n"


def spreads(plan: dict[str, Any]) -> dict[str, float]:
    """Assumed standard deviations, g, by what varies."""
    return {row["grouping"]: row["sd_g"] for row in plan["spreads"]}


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess[str]]:
    """A small trial and its plan."""
    folder = tmp_path_factory.mktemp("plan") / "trial"
    write_plan_folder(folder)
    return folder, run("plan", folder, watched=True)


def test_a_plan_in_a_few_sentences(planned: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    """The verdict first, what it is worth, the page's path, in twelve lines at most; progress on standard error."""
    folder, result = planned
    assert result.returncode == DONE, result.stderr
    plan = from_text(Plan, (folder / "results" / "plan.json").read_text("utf-8"))
    assert result.stdout.splitlines()[0] == f"{verdict_words(plan.verdict)}. {what_to_do(plan)}"
    assert f"should gain {plan.value.asked.value_g:.1f} g per transplanted head" in result.stdout
    assert "This rests on common practice without a source." in result.stdout
    assert result.stdout.endswith(f"Plan: {folder / 'results' / 'plan.html'}\nNext: trialkit layout {folder}\n")
    assert len(result.stdout.splitlines()) <= 12
    assert "Working out power" in result.stderr


def test_what_the_trial_takes_is_told_before_all_else(
    planned: tuple[Path, subprocess.CompletedProcess[str]],
) -> None:
    """Buckets, heads and visits are counted before anything is worked out; again in the answer."""
    _, result = planned
    takes = "It takes 24 buckets in 3 gardens, 48 heads and 30 visits of gardens over the harvest."
    assert result.stderr.splitlines()[0] == takes
    assert takes in result.stdout


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One small trial, accepted."""
    place = tmp_path_factory.mktemp("ledger")
    accept(place / "ledger", season(place / "old", "old", "spring 2026", "2026-03-01", cultivars=2, doses=2))
    return place / "ledger"


def test_a_ledger_tells_what_is_thought_before_the_trial(tmp_path: Path, ledger: Path) -> None:
    """The value rests on the trials of the ledger, and the plan says on how many; variances are theirs too."""
    write_plan_folder(tmp_path / "new")
    (tmp_path / "new" / "products.csv").write_text(LABELLED, encoding="utf-8")
    result = run("plan", tmp_path / "new", "--ledger", ledger)
    assert result.returncode == DONE, result.stderr
    assert "This rests on the 1 trial of the ledger." in result.stdout
    plan = from_text(Plan, (tmp_path / "new" / "results" / "plan.json").read_text("utf-8"))
    assert (plan.source.code, plan.value.source, plan.value.trials) == ("ledger", "ledger", 1)


def test_a_ledger_without_a_trial_that_can_be_compared(tmp_path: Path, ledger: Path) -> None:
    """Without the nutrient's label its doses have no place on the ledger's scale: that is said, and what to do."""
    write_plan_folder(tmp_path / "new")
    result = run("plan", tmp_path / "new", "--ledger", ledger)
    assert result.returncode == NOT_COMPUTED
    assert "No trial of the ledger tells of this one" in result.stderr
    assert "products.csv" in result.stderr


def test_the_files_of_a_plan(planned: tuple[Path, subprocess.CompletedProcess[str]]) -> None:
    """plan.json, plan.html and calendar.ics, whole; a second run writes the same bytes, and no input is touched."""
    folder, _ = planned
    files = {name: (folder / "results" / name).read_bytes() for name in ("plan.json", "plan.html", "calendar.ics")}
    assert json.loads(files["plan.json"])["schema"] == "trialkit-plan-5"
    assert files["calendar.ics"].startswith(b"BEGIN:VCALENDAR\r\n")
    inputs = {path.name: path.read_bytes() for path in folder.glob("[!.]*.*")}
    again = run("plan", folder, "--json")
    assert again.returncode == DONE, again.stderr
    assert json.loads(again.stdout)["answer"] == json.loads(files["plan.json"])
    assert {name: (folder / "results" / name).read_bytes() for name in files} == files
    assert {path.name: path.read_bytes() for path in folder.glob("[!.]*.*")} == inputs


def test_an_earlier_trial_tells_how_things_vary(tmp_path: Path) -> None:
    """Variances come from an analysed trial, and the plan says which."""
    write_plan_folder(tmp_path / "new")
    results = small_trial(tmp_path / "old", cultivars=2)
    (tmp_path / "old" / "results").mkdir()
    (tmp_path / "old" / "results" / "results.json").write_text(as_text(results), encoding="utf-8")
    result = run("plan", tmp_path / "new", "--earlier", tmp_path / "old", "--json")
    assert result.returncode == DONE, result.stderr
    plan = json.loads(result.stdout)["answer"]
    assert plan["source"] == {"code": "earlier trial", "trial": "A small trial"}
    heads = next(row.variance for row in results.responses["weight_g"].variances if row.term == "residual")
    assert spreads(plan)["head"] == pytest.approx(heads**0.5)


def test_an_earlier_trial_whose_results_are_damaged(tmp_path: Path) -> None:
    """Results that are none are named, with what to do."""
    write_plan_folder(tmp_path / "new")
    (tmp_path / "results.json").write_text("{}", encoding="utf-8")
    result = run("plan", tmp_path / "new", "--earlier", tmp_path / "results.json")
    assert result.returncode == NOT_COMPUTED
    assert "results.json holds no results of a trial: run trialkit analyse on its folder again." in result.stderr


@pytest.mark.parametrize(
    ("decision", "blocks", "status", "words"),
    [
        ("margin_g = 0", 2, WRONG_CALL, "Set decision.margin_g to the smallest difference that would matter"),
        ("", 0, WRONG_CALL, "at least 1"),
    ],
)
def test_a_plan_that_cannot_be_made(tmp_path: Path, decision: str, blocks: int, status: int, words: str) -> None:
    """One clear sentence that says how to fix it, nothing written."""
    write_plan_folder(tmp_path / "trial", decision=decision, blocks=blocks)
    result = run("plan", tmp_path / "trial")
    assert result.returncode == status
    assert words in result.stderr
    assert "Traceback" not in result.stderr
    assert not (tmp_path / "trial" / "results").exists()


def test_no_such_earlier_trial(tmp_path: Path) -> None:
    """An earlier trial that was never analysed is named, with what to do."""
    write_plan_folder(tmp_path / "new")
    (tmp_path / "old").mkdir()
    result = run("plan", tmp_path / "new", "--earlier", tmp_path / "old")
    assert result.returncode == WRONG_CALL
    assert "name the folder of a trial that was analysed" in result.stderr


def test_the_protocol_says_how_things_vary(tmp_path: Path) -> None:
    """Standard deviations of the protocol are those of the plan; the rest stay common practice, and both are said."""
    write_plan_folder(tmp_path / "trial", decision="[variation]\nbucket_sd_g = 4\nhead_sd_g = 20")
    result = run("plan", tmp_path / "trial", "--json")
    assert result.returncode == DONE, result.stderr
    plan = json.loads(result.stdout)["answer"]
    found = spreads(plan)
    assert (found["bucket"], found["head"], found["site"]) == (4, 20, 15)
    assert plan["source"]["code"] == "trial.toml"


def test_a_spread_that_cannot_be(tmp_path: Path) -> None:
    """Heads that do not differ at all, or a key that is not known, are told with their line."""
    write_plan_folder(tmp_path / "trial", decision="[variation]\nhead_sd_g = 0\nbucket_sd = 4")
    result = run("plan", tmp_path / "trial")
    assert result.returncode == WRONG_CALL
    assert "variation.head_sd_g" in result.stderr
    assert 'Did you mean "bucket_sd_g"?' in result.stderr


def at_its(end: str, section: type[Section]) -> dict[str, float]:
    """Every number of a section of the protocol at one end of its bounds, by its key."""
    properties = section.model_json_schema()["properties"]
    kinds = [(key, kind) for key, one in properties.items() for kind in one.get("anyOf", [one])]
    return {key: kind[end] for key, kind in kinds if end in kind}


@pytest.mark.parametrize("end", ["minimum", "maximum"])
def test_whatever_the_bounds_allow_is_answered(end: str, tmp_path: Path) -> None:
    """All numbers of the decision and of the variation at one end; of margins, nothing at all is refused."""
    decision, variation = at_its(end, DecisionRule), at_its(end, Variation)
    assert len(decision) >= 7
    assert len(variation) >= 7
    decision["margin_g"] = decision["margin_g"] or 1e-200
    first, second = ("".join(f"{key} = {value}\n" for key, value in one.items()) for one in (decision, variation))
    write_plan_folder(tmp_path / "trial", decision=f"{first}[variation]\n{second}")
    result = run("plan", tmp_path / "trial")
    assert result.returncode == DONE, result.stderr
    assert not not_numbers(result.stdout + (tmp_path / "trial" / "results" / "plan.html").read_text("utf-8"))
