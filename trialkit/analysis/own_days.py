"""What a bucket's own heads tell of its mean day: the first of the two stages of days."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import ndtr

from trialkit.domain.arrays import FloatArray, IntArray

ROUNDING = 1 / 12
"""Variance of a day told to the whole day (Sheppard 1898, Proc. Lond. Math. Soc. 29, 353-380)."""
LEAST_TOLD = 1e-3
"""Of the precision that other buckets tell a bucket's mean with, below which its heads tell nothing."""
REACH, GRID = 8.0, 241
"""Standard deviations about what other buckets tell, and points among them."""
TINY = np.finfo(float).tiny


def own_days(heads: pd.DataFrame, days: FloatArray) -> pd.DataFrame:
    """Approximate by a normal what a bucket's heads tell of the mean that they scatter about.

    A bucket's mean is thought to be normal about what its treatment and garden let expect; bounds of its heads cut that
    down. The normal that would do the same to its mean and variance is what the heads tell (expectation propagation:
    Minka 2001, Proc. UAI 17, 362-369). Where every day is known, that is exactly the mean of the heads and its error.

    Parameters
    ----------
    heads : pandas.DataFrame
        ``bucket``, ``site``, ``treatment``, and ``lower`` and ``upper``, days, infinite where open.
    days : ndarray, shape (sets, heads)
        Completed between those.

    Returns
    -------
    pandas.DataFrame
        By bucket: ``days`` and ``days_se``; without the buckets whose heads tell nothing.

    Examples
    --------
    Two heads of one bucket were ready on days 38 and 40; two of another between days 38 and 44, and 44 and 50, which
    says less.

    >>> heads = pd.DataFrame({"bucket": ["a", "a", "b", "b"], "site": "s", "treatment": "t",
    ...                       "lower": [38.0, 40.0, 38.0, 44.0], "upper": [38.0, 40.0, 44.0, 50.0]})
    >>> own_days(heads, np.array([[38.0, 40.0, 43.0, 45.0]])).round(2)
            days  days_se
    bucket
    a       39.0     1.00
    b       44.0     1.28
    """
    bucket, names = pd.factorize(heads["bucket"], sort=True)
    sizes = np.bincount(bucket).astype(float)
    means = np.array([np.bincount(bucket, one) for one in days]) / sizes
    df = len(heads) - len(sizes)
    scatter = float(((days - means[:, bucket]) ** 2).sum(1).mean()) / df if df else 0.0
    scatter = max(scatter, ROUNDING)
    expected, variance = _expected(heads.groupby(bucket, sort=True)[["site", "treatment"]].first(), means)
    lower, upper = heads["lower"].to_numpy(float), heads["upper"].to_numpy(float)
    known = lower == upper
    count = np.bincount(bucket[known], minlength=len(sizes))
    total = np.bincount(bucket[known], upper[known], minlength=len(sizes))
    precision = 1 / variance + count / scatter
    middle = (expected / variance + total / scatter) / precision
    mean, left = _cut(middle, 1 / precision, bucket[~known], lower[~known], upper[~known], scatter)
    told = 1 / left - 1 / variance
    where = (mean / left - expected / variance) / np.maximum(told, TINY)
    found = pd.DataFrame(
        {"days": where, "days_se": np.maximum(told, TINY) ** -0.5}, index=pd.Index(names, name="bucket")
    )
    return found[told > LEAST_TOLD / variance]


def _expected(buckets: pd.DataFrame, means: FloatArray) -> tuple[FloatArray, float]:
    """What treatment and garden let expect of each bucket's mean, and how far buckets lie about that."""
    x = np.hstack([pd.get_dummies(buckets[name]).to_numpy(float) for name in ("site", "treatment")])
    fitted = x @ np.linalg.lstsq(x, means.T)[0]
    spare = len(x) - int(np.linalg.matrix_rank(x))
    away = (means.T - fitted) if spare else means.T - means.mean(1)
    variance = float((away**2).sum(0).mean()) / max(spare or len(x) - 1, 1)
    return np.asarray(fitted.mean(1)), max(variance, ROUNDING)


def _cut(
    middle: FloatArray, variance: FloatArray, bucket: IntArray, lower: FloatArray, upper: FloatArray, scatter: float
) -> tuple[FloatArray, FloatArray]:
    """Means and variances of buckets' means, normal before, once their heads are known to lie between bounds."""
    bounds, times = np.unique(np.column_stack([bucket, lower, upper]), axis=0, return_counts=True)
    which = bounds[:, 0].astype(np.intp)
    steps = np.linspace(-REACH, REACH, GRID)
    at = middle[:, None] + np.sqrt(variance)[:, None] * steps
    low, high = ((one[:, None] - at[which]) / np.sqrt(scatter) for one in bounds[:, 1:].T)
    # Chances far out on the right are told by those far out on the left.
    flip = low + high > 0
    chance = np.where(flip, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
    log_density = np.tile(-0.5 * steps**2, (len(middle), 1))
    np.add.at(log_density, which, times[:, None] * np.log(np.maximum(chance, TINY)))
    weight = np.exp(log_density - log_density.max(1, keepdims=True))
    weight /= weight.sum(1, keepdims=True)
    mean = (weight * at).sum(1)
    return mean, np.asarray((weight * (at - mean[:, None]) ** 2).sum(1))
