"""Yates's oats of 1935 as a trial folder, through check, analyse and report, against the published analysis.

F tests and mean squares: Yates (1935), as R's aov gives them for the same data (tests/reference/strata_anova); means:
marginal means of the published table; standard errors and d.f.: Kenward-Roger, computed with pbkrtest and emmeans
(tests/reference/mixed_models/oats_split_plot.json).
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from oats_trial import write_oats_trial

REFERENCE = Path(__file__).parents[1] / "reference"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The oats as a trial folder, analysed and reported by the command as a user would."""
    folder = tmp_path_factory.mktemp("oats") / "oats"
    write_oats_trial(folder)
    for command in ("check", "analyse", "report"):
        run = subprocess.run(
            [sys.executable, "-m", "trialkit", command, str(folder)], capture_output=True, text=True, check=False
        )
        assert run.returncode == 0, run.stderr
    return folder


@pytest.fixture(scope="module")
def weight(folder: Path) -> dict[str, Any]:
    """Results for the yields."""
    document = json.loads((folder / "results" / "results.json").read_text(encoding="utf-8"))
    result: dict[str, Any] = document["responses"]["weight_g"]
    return result


def test_f_tests(weight: dict[str, Any]) -> None:
    """Varieties are tested against whole plots, nitrogen and the interaction against sub-plots."""
    expected = {
        "cultivar": (1.48534037943634, 2, 10, 0.272386856735207),
        "dose_tsp": (37.6856470588235, 3, 45, 2.45770955456162e-12),
        "cultivar:dose_tsp": (0.302823529411766, 6, 45, 0.932198758999224),
    }
    assert {test["term"] for test in weight["tests"]} == set(expected)
    for test in weight["tests"]:
        f, numerator, denominator, p = expected[test["term"]]
        assert test["f"] == pytest.approx(f, rel=1e-9)
        assert (test["numerator_df"], test["denominator_df"]) == (numerator, pytest.approx(denominator, rel=1e-9))
        assert test["p"] == pytest.approx(p, rel=1e-7)


def test_variances(weight: dict[str, Any]) -> None:
    """Standard deviations 14.6452, 10.2986 and 13.3073 of blocks, whole plots and sub-plots."""
    found = {row["term"]: row["sd"] for row in weight["variances"]}
    assert found == {
        "site:block": pytest.approx(14.6452, abs=1e-3),
        "site:block:whole_plot": pytest.approx(10.2986, abs=1e-3),
        "residual": pytest.approx(13.3073, abs=1e-3),
    }
    assert weight["model"]["criterion"] < 529.0285  # contrast-invariant form; 529.0285 is the coding-dependent one


def test_marginal_means(weight: dict[str, Any]) -> None:
    """Means of nitrogen doses and varieties, with Kenward-Roger standard errors and d.f."""
    dose = {row["level"]: row for row in weight["marginal_means"]["dose_tsp"]}
    for level, mean in zip((0.0, 0.2, 0.4, 0.6), (79.389, 98.889, 114.222, 123.389), strict=True):
        assert dose[level]["mean"] == pytest.approx(mean, abs=1e-3)
        assert dose[level]["se"] == pytest.approx(7.17, abs=0.01)
        assert dose[level]["df"] == pytest.approx(6.79, abs=0.01)
    variety = {row["level"]: row for row in weight["marginal_means"]["cultivar"]}
    for level, mean in {"Golden Rain": 104.5, "Marvellous": 109.792, "Victory": 97.625}.items():
        assert variety[level]["mean"] == pytest.approx(mean, abs=1e-3)
        assert variety[level]["se"] == pytest.approx(7.80, abs=0.01)
        assert variety[level]["df"] == pytest.approx(8.87, abs=0.01)


def test_combination_means(weight: dict[str, Any]) -> None:
    """The twelve combinations have the reference's means, standard errors, d.f. and limits."""
    document = json.loads((REFERENCE / "mixed_models" / "oats_split_plot.json").read_text(encoding="utf-8"))
    table = next(b for b in document["estimated_marginal_means"] if b["factors"] == ["Variety", "dose"])["table"]
    ours = {(m["treatment"]["cultivar"], m["treatment"]["dose_tsp"]): m for m in weight["means"]}
    assert len(table) == len(ours) == 12
    for entry in table:
        mean = ours[entry["Variety"], float(entry["dose"])]
        assert mean["mean"] == pytest.approx(entry["estimate"], rel=1e-8)
        assert mean["se"] == pytest.approx(entry["standard_error_kenward_roger"], rel=1e-7)
        assert mean["df"] == pytest.approx(entry["df_kenward_roger"], rel=1e-6)
        assert mean["lower"] == pytest.approx(entry["lower_kenward_roger"], rel=1e-6)


def test_the_least_replicated_effect_is_named(weight: dict[str, Any]) -> None:
    """Varieties stand on whole plots: 10 degrees of freedom for error in the published analysis, fewer than 12."""
    check = next(check for check in weight["checks"] if check["id"] == "replication")
    assert check["finding"].startswith("Least is known of cultivar: 10.0 degrees of freedom")
    assert not check["ok"]


def test_days_are_not_analysed(folder: Path) -> None:
    """Every plot was cut on one day, so days to harvest say nothing and are declined."""
    document = json.loads((folder / "results" / "results.json").read_text(encoding="utf-8"))
    days = document["responses"]["days"]
    assert days["status"] == "not analysed"
    assert "one day" in days["reason"]


def test_report_names_the_numbers(folder: Path) -> None:
    """The report shows the published F values and their degrees of freedom."""
    page = (folder / "results" / "report.html").read_text(encoding="utf-8")
    for text in ("1.49", "37.69", "Marvellous"):
        assert text in page
