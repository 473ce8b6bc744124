"""How closely a trial would place the recommended dose, for an assumed dose curve."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
from scipy.special import stdtrit

from trialkit.documents.plan import EffectPower
from trialkit.domain.arrays import FloatArray
from trialkit.domain.errors import WrongCall
from trialkit.planning.planned_power import Goal

FEWEST_DOSES = 3


@dataclass(frozen=True)
class AssumedDoseCurve:
    """Head weight by dose, ``a + gain (1 - exp(-rate d))`` (Mitscherlich's asymptotic curve).

    The defaults are common practice, no source.
    """

    gain_g: Annotated[float, "From no nutrient to ample, g."] = 100.0
    rate_per_tsp: Annotated[float, "By how much a teaspoon a bucket closes what is left of the gain."] = 0.45

    def __post_init__(self) -> None:
        if not (0 < self.gain_g < math.inf and 0 < self.rate_per_tsp < math.inf):
            raise WrongCall("A dose curve rises: give a gain and a rate above 0.")

    def dose_for(self, share: float) -> float:
        """Dose that reaches a share of the gain, teaspoons a bucket: ``-log(1 - share) / rate``."""
        return -math.log1p(-share) / self.rate_per_tsp

    def slopes(self, doses: FloatArray) -> FloatArray:
        """Derivatives of the curve by its floor, gain and rate at each dose, shape (doses, 3)."""
        left = np.exp(-self.rate_per_tsp * doses)
        return np.column_stack([np.ones_like(doses), 1 - left, self.gain_g * doses * left])


HIGHEST_SHARE = 0.75


def usual_curve(highest_tsp: float, share: float) -> AssumedDoseCurve:
    """Curve of a range of doses that was chosen well: the dose in question lies at three quarters of the highest.

    Common practice, no source. A range is chosen so as to hold the answer; where it does not, no number of buckets
    helps.

    The dose in question is that which reaches the share of the attainable gain.

    Examples
    --------
    >>> round(usual_curve(8.0, 0.95).dose_for(0.95), 9)
    6.0
    """
    return AssumedDoseCurve(rate_per_tsp=-math.log1p(-share) / (HIGHEST_SHARE * highest_tsp))


@dataclass(frozen=True)
class DosePrecision:
    """How closely the recommended dose would be known."""

    recommended_tsp: Annotated[float, "Dose that the assumed curve recommends."]
    half_width_tsp: Annotated[
        float, "Expected half-width of its interval, to first order; infinite with fewer than three doses."
    ]
    curve_told: Annotated[bool, "Whether there are enough doses (four or more) to tell a curve from a plateau."]


def dose_precision(
    effect: EffectPower, goal: Goal, doses_tsp: Sequence[float], curve: AssumedDoseCurve, share: float = 0.95
) -> DosePrecision:
    """Expected half-width of the recommended dose.

    The means of the doses have independent errors of variance v, which the effect's non-centrality gives away; the rate
    then has the least squares variance ``v (J'J)^-1`` and the dose ``-log(1 - share) / rate`` follows to first order
    (Seber & Wild 1989, Nonlinear Regression, ch. 2; from memory). The real interval is longer upwards than downwards.

    The effect is the main effect of the dose with equal numbers; the share, of the attainable gain, is what the
    recommendation is to reach.

    Raises
    ------
    WrongCall
        If the share is not between 0 and 1.
    """
    if not 0 < share < 1:
        raise WrongCall(f"The share of the gain is {share:g}: give a number between 0 and 1, such as 0.95.")
    doses = np.unique(np.asarray(doses_tsp, float))
    recommended = curve.dose_for(share)
    half_width = math.inf
    if len(doses) >= FEWEST_DOSES:
        slopes = curve.slopes(doses)
        variance = goal.margin_g**2 / 2 / effect.noncentrality  # lambda = (margin^2 / 2) / v in the margin's pattern
        rate_se = math.sqrt(variance * np.linalg.inv(slopes.T @ slopes)[2, 2])
        critical = float(stdtrit(effect.denominator_df, 1 - goal.level / 2))
        half_width = critical * recommended / curve.rate_per_tsp * rate_se
    return DosePrecision(recommended, half_width, len(doses) > FEWEST_DOSES)
