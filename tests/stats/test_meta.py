"""Meta-analysis against metafor (R; tests/reference/README.md), and its own properties."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.stats.meta import MetaAnalysis, combine

REFERENCE = Path(__file__).parents[1] / "reference" / "meta_analysis"
CASES = sorted(path.stem for path in REFERENCE.glob("*.json"))


def case(name: str) -> tuple[dict[str, Any], pd.DataFrame, MetaAnalysis]:
    """Expected values, data, and what is found."""
    data = pd.read_csv(REFERENCE / f"{name}.csv")
    found = combine(data["yi"].to_numpy(float), data["vi"].to_numpy(float))
    return json.loads((REFERENCE / f"{name}.json").read_text("utf-8")), data, found


@pytest.mark.parametrize("name", CASES)
def test_reml_with_hartung_and_knapps_interval(name: str) -> None:
    """Estimate, standard errors, limits and p are those of metafor 3.8; no error below the model's is used."""
    expected, _, found = case(name)
    normal = expected["models"]["reml"]["normal"]["estimates"][0]
    knapp = expected["models"]["reml"]["hartung_knapp_sidik_jonkman"]["estimates"][0]
    assert found.estimates[0] == pytest.approx(normal["estimate"], rel=1e-7)
    assert found.model_se[0] == pytest.approx(normal["standard_error"], rel=1e-7)
    assert found.se[0] == pytest.approx(knapp["standard_error"], rel=1e-7)
    assert found.p()[0] == pytest.approx(knapp["p"], rel=1e-6)
    assert found.df == knapp["df"]
    lower, upper = found.interval()
    if found.se[0] >= found.model_se[0]:
        assert (lower, upper) == pytest.approx((knapp["lower"], knapp["upper"]), rel=1e-7)
    else:
        assert lower < min(knapp["lower"], normal["lower"])


@pytest.mark.parametrize("name", CASES)
def test_heterogeneity(name: str) -> None:
    """Variance between studies with its Q-profile limits, I squared, Q and the likelihood are those of metafor 3.8."""
    expected, _, found = case(name)
    reml = expected["models"]["reml"]["normal"]
    assert found.tau2 == pytest.approx(reml["tau2"], rel=1e-6, abs=1e-12)
    limits = reml["tau2_interval_q_profile"]
    assert (found.tau2_lower, found.tau2_upper) == pytest.approx((limits["lower"], limits["upper"]), rel=1e-5, abs=1e-9)
    assert 100 * found.i2 == pytest.approx(reml["i2_percent"], rel=1e-6, abs=1e-9)
    assert found.q == pytest.approx(reml["q"], rel=1e-9)
    assert found.log_likelihood == pytest.approx(reml["log_likelihood"], rel=1e-7)


@pytest.mark.parametrize("name", CASES)
def test_prediction_interval(name: str) -> None:
    """With two degrees of freedom fewer than studies, as Higgins et al. (2009), about Hartung and Knapp's error."""
    expected, _, found = case(name)
    limits = expected["models"]["reml"]["hartung_knapp_sidik_jonkman"]["prediction_interval_t_k_minus_2"]
    prediction = found.prediction()
    assert prediction is not None
    if found.se[0] >= found.model_se[0]:
        assert prediction == pytest.approx((limits["lower"], limits["upper"]), rel=1e-6)
    else:
        normal = expected["models"]["reml"]["normal"]["prediction_interval_t_k_minus_2"]
        assert prediction == pytest.approx((normal["lower"], normal["upper"]), rel=1e-6)


def test_regression_on_latitude() -> None:
    """The BCG trials on latitude (Colditz et al. 1994): coefficients, errors and tau squared of metafor 3.8."""
    expected, data, _ = case("bcg_log_risk_ratio")
    design = np.column_stack([np.ones(len(data)), data["ablat"].to_numpy(float)])
    found = combine(data["yi"].to_numpy(float), data["vi"].to_numpy(float), design)
    regression = expected["meta_regression_reml"]["ablat"]
    for kind, errors in (("normal", found.model_se), ("hartung_knapp_sidik_jonkman", found.se)):
        for row, estimate, error in zip(regression[kind]["estimates"], found.estimates, errors, strict=True):
            assert estimate == pytest.approx(row["estimate"], rel=1e-7)
            assert error == pytest.approx(row["standard_error"], rel=1e-7)
    assert found.tau2 == pytest.approx(regression["normal"]["tau2"], rel=1e-6)


def test_agrees_with_another_library() -> None:
    """Without heterogeneity the estimate is statsmodels' inverse-variance mean, on the made-up set."""
    from statsmodels.stats.meta_analysis import combine_effects

    _, data, found = case("zero_heterogeneity_made_up")
    other = combine_effects(data["yi"].to_numpy(), data["vi"].to_numpy(), method_re="iterated", use_t=True)
    assert found.estimates[0] == pytest.approx(other.mean_effect_fe, rel=1e-10)
    assert found.q == pytest.approx(other.q, rel=1e-10)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-50, 50), st.floats(0.01, 100)), min_size=3, max_size=12),
    st.floats(-1000, 1000),
    st.floats(0.01, 100),
)
def test_shift_and_scale(studies: list[tuple[float, float]], shift: float, scale: float) -> None:
    """Moving and stretching every effect moves and stretches what is found."""
    y, v = map(np.array, zip(*studies, strict=True))
    one, other = combine(y, v), combine(shift + scale * y, scale**2 * v)
    size = float(np.abs(y).max() + np.sqrt(v.max()))
    assert other.estimates[0] == pytest.approx(shift + scale * one.estimates[0], abs=1e-6 * scale * size + 1e-9)
    assert other.tau2 == pytest.approx(scale**2 * one.tau2, rel=1e-4, abs=1e-6 * scale**2 * size**2)


def test_what_cannot_be_combined() -> None:
    """One study tells no spread, a missing number and a nil variance nothing at all; two give no prediction."""
    with pytest.raises(NotComputed, match="1 studies"):
        combine(np.array([1.0]), np.array([1.0]))
    with pytest.raises(WrongCall, match="above 0"):
        combine(np.array([1.0, 2.0]), np.array([1.0, 0.0]))
    with pytest.raises(WrongCall, match="above 0"):
        combine(np.array([1.0, np.nan]), np.array([1.0, 1.0]))
    assert combine(np.array([1.0, 2.0]), np.array([1.0, 1.0])).prediction() is None
