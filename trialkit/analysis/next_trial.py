"""How large the next trial must be to settle what this one did not."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from trialkit.documents.findings import NextTrial

FloatArray = NDArray[np.float64]

POWER = 0.8
"""Four of five such trials settle it (common practice, no source)."""
MOST_TIMES = 50.0


def next_trial(
    average: FloatArray, garden: FloatArray, margin: float, sure: float, buckets: int, gardens: int
) -> NextTrial | None:
    """Size of a trial like this one, in as many times its gardens, that would settle whether a treatment gains.

    If the gain is g and a trial k times as large has standard error s / sqrt(k), the chance of gaining the margin m in
    a new garden reaches the one asked for where ``d - m >= z_sure sqrt(s^2 / k + u^2)`` with d the estimate and u the
    spread of the gain among gardens. For d to be so large in four of five trials, ``g - z_power s / sqrt(k)`` must be.
    Normal approximations throughout; g is what this trial found or, where that is less, twice the margin.

    Parameters
    ----------
    average, garden : ndarray, shape (draws,)
        Draws of the gain on average over gardens and at a new one, g per transplanted head.
    margin : float
        Gain that matters, g per transplanted head.
    sure : float
        Chance that the protocol asks for.
    buckets, gardens : int
        Of the treatment and the current practice in this trial.

    Returns
    -------
    NextTrial or None
        None where gardens differ so much that no number of buckets would do, or where there is no gain to look for.
    """
    low, high = np.quantile(average, [ndtr(-1.0), ndtr(1.0)])
    error = float(high - low) / 2
    luck = math.sqrt(max(float(garden.var() - average.var()), 0.0))
    gain = max(float(average.mean()), 2 * margin)
    if gain <= margin or not error > 0:
        return None

    def short(times: float) -> float:
        s = error / math.sqrt(times)
        return float(margin + ndtri(sure) * math.hypot(s, luck) - (gain - ndtri(POWER) * s))

    if short(MOST_TIMES) > 0:
        return None
    times = 1.0 if short(1.0) <= 0 else float(brentq(short, 1.0, MOST_TIMES))
    return NextTrial(math.ceil(times * buckets - 1e-9), math.ceil(times * gardens - 1e-9), gain, POWER)
