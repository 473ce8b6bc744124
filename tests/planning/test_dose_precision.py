"""How closely a planned trial would place the recommended dose."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import curve_fit

from trialkit.documents.plan import EffectPower
from trialkit.domain.errors import WrongCall
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.dose_precision import AssumedDoseCurve, dose_precision, usual_curve
from trialkit.planning.exact import expected_power
from trialkit.planning.planned_power import Goal

GOAL = Goal(10.0, {"cultivar": "Fenleaf", "dose_tsp": 4.0})
DOSES = [2.0, 4.0, 6.0, 8.0]


def dose_effect(plans: Any, assumptions: Assumptions, sites: int, blocks: int) -> EffectPower:
    """The dose in a factorial of blocks."""
    power = expected_power(plans.blocks(sites, blocks, 4, plans.factorial), assumptions, GOAL)
    return next(effect for effect in power.effects if effect.effect == "dose_tsp")


def test_half_width_against_fitted_curves(plans: Any, assumptions: Assumptions) -> None:
    """Curves fitted to 2000 sets of simulated dose means scatter as foreseen, within 6 % (four standard errors).

    The error of a dose mean is of variance (s_b + s / m) / 12 in six blocks of two cultivars.
    """
    effect = dose_effect(plans, assumptions, 2, 3)
    curve = AssumedDoseCurve(gain_g=150.0, rate_per_tsp=0.45)
    found = dose_precision(effect, GOAL, DOSES, curve)
    doses, sd = np.array(DOSES), math.sqrt((80 + 200 / 4) / 12)
    rng = np.random.default_rng(8)

    def mean(d: np.ndarray, a: float, gain: float, rate: float) -> np.ndarray:
        return a + gain * (1 - np.exp(-rate * d))

    rates = [
        curve_fit(mean, doses, mean(doses, 0, 150, 0.45) + rng.normal(0, sd / 10, 4), p0=(0, 150, 0.45))[0][2]
        for _ in range(2000)
    ]
    # A tenth of the error, where the first order holds.
    scatter = 10 * np.std(rates) * found.recommended_tsp / 0.45
    from scipy.special import stdtrit

    assert found.half_width_tsp == pytest.approx(stdtrit(effect.denominator_df, 0.975) * scatter, rel=0.06)


def test_recommended_dose_reaches_its_share() -> None:
    """At the recommended dose the assumed curve has 95 % of the gain."""
    curve = AssumedDoseCurve(gain_g=80.0, rate_per_tsp=0.6)
    assert 1 - math.exp(-0.6 * curve.dose_for(0.95)) == pytest.approx(0.95)


def test_more_blocks_place_the_dose_more_closely(plans: Any, assumptions: Assumptions) -> None:
    """Doubling the blocks, the interval shrinks."""
    few, many = (dose_precision(dose_effect(plans, assumptions, 2, b), GOAL, DOSES, AssumedDoseCurve()) for b in (2, 4))
    assert many.half_width_tsp < few.half_width_tsp
    assert few.curve_told


def test_two_doses_place_nothing(plans: Any, assumptions: Assumptions) -> None:
    """Two doses cannot place a dose on a curve; three can, but not tell it from a plateau."""
    effect = dose_effect(plans, assumptions, 2, 3)
    assert dose_precision(effect, GOAL, [2.0, 8.0], AssumedDoseCurve()).half_width_tsp == math.inf
    three = dose_precision(effect, GOAL, [2.0, 4.0, 8.0], AssumedDoseCurve())
    assert three.half_width_tsp < math.inf
    assert not three.curve_told


def test_impossible_curves_are_refused(plans: Any, assumptions: Assumptions) -> None:
    """A curve that does not rise, or a share of all of the gain, is a wrong call."""
    with pytest.raises(WrongCall):
        AssumedDoseCurve(gain_g=0.0)
    with pytest.raises(WrongCall):
        dose_precision(dose_effect(plans, assumptions, 2, 3), GOAL, DOSES, AssumedDoseCurve(), share=1.0)


@pytest.mark.parametrize("share", [0.8, 0.95, 0.99])
def test_the_usual_curve_has_its_dose_within_the_range(share: float) -> None:
    """The dose in question stands at three quarters of the highest, whatever share of the gain it is to reach."""
    assert usual_curve(10.0, share).dose_for(share) == pytest.approx(7.5)
