"""Tests of what a model takes for granted, from special functions: loading scipy.stats takes a third of a second."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.polynomial.polynomial import polyval
from scipy.special import fdtrc, ndtr, ndtri

from trialkit.domain.arrays import FloatArray

# Royston's (1995) polynomials: the two outermost weights in 1 / sqrt n; mean and log standard deviation of the score,
# in n up to 11 and in log n beyond.
OUTERMOST = (
    (0.0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056),
    (0.0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633),
)
FEW = ((0.5440, -0.39978, 0.025054, -6.714e-4), (1.3822, -0.77857, 0.062767, -0.0020322))
MANY = ((-1.5861, -0.31082, -0.083751, 0.0038915), (-0.4803, -0.082676, 0.0030302))
MOST_FEW, FEW_LIMIT = 11, (-2.273, 0.459)


def shapiro_wilk_p(values: FloatArray) -> float:
    """P value of Shapiro & Wilk's test of normality, as Royston computes it (1995, Appl. Stat. 44, 547-551: AS R94).

    Parameters
    ----------
    values : ndarray, shape (n,)
        Six at the least, not all alike.

    Examples
    --------
    >>> round(shapiro_wilk_p(np.array([148.0, 154, 158, 160, 161, 162, 166, 170, 182, 195, 236])), 4)
    0.0067
    """
    x, n = np.sort(values), len(values)
    expected = ndtri((np.arange(1, n + 1) - 0.375) / (n + 0.25))
    squares = float(expected @ expected)
    ends = expected[-2:] / np.sqrt(squares) + [polyval(n**-0.5, c) for c in reversed(OUTERMOST)]
    inner = expected[2:-2] * np.sqrt((1 - 2 * ends @ ends) / (squares - 2 * expected[-2:] @ expected[-2:]))
    centred = x - x.mean()
    w = (np.concatenate([-ends[::-1], inner, ends]) @ centred) ** 2 / (centred @ centred)
    log_left = np.log(np.maximum(1 - w, np.finfo(float).tiny))
    if n > MOST_FEW:
        score, (mean, log_sd) = log_left, (polyval(np.log(n), c) for c in MANY)
    else:
        limit = polyval(n, FEW_LIMIT)
        if log_left >= limit:
            return 0.0
        score, (mean, log_sd) = -np.log(limit - log_left), (polyval(n, c) for c in FEW)
    return float(ndtr((mean - score) / np.exp(log_sd)))


def levene_p(groups: Sequence[FloatArray]) -> float:
    """P value of Levene's test that groups spread alike, about medians (Brown & Forsythe 1974, JASA 69, 364-367).

    Missing where no group has more than one value.

    Examples
    --------
    >>> round(levene_p([np.array([1.0, 2, 3, 4, 5]), np.array([0.0, 5, 10, 15, 21])]), 4)
    0.0384
    """
    apart = [np.abs(group - np.median(group)) for group in groups]
    every, sizes = np.concatenate(apart), [len(one) for one in apart]
    within = every - np.repeat([one.mean() for one in apart], sizes)
    between = every - every.mean() - within
    numerator_df, denominator_df = len(groups) - 1, len(every) - len(groups)
    with np.errstate(divide="ignore", invalid="ignore"):
        f = np.divide(between @ between / numerator_df, within @ within / denominator_df)
    return float(fdtrc(numerator_df, denominator_df, f))
