"""Step 7: families of comparisons between means."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtr, stdtrit

from trialkit.mixed.errors import MixedModelError
from trialkit.mixed.multivariate_t import largest_t
from trialkit.mixed.small_sample import SmallSample

FloatArray = NDArray[np.float64]
Family = Literal["all-pairs", "versus"]
Adjustment = Literal["tukey", "dunnett", "holm", "sidak", "none"]

ADJUSTMENTS: dict[str, tuple[Adjustment, ...]] = {
    "all-pairs": ("tukey", "holm", "sidak", "none"),
    "versus": ("dunnett", "holm", "sidak", "none"),
}


def all_pairs(levels: Sequence[str]) -> tuple[pd.Index, FloatArray]:
    """Index (first, second) and weights, shape (pairs, levels), of first less second."""
    pairs = list(combinations(range(len(levels)), 2))
    weights = np.zeros((len(pairs), len(levels)))
    for row, (first, second) in enumerate(pairs):
        weights[row, first], weights[row, second] = 1.0, -1.0
    index = pd.MultiIndex.from_tuples([(levels[i], levels[j]) for i, j in pairs], names=["first", "second"])
    return index, weights


def versus(levels: Sequence[str], reference: str) -> tuple[pd.Index, FloatArray]:
    """Index and weights, shape (levels - 1, levels), of each other level less the reference."""
    if reference not in levels:
        raise MixedModelError(f"{reference!r} is not among the levels: {', '.join(levels)}.")
    at = list(levels).index(reference)
    weights = np.delete(np.eye(len(levels)), at, axis=0)
    weights[:, at] = -1.0
    return pd.Index([level for level in levels if level != reference], name="level"), weights


def comparison_table(
    index: pd.Index, contrasts: FloatArray, small: SmallSample, adjust: Adjustment, levels: int, confidence: float
) -> pd.DataFrame:
    """Estimates with adjusted p values and simultaneous limits.

    Parameters
    ----------
    index : pandas.Index
        Names of the comparisons.
    contrasts : ndarray, shape (c, p)
        In the orthogonal basis.
    small : SmallSample
    adjust : {"tukey", "dunnett", "holm", "sidak", "none"}
        Tukey-Kramer; Dunnett by the exact multivariate t with the correlation of the fitted (Kenward-Roger)
        covariance and each comparison's own d.f.; Holm's limits are unadjusted, since Holm gives none.
    levels : int
        Number of means compared (the k of the studentized range).
    confidence : float
    """
    estimate, se, df = small.estimate(contrasts)[0], small.contrast_se(contrasts)[0], small.contrast_df(contrasts)[0]
    t = estimate / se
    correlation = (contrasts @ small.adjusted[0] @ contrasts.T) / np.outer(se, se)
    p, critical = _adjusted(adjust, np.abs(t), df, correlation, levels, confidence)
    return pd.DataFrame(
        {
            "estimate": estimate,
            "se": se,
            "df": df,
            "t": t,
            "p": p,
            "lower": estimate - critical * se,
            "upper": estimate + critical * se,
        },
        index=index,
    )


def _adjusted(
    adjust: Adjustment, t: FloatArray, df: FloatArray, correlation: FloatArray, levels: int, confidence: float
) -> tuple[FloatArray, FloatArray]:
    """Adjusted p values and critical values, each of shape (c,)."""
    raw = 2 * stdtr(df, -t)
    single = stdtrit(df, (1 + confidence) / 2)
    if adjust == "none":
        return raw, single
    if adjust == "tukey":
        return _tukey(t, df, levels, confidence)
    if adjust == "dunnett":
        largest = largest_t(correlation)
        p = np.array([1 - largest.probability(c, v) for c, v in zip(t, df, strict=True)])
        critical = {v: largest.quantile(confidence, v) for v in dict.fromkeys(np.round(df, 9))}
        return p, np.array([critical[v] for v in np.round(df, 9)])
    from statsmodels.stats.multitest import multipletests

    if adjust == "holm":
        return np.asarray(multipletests(raw, method="holm")[1]), single
    within = confidence ** (1 / len(t))
    return np.asarray(multipletests(raw, method="sidak")[1]), stdtrit(df, (1 + within) / 2)


def _tukey(t: FloatArray, df: FloatArray, levels: int, confidence: float) -> tuple[FloatArray, FloatArray]:
    from scipy.stats import studentized_range

    if levels == 2:  # the range of two is |t| sqrt(2)
        return 2 * stdtr(df, -t), stdtrit(df, (1 + confidence) / 2)
    rounded = np.round(df, 9)
    critical = {v: float(studentized_range.ppf(confidence, levels, v)) for v in dict.fromkeys(rounded)}
    p = studentized_range.sf(t * np.sqrt(2), levels, df)
    return np.asarray(p), np.array([critical[v] for v in rounded]) / np.sqrt(2)
