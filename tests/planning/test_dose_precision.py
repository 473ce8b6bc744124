"""How closely a planned trial would place the recommended dose."""

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import curve_fit

from trialkit.documents.plan import EffectPower
from trialkit.domain.errors import WrongCall
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.dose_precision import GAIN_G, dose_precision
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
    rate = -math.log(0.05) / 6  # the recommended dose is three quarters of the highest
    found = dose_precision(effect, GOAL, DOSES)
    doses, sd = np.array(DOSES), math.sqrt((80 + 200 / 4) / 12)
    rng = np.random.default_rng(8)

    def mean(d: np.ndarray, a: float, gain: float, rate: float) -> np.ndarray:
        return a + gain * (1 - np.exp(-rate * d))

    rates = [
        curve_fit(mean, doses, mean(doses, 0, GAIN_G, rate) + rng.normal(0, sd / 10, 4), p0=(0, GAIN_G, rate))[0][2]
        for _ in range(2000)
    ]
    # A tenth of the error, where the first order holds.
    scatter = 10 * np.std(rates) * found.recommended_tsp / rate
    from scipy.special import stdtrit

    assert found.half_width_tsp == pytest.approx(stdtrit(effect.denominator_df, 0.975) * scatter, rel=0.06)


def test_more_blocks_place_the_dose_more_closely(plans: Any, assumptions: Assumptions) -> None:
    """Doubling the blocks, the interval shrinks."""
    few, many = (dose_precision(dose_effect(plans, assumptions, 2, b), GOAL, DOSES) for b in (2, 4))
    assert many.half_width_tsp < few.half_width_tsp
    assert few.curve_told


def test_three_doses_tell_no_curve(plans: Any, assumptions: Assumptions) -> None:
    """Three doses place a dose on a curve, but cannot tell it from a plateau."""
    three = dose_precision(dose_effect(plans, assumptions, 2, 3), GOAL, [2.0, 4.0, 8.0])
    assert three.half_width_tsp < math.inf
    assert not three.curve_told


def test_all_of_the_gain_is_refused(plans: Any, assumptions: Assumptions) -> None:
    """No dose reaches all of the gain of a curve that levels off."""
    with pytest.raises(WrongCall):
        dose_precision(dose_effect(plans, assumptions, 2, 3), GOAL, DOSES, share=1.0)


@pytest.mark.parametrize("share", [0.8, 0.95, 0.99])
def test_the_dose_lies_within_the_range(plans: Any, assumptions: Assumptions, share: float) -> None:
    """The dose in question stands at three quarters of the highest, whatever share of the gain it is to reach."""
    assert dose_precision(dose_effect(plans, assumptions, 2, 3), GOAL, DOSES, share).recommended_tsp == pytest.approx(6)
