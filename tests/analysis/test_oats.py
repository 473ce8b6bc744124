"""Yates's oats of 1935 as a trial folder, through check, analyse and report, against the published analysis.

F tests and mean squares: Yates (1935), as R's aov gives them for the same data (tests/reference/strata_anova); means:
marginal means of the published table; standard errors and d.f.: Kenward-Roger, computed with pbkrtest and emmeans
(tests/reference/mixed_models/oats_split_plot.json).
"""

import json
from pathlib import Path
from typing import Any

import pytest

from commands import run
from oats_trial import write_oats_trial

REFERENCE = Path(__file__).parents[1] / "reference"
NAMES = {
    "Variety": "cultivar", "dose": "dose_tsp", "Variety:dose": "cultivar:dose_tsp",
    "Block": "site:block", "Block:Variety": "site:block:whole_plot", "residual": "residual",
}  # fmt: skip
"""Our names of the reference's terms."""


def reference(folder: str) -> dict[str, Any]:
    """Read what a folder of references has of the oats."""
    document: dict[str, Any] = json.loads((REFERENCE / folder / "oats_split_plot.json").read_text(encoding="utf-8"))
    return document


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The oats as a trial folder, analysed and reported by the command as a user would."""
    folder = tmp_path_factory.mktemp("oats") / "oats"
    write_oats_trial(folder)
    for command in ("check", "analyse", "report"):
        done = run(command, folder)
        assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture(scope="module")
def weight(folder: Path) -> dict[str, Any]:
    """Results for the yields."""
    document = json.loads((folder / "results" / "results.json").read_text(encoding="utf-8"))
    result: dict[str, Any] = document["responses"]["weight_g"]
    return result


def test_f_tests(weight: dict[str, Any]) -> None:
    """Varieties are tested against whole plots, nitrogen and the interaction against sub-plots."""
    strata = reference("strata_anova")["strata"].values()
    expected = {NAMES[row["term"]]: (row, stratum[-1]) for stratum in strata for row in stratum if row["f"]}
    assert {test["term"] for test in weight["tests"]} == set(expected)
    for test in weight["tests"]:
        row, error = expected[test["term"]]
        assert test["f"] == pytest.approx(row["f"], rel=1e-9)
        assert (test["numerator_df"], test["denominator_df"]) == (row["df"], pytest.approx(error["df"], rel=1e-9))
        assert test["p"] == pytest.approx(row["p"], rel=1e-7)


def test_variances(weight: dict[str, Any]) -> None:
    """Standard deviations of blocks, whole plots and sub-plots."""
    variances = reference("mixed_models")["restricted_likelihood"]["variances"]
    assert {row["term"]: row["sd"] ** 2 for row in weight["variances"]} == {
        NAMES[term]: pytest.approx(variance, rel=1e-6) for term, variance in variances.items()
    }
    assert weight["model"]["criterion"] < 529.0285  # contrast-invariant form; 529.0285 is the coding-dependent one


def test_means(weight: dict[str, Any]) -> None:
    """Doses, varieties and combinations have the reference's means, Kenward-Roger errors, d.f. and limits."""
    ours = {("Variety", "dose"): {(m["treatment"]["cultivar"], m["treatment"]["dose_tsp"]): m for m in weight["means"]}}
    for factor in ("Variety", "dose"):
        ours[(factor,)] = {(row["level"],): row for row in weight["marginal_means"][NAMES[factor]]}
    for block in reference("mixed_models")["estimated_marginal_means"]:
        table = ours.pop(tuple(block["factors"]))
        assert len(table) == len(block["table"])
        for entry in block["table"]:
            levels = {"Variety": entry.get("Variety"), "dose": float(entry.get("dose", "nan"))}
            mean = table[tuple(levels[factor] for factor in block["factors"])]
            assert mean["mean"] == pytest.approx(entry["estimate"], rel=1e-8)
            assert mean["se"] == pytest.approx(entry["standard_error_kenward_roger"], rel=1e-7)
            assert mean["df"] == pytest.approx(entry["df_kenward_roger"], rel=1e-6)
            assert mean["lower"] == pytest.approx(entry["lower_kenward_roger"], rel=1e-6)
    assert not ours


def test_the_least_replicated_effect_is_named(weight: dict[str, Any]) -> None:
    """Varieties stand on whole plots: 10 degrees of freedom for error in the published analysis, fewer than 12."""
    check = next(check for check in weight["checks"] if check["id"] == "replication")
    assert (check["term"], check["treatment"]) == ("cultivar", None)
    assert check["df"] == pytest.approx(10.0)
    assert not check["ok"]


def test_days_are_not_analysed(folder: Path) -> None:
    """Every plot was cut on one day, so days to harvest say nothing and are declined."""
    document = json.loads((folder / "results" / "results.json").read_text(encoding="utf-8"))
    days = document["responses"]["days"]
    assert days["status"] == "not analysed"
    assert days["not_analysed"]["code"] == "one_harvest_day"


def test_report_names_the_numbers(folder: Path) -> None:
    """The report shows the published F values and their degrees of freedom."""
    page = (folder / "results" / "report.html").read_text(encoding="utf-8")
    for text in ("1.49", "37.69", "Marvellous"):
        assert text in page
