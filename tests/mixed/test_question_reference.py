"""Slopes, trends, comparisons within levels and equivalence against emmeans (tests/reference/README.md).

Each file of tests/reference names its data's publication; the tolerances are those of that README.
"""

import json
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.stats import studentized_range

from against_r import QUANTILES, REFERENCE
from trialkit.mixed import MixedFit, fit_mixed
from trialkit.mixed.contrasts import DEGREES, orthogonal_polynomials
from trialkit.mixed.hypotheses import grid_rows
from trialkit.mixed.multivariate_t import largest_of_pairs


def response_sd(case: Any) -> float:
    """Standard deviation of the response, the unit of the tolerances of estimates."""
    return float(case.data[case.expected["data"]["response"]].std())


def check_estimate(row: Any, entry: dict[str, Any], sd: float, column: str = "estimate") -> None:
    """Compare estimate, standard error and degrees of freedom at the stated tolerances."""
    assert row[column] == pytest.approx(entry[column], abs=1e-8 * sd)
    assert row["se"] == pytest.approx(entry["standard_error_kenward_roger"], rel=1e-7)
    assert row["df"] == pytest.approx(entry["df_kenward_roger"], rel=1e-6)


def check_limits(row: Any, entry: dict[str, Any], suffix: str = "") -> None:
    """Compare limits, to 1e-6 of themselves or of the standard error."""
    given = [entry[f"lower{suffix}"], entry[f"upper{suffix}"]]
    assert [row["lower"], row["upper"]] == pytest.approx(given, rel=1e-6, abs=1e-6 * row["se"])


def test_the_reference_has_these_blocks() -> None:
    """The tests below are not empty: the files hold two blocks of slopes, two of comparisons within, one trend."""
    cases = [json.loads(path.read_text(encoding="utf-8")) for path in (REFERENCE / "mixed_models").glob("*.json")]
    assert sum(len(case["slopes"]) for case in cases) == 2
    assert sum(len(case["comparisons_within_levels"]) for case in cases) == 2
    assert sum("polynomial_contrasts" in block for case in cases for block in case["estimated_marginal_means"]) == 1


def test_slopes(mixed_case: Any, fit: MixedFit) -> None:
    """Slope of a covariate for each level of a factor, with limits (emmeans::emtrends)."""
    for block in mixed_case.expected["slopes"]:
        table = fit.slopes(block["slope_of"], block["for_levels_of"])
        assert list(table.index) == [entry["level"] for entry in block["table"]]
        assert table["estimable"].all()
        for entry in block["table"]:
            check_estimate(table.loc[entry["level"]], entry, response_sd(mixed_case), "slope")
            check_limits(table.loc[entry["level"]], entry)


def test_differences_of_slopes(mixed_case: Any, fit: MixedFit) -> None:
    """All pairs of slopes, p unadjusted (emmeans::emtrends, pairs)."""
    for block in mixed_case.expected["slopes"]:
        factor = block["for_levels_of"]
        table = fit.compare(factor, adjust="none", slope_of=block["slope_of"])
        assert len(table) == len(block["differences"])
        for (first, second), entry in zip(table.index, block["differences"], strict=True):
            assert entry["contrast"].replace(factor, "") == f"{first} - {second}"
            check_estimate(table.loc[(first, second)], entry, response_sd(mixed_case))
            assert table.loc[(first, second), "p"] == pytest.approx(entry["p"], rel=2e-6, abs=1e-10)


def test_polynomial_contrasts(mixed_case: Any, fit: MixedFit) -> None:
    """Trends with the real spacing of the doses (emmeans with stats::contr.poly)."""
    for block in mixed_case.expected["estimated_marginal_means"]:
        if "polynomial_contrasts" not in block:
            continue
        table = fit.compare(block["factors"][0], "trend")
        assert list(table.index) == [entry["contrast"] for entry in block["polynomial_contrasts"]["table"]]
        for entry in block["polynomial_contrasts"]["table"]:
            row = table.loc[entry["contrast"]]
            check_estimate(row, entry, response_sd(mixed_case))
            check_limits(row, entry)
            assert row["t"] == pytest.approx(entry["t"], rel=1e-6, abs=1e-8)
            assert row["p"] == pytest.approx(entry["p"], rel=2e-6, abs=1e-10)


@pytest.mark.parametrize(("adjust", "name"), [("none", "unadjusted"), ("tukey", "tukey")])
def test_comparisons_within_levels(mixed_case: Any, fit: MixedFit, adjust: Any, name: str) -> None:
    """One factor compared inside each level of another; each level is a family of its own (emmeans, by)."""
    for block in mixed_case.expected["comparisons_within_levels"]:
        table = fit.compare(block["compare"], adjust=adjust, within=block["separately_for"])
        assert table.index.names == [block["separately_for"], "first", "second"]
        assert len(table) == len(block["table"])
        tolerance = {"abs": 1e-6} if name == "tukey" else {"rel": 2e-6, "abs": 1e-10}
        for entry in block["table"]:
            row = table.loc[(entry["at"], *entry["contrast"].split(" - "))]
            check_estimate(row, entry, response_sd(mixed_case))
            check_limits(row, entry, f"_{name}")
            assert row["p"] == pytest.approx(entry[f"p_{name}"], **tolerance)


def test_covariance_of_the_means(mixed_case: Any, fit: MixedFit) -> None:
    """Kenward-Roger covariance of every set of means (emmeans, vcov)."""
    for block in mixed_case.expected["estimated_marginal_means"]:
        if "covariance_kenward_roger" not in block:
            continue
        expected, factors = np.array(block["covariance_kenward_roger"]), block["factors"]
        given = [tuple(entry[factor] for factor in factors) for entry in block["table"]]
        order = [label[0] if len(factors) == 1 else label for label in given]
        ours = fit.mean_covariance(":".join(factors)).loc[order, order]
        np.testing.assert_allclose(ours, expected, rtol=1e-7, atol=1e-7 * np.abs(expected).max())


def test_covariates_stand_at_their_means(mixed_case: Any, fit: MixedFit) -> None:
    """Means are those at each covariate's mean over the rows used (reference_grid of each block)."""
    for block in mixed_case.expected["estimated_marginal_means"]:
        at = block["reference_grid"]["covariates_at"]
        assert dict(fit.model.fixed.covariates) == pytest.approx(at, rel=1e-12)


def test_the_slope_of_the_sleep_study() -> None:
    """Without a factor there is one slope, the fixed effect; at the mean day stands the mean of this balanced trial."""
    path = REFERENCE / "mixed_models" / "sleepstudy_covariate"
    expected = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))  # Belenky et al. (2003), in lme4
    rows = np.genfromtxt(path.with_suffix(".csv"), delimiter=",", names=True, dtype=None, encoding="utf-8")
    data = pd.DataFrame(rows).astype({"Subject": str, "Days": float})
    fit = fit_mixed(data, "Reaction ~ Days", ["Subject"])
    entry = next(entry for entry in expected["fixed_effects"] if entry["term"] == "Days")
    check_estimate(fit.slopes("Days").loc["Days"].rename({"slope": "estimate"}), entry, data["Reaction"].std())
    assert fit.model.fixed.covariates["Days"] == pytest.approx(4.5, rel=1e-12)
    grid = grid_rows(fit.model.fixed)
    assert grid[0] @ fit.coefficients["estimate"] == pytest.approx(data["Reaction"].mean(), rel=1e-10)


def test_equivalence(comparison_case: Any) -> None:
    """Two one-sided tests with a margin (emmeans, side = "equivalence"; Schuirmann 1987)."""
    fit = fit_mixed(comparison_case.data, comparison_case.expected["model"]["r_formula"])
    for family in comparison_case.expected["families"]:
        if "equivalence" not in family:
            continue
        table = fit.equivalence(":".join(family["factors"]), family["equivalence"]["margin"])
        for entry in family["equivalence"]["table"]:
            row = table.loc[(entry["first"], entry["second"])]
            assert row["estimate"] == pytest.approx(entry["estimate"], rel=1e-9)
            assert row["se"] == pytest.approx(entry["standard_error"], rel=1e-9)
            assert row["df"] == pytest.approx(entry["df"], rel=1e-9)
            assert row["t_lower"] == pytest.approx(entry["t_against_lower_margin"], rel=1e-9)
            assert row["t_upper"] == pytest.approx(entry["t_against_upper_margin"], rel=1e-9)
            assert row["p"] == pytest.approx(entry["p_equivalence"], rel=1e-9)
            assert [row["lower"], row["upper"]] == pytest.approx([entry["lower_90"], entry["upper_90"]], rel=1e-9)
            assert row["equivalent"] == (entry["p_equivalence"] < 0.05)


@pytest.mark.parametrize("block", QUANTILES["orthogonal_polynomials_unequal_spacing"])
def test_orthogonal_polynomials(block: dict[str, Any]) -> None:
    """Coefficients at unequal spacing (R stats::contr.poly)."""
    ours = orthogonal_polynomials(np.array(block["scores"], float))
    theirs = [block["coefficients"][name] for name in DEGREES[: len(ours)]]
    np.testing.assert_allclose(ours, theirs, atol=1e-13)


@pytest.mark.parametrize("row", QUANTILES["studentized_range_quantiles"])
def test_studentized_range_quantiles(row: dict[str, Any]) -> None:
    """Tukey's critical values: scipy's to 1e-9; R's qtukey to 1e-6 where its own integration is that good.

    With 3 degrees of freedom qtukey is off by up to 3e-4 from both scipy and this.
    """
    df = float(str(row["df"]).replace("Inf", "inf"))
    ours = largest_of_pairs(row["groups"]).quantile(row["probability"], df) * np.sqrt(2)
    assert ours == pytest.approx(studentized_range.ppf(row["probability"], row["groups"], df), rel=1e-9)
    assert ours == pytest.approx(row["studentized_range"], rel=1e-6 if df > 3 else 4e-4)


@pytest.mark.parametrize("row", QUANTILES["studentized_range_upper_tails"])
def test_studentized_range_tails(row: dict[str, Any]) -> None:
    """Tukey's p at non-integer degrees of freedom (R stats::ptukey)."""
    tail = 1 - largest_of_pairs(row["groups"]).probability(row["q"] / np.sqrt(2), row["df"])
    assert tail == pytest.approx(row["upper_tail"], abs=1e-8)
