"""statsmodels beside our own engine: they agree on the examples, and a slip of either is an error."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from commands import run
from trialkit._resources import resource_folder
from trialkit.analysis import Results, second_engine
from trialkit.analysis.second_engine import BOUNDS, by_statsmodels
from trialkit.documents.document import as_text
from trialkit.mixed import fit_mixed
from trialkit.rules.trial_folder import read_trial
from trialkit.steps.trial_steps import write_report

EXAMPLES = resource_folder("example_trials")


@pytest.mark.parametrize("example", ["autumn_dose", "spring_dose", "volunteer_cultivars"])
def test_statsmodels_agrees_on_the_examples(example: str, example_results: Callable[[str], Results]) -> None:
    """Variances, differences, standard errors, likelihood, by statsmodels' MixedLM; days are left out and say so."""
    results = example_results(example)
    compared = {one.response: one for one in by_statsmodels(read_trial(EXAMPLES / example), results)}
    assert compared.pop("days").comparison == "known between visits"
    assert set(compared) == {"weight_g", "bucket_weight_g"}
    for name, one in compared.items():
        response = results.responses[name]
        negative = any(variance.variance < 0 for variance in response.variances)
        assert one.comparison == ("free variances" if negative else "same model")
        assert [figure for figure in one.figures if not figure.agrees] == []
        parts = [figure.part for figure in one.figures]
        assert parts.count("difference") == len(response.comparisons)
        assert parts.count("variance") == len(response.variances)
        assert set(parts) == set(BOUNDS)
        if not negative:
            ours = {figure.key: figure.ours for figure in one.figures if figure.part == "variance"}
            assert ours == pytest.approx({one.term: one.variance for one in response.variances}, rel=1e-4)


@pytest.fixture
def reported(tmp_path: Path, example_results: Callable[[str], Results]) -> Path:
    """An example with results and report."""
    trial = Path(shutil.copytree(EXAMPLES / "volunteer_cultivars", tmp_path / "trial"))
    (trial / "results").mkdir()
    (trial / "results" / "results.json").write_text(as_text(example_results("volunteer_cultivars")), "utf-8")
    write_report(trial)
    return trial


def compared_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out what --verify does besides, which takes longer and is tested with it."""
    monkeypatch.setattr("trialkit.cli.report_command.differences", lambda _: [])


def test_the_command_tells_what_agrees(reported: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a sentence a response; with --json figure by figure."""
    told = run("report", reported, "--verify", "--with", "statsmodels")
    assert told.returncode == 0, told.stderr
    assert "weight_g: All 14 figures by statsmodels agree with ours." in told.stdout
    assert "days: not compared" in told.stdout
    compared_alone(monkeypatch)
    answer = json.loads(run("report", reported, "--verify", "--with", "statsmodels", "--json").stdout)["answer"]
    assert answer["ok"] is True
    assert {one["part"] for one in answer["second_engine"][0]["figures"]} == set(BOUNDS)


def test_a_slip_is_an_error(reported: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An engine that fits another model is found, whichever it is: here ours leaves the buckets out."""

    def slip(rows: Any, formula: str, random: Any) -> Any:
        return fit_mixed(rows, formula, [term for term in random if term != "bucket"])

    monkeypatch.setattr(second_engine, "fit_mixed", slip)
    compared_alone(monkeypatch)
    told = run("report", reported, "--verify", "--with", "statsmodels")
    assert told.returncode == 1
    assert "figures of statsmodels differ beyond the bound" in told.stderr
    assert "weight_g: " in told.stdout
    assert "The first is variance" in told.stdout


def test_it_goes_with_verify(reported: Path) -> None:
    """Without it there is nothing to compare."""
    told = run("report", reported, "--with", "statsmodels")
    assert told.returncode == 2
    assert "Give --with together with --verify" in told.stderr
