"""How closely a trial would place the recommended dose, for an assumed dose curve."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import stdtrit

from trialkit.documents.plan import DoseRow, EffectPower
from trialkit.domain.errors import WrongCall
from trialkit.planning.planned_power import Goal

FEWEST_DOSES = 3
"""Fewer cannot place a dose on a curve; these cannot tell one from a plateau."""
GAIN_G = 100.0
"""From no nutrient to ample (common practice, no source)."""
HIGHEST_SHARE = 0.75
"""Where the dose in question lies, of the highest tried, in a range that was chosen well (common practice, no source).
Where the range does not hold the answer, no number of buckets helps."""


def dose_precision(effect: EffectPower, goal: Goal, doses_tsp: Sequence[float], share: float = 0.95) -> DoseRow:
    """Expected half-width of the recommended dose: that which reaches a share of the attainable gain.

    Head weight by dose is taken as ``a + gain (1 - exp(-rate d))`` (Mitscherlich's asymptotic curve), at a rate that
    puts the dose at `HIGHEST_SHARE` of the highest. The means of the doses have independent errors of variance v, which
    the effect's non-centrality gives away; the rate then has the least squares variance ``v (J'J)^-1`` and the dose
    ``-log(1 - share) / rate`` follows to first order (Seber & Wild 1989, Nonlinear Regression, ch. 2; from memory). The
    real interval is longer upwards than downwards.

    The effect is the main effect of the dose with equal numbers; the doses are three or more.

    Raises
    ------
    WrongCall
        If the share is not between 0 and 1.
    """
    if not 0 < share < 1:
        raise WrongCall(f"The share of the gain is {share:g}: give a number between 0 and 1, such as 0.95.")
    doses = np.unique(np.asarray(doses_tsp, float))
    reached = -math.log1p(-share)
    rate = reached / (HIGHEST_SHARE * float(doses[-1]))
    recommended = reached / rate
    left = np.exp(-rate * doses)
    slopes = np.column_stack([np.ones_like(doses), 1 - left, GAIN_G * doses * left])  # by floor, gain and rate
    variance = goal.margin_g**2 / 2 / effect.noncentrality  # lambda = (margin^2 / 2) / v in the margin's pattern
    rate_se = math.sqrt(variance * np.linalg.inv(slopes.T @ slopes)[2, 2])
    critical = float(stdtrit(effect.denominator_df, 1 - goal.level / 2))
    half_width = critical * recommended / rate * rate_se
    return DoseRow(recommended, half_width, GAIN_G, share, len(doses) > FEWEST_DOSES)
