"""Layouts without random terms (emmeans, mvtnorm), strata (R aov), quantiles and NIST's certified values."""

import json
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtr

from against_r import PAIRS, QUANTILES, REFERENCE, check_control, check_pairs
from trialkit.mixed import fit_mixed
from trialkit.mixed.multivariate_t import interpolated, largest_t, product_loadings


def reference_fit(case: Any) -> Any:
    """Fit a layout whose only variance is the residual."""
    return fit_mixed(case.data, case.expected["model"]["r_formula"])


def test_analysis_of_variance(comparison_case: Any) -> None:
    """Without random terms the F tests are those of the ordinary analysis of variance."""
    fit = reference_fit(comparison_case)
    model = comparison_case.expected["model"]
    assert fit.variances["residual"] == pytest.approx(model["residual_variance"], rel=1e-9)
    table = fit.anova()
    for entry in model["anova"]:
        if entry["term"] in table.index and len(comparison_case.expected["data"]["factor_levels_in_order"]) == 1:
            assert table.loc[entry["term"], "f"] == pytest.approx(entry["f"], rel=1e-9)
    assert table["denominator_df"].to_numpy() == pytest.approx(model["residual_df"], rel=1e-9)


@pytest.mark.parametrize(("adjust", "name"), PAIRS)
def test_pairs(comparison_case: Any, adjust: Any, name: str) -> None:
    """All pairs under each adjustment."""
    fit = reference_fit(comparison_case)
    for family in comparison_case.expected["families"]:
        table = fit.compare(":".join(family["factors"]), "all-pairs", adjust=adjust)
        check_pairs(table, family["pairwise"], name, exact=True)


def test_versus(comparison_case: Any) -> None:
    """Dunnett's comparisons with the control."""
    fit = reference_fit(comparison_case)
    for family in comparison_case.expected["families"]:
        control = family.get("versus_control")
        if not control:
            continue
        table = fit.compare(":".join(family["factors"]), "versus", control["control"])
        check_control(table, control["table"], 1e-5)


def test_strata_of_the_oats() -> None:
    """A balanced split-plot gives the classical F of each error stratum (Yates 1935; R aov)."""
    expected = json.loads((REFERENCE / "strata_anova" / "oats_split_plot.json").read_text(encoding="utf-8"))
    data = pd.read_csv(REFERENCE / "mixed_models" / "oats_split_plot.csv", dtype={"dose": str})
    fit = fit_mixed(data, "yield ~ Variety * dose", ["Block", "Block:Variety"], bounds="strata")
    table = fit.anova()
    for stratum in expected["strata"].values():
        residual = next(entry for entry in stratum if entry["term"] == "Residuals")
        for entry in stratum:
            if entry["f"] is not None:
                assert table.loc[entry["term"], "f"] == pytest.approx(entry["f"], rel=1e-9)
                assert table.loc[entry["term"], "denominator_df"] == pytest.approx(residual["df"], rel=1e-9)


@pytest.mark.parametrize("row", QUANTILES["dunnett_equal_correlation"]["table"])
def test_dunnett_equal_correlation(row: dict[str, Any]) -> None:
    """Two-sided 5 % points with correlation 1/2 (Dunnett 1964's case; values by exact integration)."""
    k = row["comparisons"]
    correlation = np.full((k, k), 0.5) + 0.5 * np.eye(k)
    critical = largest_t(correlation).quantile(0.95, float(str(row["df"]).replace("Inf", "inf")))
    assert critical == pytest.approx(row["critical_value_two_sided_95"], abs=1e-7, rel=1e-7)


@pytest.mark.parametrize("row", QUANTILES["dunnett_unequal_groups"])
def test_dunnett_unequal_groups(row: dict[str, Any]) -> None:
    """Correlations of unequal groups, from the groups' sizes."""
    critical = largest_t(np.array(row["correlation"])).quantile(0.95, row["df"])
    assert critical == pytest.approx(row["critical_value_two_sided_95"], abs=1e-7)


def two_factor_probability(limits: np.ndarray, loadings: np.ndarray) -> np.ndarray:
    """Probability that all |Z_i| <= limit when two common normals make the correlation: an exact double integral."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(80)
    weights = weights / weights.sum()
    first, second = np.meshgrid(nodes, nodes, indexing="ij")
    own = np.sqrt(1 - (loadings**2).sum(1))
    result = []
    for limit in limits:
        inside = np.ones_like(first)
        for (a, b), spread in zip(loadings, own, strict=True):
            shift = a * first + b * second
            inside *= ndtr((limit - shift) / spread) - ndtr((-limit - shift) / spread)
        result.append(weights @ inside @ weights)
    return np.array(result)


@pytest.mark.parametrize(("second", "tolerance"), [(0.6, 5e-5), (0.4, 1e-5), (0.15, 1e-6), (0.05, 1e-6)])
@pytest.mark.parametrize("size", [4, 7, 15])
def test_general_correlation(size: int, second: float, tolerance: float) -> None:
    """A correlation that is no product form gives what an independent exact integral gives: the better, the nearer."""
    rng = np.random.default_rng(size)
    loadings = np.column_stack([rng.uniform(0.5, 0.75, size), rng.uniform(-second, second, size)])
    loadings[size // 2] *= -1  # as where one difference is written the other way round: |Z| stays
    correlation = loadings @ loadings.T
    np.fill_diagonal(correlation, 1.0)
    assert product_loadings(correlation) is None
    limits = np.linspace(0.5, 5.0, 19)
    exact = two_factor_probability(limits, loadings)
    np.testing.assert_allclose(interpolated(correlation)(limits), exact, atol=tolerance)


def test_comparisons_that_are_the_same_twice() -> None:
    """By definition: what is said twice changes nothing, though the correlation is singular."""
    pair = np.array([[1.0, 0.5], [0.5, 1.0]])
    limits = np.linspace(0.5, 5.0, 19)
    twice = interpolated(np.kron(pair, np.ones((2, 2))))(limits)
    np.testing.assert_allclose(twice, largest_t(pair).normal(limits), atol=1e-5)


def test_nist_analysis_of_variance(nist_case: Any) -> None:
    """NIST's certified F to 9 digits, and on the highest sets to within half a digit of what a double can hold."""
    expected = nist_case.expected
    data = nist_case.data.astype({"treatment": str})
    f = fit_mixed(data, "response ~ treatment").anova().loc["treatment", "f"]
    certified = expected["certified_values"]["f"]
    digits = min(15.0, -np.log10(max(abs(f - certified) / certified, 1e-16)))
    print(f"{expected['case']}: log relative error {digits:.1f}")
    best = expected["orientation"]["lre_f_best_possible_after_reading_the_data_as_double"]
    assert digits >= (best - 0.5 if expected["difficulty"] == "higher" else 9)
