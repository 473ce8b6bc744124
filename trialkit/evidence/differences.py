"""What one treatment gained over another in each trial, how that adds up season by season, and without each trial."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtrit

from trialkit.documents.pooled import CombinedGain, PartialGain, TrialGain, TrialGains
from trialkit.domain.rounding import TIE_DECIMALS
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.evidence.pooling import LEVELS, Pool
from trialkit.stats.meta import MetaAnalysis, combine

FloatArray = NDArray[np.float64]

MOST_STEPS = 40
"""As many as a reader looks through (common practice, no source)."""


def garden_gains(pooled: Pool, label: str) -> pd.DataFrame:
    """Difference of a treatment and the current practice at each garden that has both.

    Returns
    -------
    pandas.DataFrame
        ``trial``, ``site``, ``gain`` and its sampling ``variance`` by the pooled variance of buckets; index is the
        garden.
    """
    pair = pooled.rows[pooled.rows["treatment"].isin([label, pooled.current])]
    cells = pair.groupby(["trial", "site", "treatment"], observed=True)["yield_g"].agg(["mean", "size"])
    table = cells.unstack("treatment").dropna()
    if table.empty:
        return pd.DataFrame({"trial": [], "site": [], "gain": [], "variance": []})
    residual = float(pooled.fit.variances["residual"])
    mean, size = table["mean"], table["size"]
    found = pd.DataFrame(
        {
            "gain": mean[label] - mean[pooled.current],
            "variance": residual * (1 / size[label] + 1 / size[pooled.current]),
        }
    )
    return found.reset_index()


def combined_gains(found: pd.DataFrame, pooled: Pool, label: str, by: Sequence[str]) -> pd.DataFrame:
    """Average gardens' gains in each trial (and class), gardens counting by what is known of each.

    Returns
    -------
    pandas.DataFrame
        The columns `by`, ``gain``, its ``variance`` (of buckets and of gardens) and ``gardens``.
    """
    ours, practice = pooled.treatments.loc[label], pooled.treatments.loc[pooled.current]
    among = 2 * sum(
        max(float(pooled.fit.variances.get(f"trial_site:{name}", 0.0)), 0.0)
        for name in LEVELS
        if ours[name] != practice[name]
    )
    weight = 1 / (found["variance"] + among)
    each = found.assign(weight=weight, weighted=weight * found["gain"])
    sums = each.groupby(list(by), observed=True, sort=True).agg(
        weight=("weight", "sum"), weighted=("weighted", "sum"), gardens=("gain", "size")
    )
    sums["gain"], sums["variance"] = sums["weighted"] / sums["weight"], 1 / sums["weight"]
    return sums[["gain", "variance", "gardens"]].reset_index()


def trial_gains(gains: Sequence[TrialGain], df: float, confidence: float) -> TrialGains:
    """Add gains up in their order, and leave each out.

    Parameters
    ----------
    gains : sequence of TrialGain
        In the order of seasons.
    df : float
        Degrees of freedom of a single trial's error.
    confidence : float
    """
    k = len(gains)
    last = np.arange(k) if k <= MOST_STEPS else np.linspace(0, k - 1, MOST_STEPS).round().astype(int)
    cumulative = tuple(_step(gains[i].name, gains[i].season, gains[: i + 1], df, confidence) for i in last)
    everything = _summary(_combined(gains, profile=True), df, confidence) if k > 1 else None
    leave_one_out: tuple[PartialGain, ...] = ()
    if everything is not None and k >= 3:
        leave_one_out = tuple(
            _step(gains[i].name, gains[i].season, [*gains[:i], *gains[i + 1 :]], df, confidence)
            for i in _most_influential(gains, everything)
        )
    return TrialGains(tuple(gains), everything, cumulative, leave_one_out)


def _most_influential(gains: Sequence[TrialGain], everything: CombinedGain) -> NDArray[np.intp]:
    """Which trials' absence moves the estimate the most, tau2 kept: at most `MOST_STEPS`, in the order of seasons."""
    weight = 1 / (np.array([one.se**2 for one in gains]) + everything.tau_g**2)
    left = np.array([one.gain for one in gains]) - everything.gain
    moved = np.abs(weight * left) / (weight.sum() - weight)
    return np.sort(np.argsort(-moved.round(TIE_DECIMALS), kind="stable")[:MOST_STEPS])


def _combined(gains: Sequence[TrialGain], *, profile: bool = False) -> MetaAnalysis:
    """By meta-analysis; of two the mean alone, as if seasons did not differ: two cannot tell how much they do."""
    gain, variance = np.array([one.gain for one in gains]), np.array([one.se**2 for one in gains])
    return combine(gain, variance, between=len(gains) >= FEWEST_RANDOM_LEVELS, profile=profile)


def _limits(found: MetaAnalysis, df: float, confidence: float) -> tuple[float, float]:
    few = found.studies < FEWEST_RANDOM_LEVELS
    return found.common(df, confidence) if few else found.interval(confidence)


def _summary(found: MetaAnalysis, df: float, confidence: float) -> CombinedGain:
    lower, upper = _limits(found, df, confidence)
    new = found.prediction(confidence) or (None, None)
    few = found.studies < FEWEST_RANDOM_LEVELS
    return CombinedGain(
        gain=float(found.estimates[0]),
        se=float((found.model_se if few else found.careful_se)[0]),
        lower=lower,
        upper=upper,
        new_lower=new[0],
        new_upper=new[1],
        tau_g=math.sqrt(found.tau2),
        tau_lower_g=math.sqrt(found.tau2_lower),
        tau_upper_g=math.sqrt(found.tau2_upper),
        i2=found.i2,
        q=found.q,
        trials=found.studies,
    )


def _step(name: str, season: str, gains: Sequence[TrialGain], df: float, confidence: float) -> PartialGain:
    if len(gains) == 1:
        half = float(stdtrit(df, (1 + confidence) / 2)) * gains[0].se
        return PartialGain(name, season, 1, gains[0].gain, gains[0].gain - half, gains[0].gain + half)
    found = _combined(gains)
    lower, upper = _limits(found, df, confidence)
    return PartialGain(name, season, len(gains), float(found.estimates[0]), lower, upper)
