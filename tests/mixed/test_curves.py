"""Dose curves against nonlinear fits by R, a handbook's worked example and certified values."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from trialkit.mixed import FormulaError, fit_mixed
from trialkit.mixed.curves import CURVES, Curve, CurveFit, curve_basis, fit_curves, shapes_searched

REFERENCE = Path(__file__).parents[1] / "reference"
CASES = sorted(path.stem for path in (REFERENCE / "dose_response").glob("*.json"))


def _case(name: str) -> tuple[dict[str, Any], dict[str, CurveFit]]:
    expected = json.loads((REFERENCE / "dose_response" / f"{name}.json").read_text("utf-8"))
    dose, response = expected["data"]["dose"], expected["data"]["response"]
    data = pd.read_csv(REFERENCE / "dose_response" / f"{name}.csv")
    data = data.astype({column: str for column in data if column not in (dose, response)})
    model = expected.get("model", {})
    fits = fit_curves(data, response + model.get("fixed_besides_dose", "~1"), dose, model.get("random_terms", []))
    return expected, {fit.curve: fit for fit in fits}


@pytest.mark.parametrize("name", CASES)
def test_curves_agree_with_nonlinear_fits(name: str) -> None:
    """Criterion, shape, its profile limits, coefficients and AICc are those of R's nls and profiled lme4 likelihood.

    tests/reference/dose_response: Potvin et al. 1990 and Yates 1935; its README's tolerances.
    """
    expected, fits = _case(name)
    for curve in CURVES:
        wanted, fit = expected["curves"][curve.replace("-", "_")], fits[curve]
        assert fit.minus_2_log_likelihood == pytest.approx(wanted["minus_2_log_likelihood"], rel=1e-9)
        aicc = wanted.get("aicc", wanted.get("aicc_n_rows"))
        assert fit.aicc(expected["data"]["rows"]) == pytest.approx(aicc, rel=1e-9)
        if fit.shape is None:
            given_coefficients = wanted["coefficients"]
            values = list(given_coefficients.values()) if isinstance(given_coefficients, dict) else given_coefficients
        else:
            assert fit.shape == pytest.approx(wanted["shape_c"], rel=1e-6)
            interval = wanted.get("shape_interval_95_profile_likelihood") or wanted.get(
                "shape_interval_95_likelihood_ratio_chi_square"
            )
            assert interval["single_interval"]
            assert _near(fit.shape_lower, interval["lower"])
            assert _near(fit.shape_upper, interval["upper"])
            values = list(wanted.get("coefficients", {}).values()) or [wanted["b0"], wanted["b1"]]
        scale = np.abs(values).max()
        assert fit.coefficients.to_numpy() == pytest.approx(np.array(values), rel=1e-5, abs=1e-6 * scale)


def _near(found: float | None, wanted: float | None) -> bool:
    return found is wanted if wanted is None or found is None else found == pytest.approx(wanted, rel=1e-6)


def test_quadratic_plateau_of_the_handbook() -> None:
    """Join 12.7477, plateau 0.7775, sum of squares 0.010066: SAS/STAT User's Guide, NLIN, "Segmented Model"."""
    data = pd.read_csv(REFERENCE / "data" / "nlin_segmented.csv")
    data = data.dropna().astype(float)
    fit, plateau = fit_curves(data, "y ~ 1", "x", curves=["quadratic-plateau", "linear-plateau"])
    assert fit.shape == pytest.approx(12.7477, abs=5e-5)
    constant, rise = fit.coefficients
    assert constant == pytest.approx(0.39212, abs=5e-6)
    assert rise == pytest.approx(0.060463, abs=2e-5)
    assert -rise / (2 * fit.shape) == pytest.approx(-0.0023715, abs=1e-6)
    assert constant + rise * fit.shape / 2 == pytest.approx(0.7775, abs=5e-5)
    assert fit.variances["residual"] * len(data) == pytest.approx(0.010066, abs=5e-7)
    # The linear plateau of the same data was computed by a profile search outside this project, not published.
    assert plateau.shape == pytest.approx(8.0095, abs=1e-3)
    assert plateau.coefficients.iloc[1] == pytest.approx(0.04381, abs=1e-4)


@pytest.mark.parametrize("name", ["Misra1a", "BoxBOD"])
def test_asymptotic_curve_reaches_the_certified_values(name: str) -> None:
    """Both parameters to seven digits or more of the eleven certified: NIST/ITL StRD, nonlinear least squares."""
    expected = json.loads((REFERENCE / "nist_strd" / f"{name}.json").read_text("utf-8"))["certified_values"]
    data = pd.read_csv(REFERENCE / "nist_strd" / f"{name}.csv").astype(float)
    (fit,) = fit_curves(data, "y ~ 0", "x", curves=["asymptotic"])
    assert fit.shape == pytest.approx(expected["b2"], rel=1e-7)
    assert fit.coefficients.to_list() == pytest.approx([expected["b1"]], rel=1e-7)
    assert fit.variances["residual"] * len(data) == pytest.approx(expected["residual_sum_sq"], rel=1e-9)


@pytest.mark.parametrize("curve", [curve for curve in CURVES if shapes_searched(curve, np.arange(1.0, 6.0))])
def test_independent_errors_agree_with_scipy(curve: Curve) -> None:
    """Without a random part a curve is ordinary nonlinear least squares, as scipy.optimize.curve_fit does it."""
    rng = np.random.default_rng(3)
    dose = np.tile(np.arange(1.0, 9.0), 5)
    truth = 40 + 60 * curve_basis(curve, dose, 4.3 if curve != "asymptotic" else 0.5)[:, 0]
    data = pd.DataFrame({"dose": dose, "weight_g": truth + rng.normal(0, 5, len(dose))})
    (fit,) = fit_curves(data, "weight_g ~ 1", "dose", curves=[curve])

    def model(d: np.ndarray, c: float, constant: float, rise: float) -> np.ndarray:
        return np.asarray(constant + rise * curve_basis(curve, d, c)[:, 0])

    assert fit.shape is not None
    start = [fit.shape * 1.05, *fit.coefficients]
    found, _ = curve_fit(model, dose, data["weight_g"], start, xtol=1e-12, ftol=1e-12)
    assert [fit.shape, *fit.coefficients] == pytest.approx(found, rel=1e-5)


def test_a_straight_line_is_the_mixed_model_itself() -> None:
    """The linear curve's criterion and coefficients are those of the engine's fit by full likelihood."""
    data = pd.read_csv(REFERENCE / "dose_response" / "oats_nitrogen.csv").astype({"Block": str, "Variety": str})
    (fit,) = fit_curves(data, "yield ~ Variety", "nitro", ["Block", "Block:Variety"], curves=["linear"])
    whole = fit_mixed(data, "yield ~ Variety + nitro", ["Block", "Block:Variety"], method="ml")
    assert fit.minus_2_log_likelihood == pytest.approx(whole.criterion, rel=1e-10)
    assert fit.variances.to_numpy() == pytest.approx(whole.variances.to_numpy(), rel=1e-7)


@settings(max_examples=12)
@given(st.floats(0.01, 1000), st.floats(-1e3, 1e3), st.floats(0.1, 100))
def test_units_do_not_matter(dose_unit: float, offset: float, unit: float) -> None:
    """A plateau scales with the unit of the dose and does not move with the response's unit or offset (property)."""
    rng = np.random.default_rng(5)
    dose = np.tile([2.0, 4, 6, 8, 10], 6)
    weight = 20 * np.minimum(dose, 5.5) + rng.normal(0, 4, len(dose))
    data = pd.DataFrame({"dose": dose, "weight_g": weight})
    other = pd.DataFrame({"dose": dose * dose_unit, "weight_g": offset + unit * weight})
    (fit,), (scaled,) = (fit_curves(one, "weight_g ~ 1", "dose", curves=["linear-plateau"]) for one in (data, other))
    assert fit.shape is not None
    assert scaled.shape == pytest.approx(fit.shape * dose_unit, rel=1e-5)
    assert scaled.aicc(30) - 60 * np.log(unit) == pytest.approx(fit.aicc(30), abs=1e-6)


def test_what_is_not_a_dose_is_refused() -> None:
    """Words for doses, and fewer than four doses, are refused with what is asked for."""
    data = pd.DataFrame({"dose": ["low", "high"] * 4, "weight_g": np.arange(8.0)})
    with pytest.raises(FormulaError, match="must all be numbers"):
        fit_curves(data, "weight_g ~ 1", "dose")
    with pytest.raises(FormulaError, match="Only 2 doses"):
        fit_curves(data.assign(dose=[2, 4] * 4), "weight_g ~ 1", "dose")


def test_too_few_buckets_for_the_parameters() -> None:
    """With no unit to spare Akaike's criterion is infinite, and the curve gets no weight."""
    data = pd.DataFrame({"dose": [1.0, 2, 3, 4, 5, 6], "weight_g": [10.0, 12, 15, 15, 16, 15]})
    (fit,) = fit_curves(data, "weight_g ~ 1", "dose", curves=["quadratic"])
    assert fit.aicc(5) == np.inf
