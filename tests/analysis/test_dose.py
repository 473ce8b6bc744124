"""The dose that is enough: by hand where it can be, never outside the range, and with intervals that cover."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from small_trial import small_trial
from trialkit.analysis import Results
from trialkit.analysis.dose import DoseMeans, akaike_weights, dose_of_greatest_return, dose_reaching, draw_curves
from trialkit.documents.findings import DoseAnswer
from trialkit.mixed import CurveFit

GRID = np.linspace(2.0, 8.0, 241)
DOSES = np.array([2.0, 4, 6, 8])


@pytest.fixture(scope="module")
def autumn(example_results: Callable[[str], Results]) -> DoseAnswer:
    """What the doses of the autumn example say of the marketable weight a bucket."""
    dose = example_results("autumn_dose").responses["bucket_weight_g"].dose
    assert dose is not None
    return dose


def test_the_truth_of_the_county_is_found(autumn: DoseAnswer) -> None:
    """The generator's curve 1 - exp(-0.45 d) reaches 95 % of its gain from 2 to 8 teaspoons at 6.83.

    By hand: exp(-0.9) = .4066 and exp(-3.6) = .0273; .4066 - .95 x .3793 = .0463 = exp(-0.45 x 6.83).
    """
    (group,) = autumn.groups
    (found,) = group.recommended
    assert found.basis == "share of gain"
    assert found.lower_tsp <= 6.83 <= found.upper_tsp
    assert {curve.curve for curve in group.curves if curve.weight > 0.1} == {
        "quadratic",
        "quadratic-plateau",
        "asymptotic",
    }
    asymptotic = next(curve for curve in group.curves if curve.curve == "asymptotic")
    assert asymptotic.shape_lower is not None
    assert asymptotic.shape_upper is not None
    assert asymptotic.shape_lower <= 0.45 <= asymptotic.shape_upper
    assert sum(curve.weight for curve in group.curves) == pytest.approx(1)


def test_one_curve_serves_both_cultivars(autumn: DoseAnswer) -> None:
    """The cultivars' plateaus differ by a tenth only, which shows no difference of curves, and the test is given."""
    assert autumn.apart == ()
    assert {test.term for test in autumn.tests} >= {"dose_tsp", "cultivar:dose_tsp", "dose_tsp:acidifier"}


def curved(heads: pd.DataFrame) -> pd.DataFrame:
    """Heads of one cultivar that peak at 4 teaspoons, of the other that still rise at 8; errors of 6 g."""
    rng = np.random.default_rng(3)
    dose = heads["dose_tsp"].astype(float)
    peaked = 140 - 5.0 * (dose - 4) ** 2
    rising = 60 + 10.0 * dose
    weight = np.where(heads["cultivar"] == "Fenleaf", rising, peaked) + rng.normal(0, 6, len(heads))
    return heads.assign(
        outcome="harvested",
        harvested_on="2026-09-30",
        last_not_ready_on="",
        weight_g=[f"{w:.0f}" for w in weight],
        marketable="yes",
    )


def test_curves_that_differ_are_fitted_apart(tmp_path: Path) -> None:
    """A cultivar that peaks and one that still rises have curves and doses of their own."""
    results = small_trial(tmp_path, sites=3, blocks=3, cultivars=2, doses=4, change=curved)
    dose = results.responses["weight_g"].dose
    assert dose is not None
    assert dose.apart == ("cultivar",)
    by_cultivar = {str(group.treatment.cultivar): group for group in dose.groups}
    peaked, rising = (by_cultivar[name].recommended[0] for name in ("Larkmoor Butter", "Fenleaf"))
    assert peaked.dose_tsp == pytest.approx(4, abs=0.6)
    assert rising.dose_tsp == pytest.approx(7.7, abs=0.3)
    assert rising.spoons_tsp <= 8.0


def test_a_price_moves_the_dose_down(tmp_path: Path) -> None:
    """With a price of lettuce and of nutrient the dose of greatest net return is given too, and is no larger."""
    results = small_trial(
        tmp_path, sites=3, blocks=3, cultivars=2, doses=4, change=curved, decision="price_per_kg = 10\n"
    )
    dose = results.responses["bucket_weight_g"].dose
    assert dose is not None
    by_basis = {one.basis: one for one in dose.groups[-1].recommended}
    assert set(by_basis) == {"share of gain", "net return"}
    assert all(2 <= one.lower_tsp <= one.dose_tsp <= one.upper_tsp <= 8 for one in by_basis.values())


@pytest.mark.parametrize("doses", [2, 3])
def test_few_doses_have_no_curve(tmp_path: Path, doses: int) -> None:
    """With three doses or fewer no curve is fitted, no dose between them is recommended, and the reason is given."""
    results = small_trial(tmp_path, sites=3, blocks=3, doses=doses)
    dose = results.responses["weight_g"].dose
    assert dose is not None
    assert dose.status == "not fitted"
    assert dose.groups == ()
    assert dose.not_fitted == "too_few_doses"
    assert len(dose.doses) == doses


def test_no_effect_recommends_nothing(tmp_path: Path) -> None:
    """Where the doses do not differ, no curve is followed."""

    def level(heads: pd.DataFrame) -> pd.DataFrame:
        weight = np.random.default_rng(11).normal(120, 10, len(heads)).round(0).astype(int)
        return heads.assign(weight_g=np.where(heads["outcome"] == "harvested", weight.astype(str), ""))

    results = small_trial(tmp_path, sites=3, blocks=2, doses=4, change=level)
    dose = results.responses["weight_g"].dose
    assert dose is not None
    (group,) = dose.groups
    assert group.p > 0.05
    assert group.recommended == ()


def test_doses_read_off_a_curve_by_hand() -> None:
    """A plateau from 5 is 95 % reached at 4.85; at 10 a unit and 20 a teaspoon, a slope of 3 pays and one of 1 not."""
    plateau = np.minimum(GRID, 5.0)[None]
    assert dose_reaching(plateau, GRID, 0.95) == pytest.approx([4.85], abs=0.026)
    assert dose_reaching(-plateau, GRID, 0.95) == pytest.approx([2.0])
    assert dose_of_greatest_return(3 * plateau, GRID, 10.0, 20.0) == pytest.approx([5.0])
    assert dose_of_greatest_return(plateau, GRID, 10.0, 20.0) == pytest.approx([2.0])


def test_weights_are_akaikes() -> None:
    """Equal likelihoods and parameters weigh alike; 2 more of the criterion weigh exp(-1) of it (by hand)."""

    def fit(curve: str, criterion: float) -> CurveFit:
        return CurveFit(curve, None, None, None, False, pd.Series([1.0, 2]), pd.Series([1.0]), criterion)  # type: ignore[arg-type]

    weights = akaike_weights([fit("linear", 10.0), fit("quadratic", 12.0)], 50)
    assert weights["quadratic"] / weights["linear"] == pytest.approx(np.exp(-1))


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0, 300), min_size=4, max_size=4), st.floats(0.5, 60), st.floats(2, 200))
def test_no_dose_lies_outside_the_range(means: list[float], se: float, df: float) -> None:
    """Whatever the means, every drawn curve's dose lies within the range tried (property)."""
    found = DoseMeans(DOSES, np.array(means), se**2 * np.eye(4), df)
    curves = draw_curves(found, {"quadratic": 0.3, "linear-plateau": 0.3, "asymptotic": 0.4}, seed=1)
    doses = dose_reaching(curves.drawn, curves.grid, 0.95)
    assert DOSES[0] <= doses.min() <= doses.max() <= DOSES[-1]
    assert np.isfinite(curves.averaged).all()


def test_draws_repeat() -> None:
    """The same seed gives the same curves."""
    found = DoseMeans(DOSES, np.array([80.0, 110, 120, 124]), 9 * np.eye(4), 30.0)
    one, two = (draw_curves(found, {"quadratic": 0.5, "asymptotic": 0.5}, seed=4).drawn for _ in range(2))
    assert np.array_equal(one, two)
