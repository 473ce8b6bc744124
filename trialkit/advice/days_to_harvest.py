"""Days to harvest of what could be grown: the model of weights, asked about days.

Days come in stages (Piepho, Mohring, Schulz-Streeck & Ogutu 2012, Biometrical J. 54, 844-860): first what a bucket's
own heads tell of its mean day, with the error of that alone; then all buckets of all trials in one model. The error of
the first stage leaves out whatever buckets share, so that nothing is counted twice: treatments, gardens and seasons,
and how far like buckets lie apart, are of the second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.special import ndtr

from trialkit.advice.gathering import BucketRecords, fewer_trials, gather
from trialkit.advice.priors import DAYS, SLOPE_DAYS
from trialkit.advice.terms import Points
from trialkit.advice.weights import Weights, weigh
from trialkit.domain.arrays import BoolArray, FloatArray, IntArray

POINTS = 128
"""Of the last round of the integration: days move a decision little, and may take little time."""
STEPS = 4
"""In which precisions are told, to a factor of two: records of like precision are gathered together."""
HALVINGS = 60
"""Of the range in which a quantile lies."""


def days_records(buckets: pd.DataFrame, gardens: pd.DataFrame) -> BucketRecords | None:
    """Days of buckets as records for the model; None where no bucket tells any.

    Parameters
    ----------
    buckets : pandas.DataFrame
        As `BucketRecords` has them, with ``days``, a bucket's mean by its own heads, and ``days_se``, what that errs
        by; missing where it tells nothing. Where a row is the mean of many buckets, ``known_variance``, days squared.
    gardens : pandas.DataFrame
        As `BucketRecords` has them.
    """
    told = buckets[buckets["days"].notna() & (buckets["days_se"] > 0)]
    if told.empty:
        return None
    # A bucket counts as the mean of so many heads that vary by a day squared.
    heads = _in_steps(told["days_se"].to_numpy(float) ** -2)
    rows = told.assign(weight_g=told["days"], usable=heads, recorded=heads, weighed=heads)
    if "known_variance" in rows:
        rows["known_variance"] = _in_steps(rows["known_variance"].to_numpy(float))
    return BucketRecords(rows, gardens, 1.0)


def _in_steps(values: FloatArray) -> FloatArray:
    return np.asarray(2.0 ** (np.round(np.log2(values) * STEPS) / STEPS))


@dataclass(frozen=True)
class DaysToHarvest:
    """Days to harvest of candidates: a mixture of Gaussians over the points of the standard deviations.

    Attributes
    ----------
    weights : Weights
        In days.
    known : ndarray of bool, shape (n,)
        Candidates of which the records tell: their cultivar and acid have days, and their dose lies within those tried.
    points : Points
        Those that are known.
    """

    weights: Weights
    known: BoolArray
    points: Points

    @cached_property
    def mean(self) -> FloatArray:
        """Expected days of each candidate, shape (n,); NaN where not known."""
        columns, _ = self.weights.model.gathered.asked(self.points)
        found = np.full(len(self.known), np.nan)
        found[self.known] = self.weights.points.weight @ self.weights.effects.mean @ columns.T
        return found

    def later(self, one: int, other: int, confidence: float) -> tuple[float, float, float] | None:
        """Days of a candidate beyond another's on average over gardens and seasons, with limits; None if not known."""
        if not (self.known[one] and self.known[other]):
            return None
        mean, variance = self._at(np.array([one, other]), np.array([1.0, -1.0]))
        return self._told(mean, variance, confidence)

    def expected(self, one: int, confidence: float) -> tuple[float, float, float, float, float] | None:
        """Days of a candidate: mean, limits on average over gardens and seasons, limits in a new one; or None."""
        if not self.known[one]:
            return None
        mean, variance = self._at(np.array([one]), np.ones(1))
        asked = self._points_of(np.array([one]))
        more = self.weights.elsewhere(asked, 0)[0, :, 0] + self.weights.levels_elsewhere
        return *self._told(mean, variance, confidence), *self._told(mean, variance + more, confidence)[1:]

    def _points_of(self, candidates: IntArray) -> Points:
        return self.points.take(np.cumsum(self.known)[candidates] - 1)

    def _at(self, candidates: IntArray, times: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and variance of a sum of candidates' days at each point of the standard deviations."""
        at = self.weights.at(self._points_of(candidates))
        return at.mean @ times, ((at.half @ times) ** 2).sum(1) + ((at.alone * times) ** 2).sum(1)

    def _told(self, mean: FloatArray, variance: FloatArray, confidence: float) -> tuple[float, float, float]:
        weight, sd = self.weights.points.weight, np.sqrt(variance)
        limits = [_quantile(chance, mean, sd, weight) for chance in ((1 - confidence) / 2, (1 + confidence) / 2)]
        return float(weight @ mean), limits[0], limits[1]


def days_to_harvest(
    records: BucketRecords, cultivars: Sequence[str], acidifiers: Sequence[str], doses: FloatArray, most_learnt: int
) -> DaysToHarvest:
    """Find the days of candidates.

    Parameters
    ----------
    records : BucketRecords
        As from `days_records`.
    cultivars, acidifiers : sequence of str, n each
        Of the candidates; "" where they play no part.
    doses : ndarray, shape (n,)
        Their strengths; 0 where dose plays no part.
    most_learnt : int
        Trials from which standard deviations are learnt.

    Raises
    ------
    NotComputed
        If the records leave the sizes of variation too open.
    """
    rows = records.buckets
    tried = rows["dose"].dropna().to_numpy(float)
    low, high = (tried.min() * (1 - 1e-9), tried.max() * (1 + 1e-9)) if len(tried) else (-np.inf, np.inf)
    known = np.isin(cultivars, rows["cultivar"].unique()) & np.isin(acidifiers, rows["acidifier"].unique())
    known &= (low <= doses) & (doses <= high)
    asked = np.unique(doses[known]).tolist()
    gathered = gather(records, asked)
    few = fewer_trials(records, most_learnt)
    points = gathered.levels.points(
        [name for name, is_known in zip(cultivars, known, strict=True) if is_known],
        [name for name, is_known in zip(acidifiers, known, strict=True) if is_known],
        doses[known] if gathered.terms.scale else np.zeros(known.sum()),
    )
    learnt = None if few is None else gather(few, gathered.terms.doses.tolist())
    return DaysToHarvest(weigh(gathered, learnt, DAYS, SLOPE_DAYS, POINTS), known, points)


def _quantile(chance: float, mean: FloatArray, sd: FloatArray, weight: FloatArray) -> float:
    """Of a mixture of normals, by halving."""
    low, high = float((mean - 10 * sd).min()), float((mean + 10 * sd).max())
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        below = float(weight @ ndtr((middle - mean) / np.maximum(sd, 1e-12))) < chance
        low, high = (middle, high) if below else (low, middle)
    return (low + high) / 2
