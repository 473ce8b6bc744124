"""Tests of what a model takes for granted, from special functions: loading scipy.stats would take half a second."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.polynomial.polynomial import polyval
from numpy.typing import NDArray
from scipy.special import fdtrc, ndtr, ndtri

FloatArray = NDArray[np.float64]

# Royston's (1995) polynomials: the two outermost coefficients in 1 / sqrt n; mean and log standard deviation of
# log(1 - W), in n up to 11 and in log n beyond.
OUTERMOST = (0.0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056)
SECOND = (0.0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633)
FEW_MEAN, FEW_LOG_SD = (0.5440, -0.39978, 0.025054, -6.714e-4), (1.3822, -0.77857, 0.062767, -0.0020322)
MANY_MEAN, MANY_LOG_SD = (-1.5861, -0.31082, -0.083751, 0.0038915), (-0.4803, -0.082676, 0.0030302)
FEW_LIMIT = (-2.273, 0.459)
MOST_FEW = 11


def shapiro_wilk_p(values: FloatArray) -> float:
    """P value of Shapiro & Wilk's test of normality, as Royston computes it (1995, Appl. Stat. 44, 547-551: AS R94).

    Parameters
    ----------
    values : ndarray, shape (n,)
        Three at the least, not all alike.

    Examples
    --------
    >>> round(shapiro_wilk_p(np.array([148.0, 154, 158, 160, 161, 162, 166, 170, 182, 195, 236])), 4)
    0.0067
    """
    x = np.sort(np.asarray(values, float))
    n = len(x)
    half = _coefficients(n)
    weights = np.concatenate([-half, np.zeros(n % 2), half[::-1]])
    centred = x - x.mean()
    left = 1 - float(weights @ centred) ** 2 / float(centred @ centred)
    if n == 3:
        return max(0.0, 6 / np.pi * (float(np.arcsin(np.sqrt(1 - left))) - np.pi / 3))
    log_left = float(np.log(max(left, np.finfo(float).tiny)))
    if n <= MOST_FEW:
        limit = float(polyval(n, FEW_LIMIT))
        if log_left >= limit:
            return 0.0
        score, mean, log_sd = -np.log(limit - log_left), polyval(n, FEW_MEAN), polyval(n, FEW_LOG_SD)
    else:
        score, mean, log_sd = log_left, polyval(np.log(n), MANY_MEAN), polyval(np.log(n), MANY_LOG_SD)
    return float(ndtr(-(score - mean) / np.exp(log_sd)))


def _coefficients(n: int) -> FloatArray:
    """Weights of the upper half, the outermost first, of a sum of squares of 1 over both halves."""
    if n == 3:
        return np.array([np.sqrt(0.5)])
    expected = -ndtri((np.arange(1, n // 2 + 1) - 0.375) / (n + 0.25))
    squares = 2 * float(expected @ expected)
    fitted = 2 if n > 5 else 1
    first = expected[:fitted] / np.sqrt(squares) + [polyval(1 / np.sqrt(n), c) for c in (OUTERMOST, SECOND)][:fitted]
    rest = np.sqrt((squares - 2 * (expected[:fitted] ** 2).sum()) / (1 - 2 * (first**2).sum()))
    return np.concatenate([first, expected[fitted:] / rest])


def levene_p(groups: Sequence[FloatArray]) -> float:
    """P value of Levene's test that groups spread alike, about medians (Brown & Forsythe 1974, JASA 69, 364-367).

    Missing where a group is empty, or where no group has more than one value.

    Examples
    --------
    >>> round(levene_p([np.array([1.0, 2, 3, 4, 5]), np.array([0.0, 5, 10, 15, 21])]), 4)
    0.0384
    """
    sizes = np.array([len(group) for group in groups])
    between, within = len(groups) - 1, int(sizes.sum()) - len(groups)
    if not sizes.all() or within < 1:
        return np.nan
    apart = [np.abs(group - np.median(group)) for group in groups]
    means = np.array([one.mean() for one in apart])
    overall = float(sizes @ means) / sizes.sum()
    left = sum(float(((one - mean) ** 2).sum()) for one, mean in zip(apart, means, strict=True))
    with np.errstate(divide="ignore", invalid="ignore"):
        f = np.divide(float(sizes @ (means - overall) ** 2) / between, left / within)
    return float(fdtrc(between, within, f))
