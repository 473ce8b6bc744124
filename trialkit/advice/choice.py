"""From what the records say to what to grow: the value of every candidate, the choice, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from trialkit.advice.shares import Shares
from trialkit.advice.terms import Points
from trialkit.advice.weights import Weights
from trialkit.domain.arrays import BoolArray, FloatArray, IntArray

CHANGE_COST_G = 3.0
"""Gain that a change of the handout must be worth before it is made, g a planted head (common practice, no source)."""
SAME_VALUE_G = 1.0
"""Doses whose values differ by less are alike, and the smaller is taken."""
DRAWS = 4096
NEAR_ZERO = 1e-9


@dataclass(frozen=True)
class Value:
    """What a planted head is worth, in the decision's unit.

    Attributes
    ----------
    per_gram : float
        Worth of a gram of usable head.
    cost : ndarray, shape (n,)
        Of a planted head of each candidate.
    """

    per_gram: float
    cost: FloatArray

    @classmethod
    def in_grams(cls, candidates: int) -> Value:
        """Grams alone."""
        return cls(1.0, np.zeros(candidates))


@dataclass(frozen=True)
class Prospects:
    """What each candidate gives a planted head, on average over gardens and seasons and in a new garden.

    Attributes
    ----------
    value : ndarray, shape (n,)
        Expected, in the decision's unit.
    weight_g, share, yield_g : ndarray, shape (n,)
        Expected weight of a usable head, usable share, and weight of a planted head.
    gain, gain_sd : ndarray, shape (n,)
        Expected value over the practice's, and its standard deviation.
    better, better_here : ndarray, shape (n,)
        Chance of more value than the practice: on average over gardens and seasons; in a new garden and season.
    draws : ndarray, shape (draws, n)
        Equally likely values on average over gardens and seasons.
    """

    value: FloatArray
    weight_g: FloatArray
    share: FloatArray
    yield_g: FloatArray
    gain: FloatArray
    gain_sd: FloatArray
    better: FloatArray
    better_here: FloatArray
    draws: FloatArray


def prospects(
    weights: Weights,
    shares: Shares,
    asked: Points,
    practice: int,
    value: Value,
    seed: int,
    garden: IntArray | None = None,
) -> Prospects:
    """Work out what each candidate gives.

    Parameters
    ----------
    weights : Weights
    shares : Shares
    asked : Points
        Candidates, the practice among them.
    practice : int
        Its place.
    value : Value
    seed : int
        Of the draws.
    garden : ndarray of int, optional
        Place among the returning gardens, where one of these is asked about.
    """
    mean, half = weights.at(asked, garden)
    share, share_covariance = shares.at(asked, garden)
    pi = weights.points.weight
    scaled = half * share
    centre = mean * share * value.per_gram - value.cost
    expected = pi @ centre
    away = np.arange(len(asked)) == practice
    # Value less the practice's, the product of share and weight taken as normal about its mean.
    contrast = np.eye(len(asked)) - away
    of_shares = mean[:, :, None] * share_covariance * mean[:, None, :]
    within = np.diagonal(contrast @ of_shares @ contrast.T, axis1=1, axis2=2) + (
        (scaled - scaled[..., [practice]]) ** 2
    ).sum(1)
    elsewhere = share[:, None] * weights.elsewhere(asked) * share
    more = _of_differences(elsewhere, practice) + _of_differences(
        mean[:, :, None] * shares.elsewhere(asked) * mean[:, None, :], practice
    )
    gains = centre - centre[:, [practice]]
    per_gram = value.per_gram
    return Prospects(
        value=expected,
        weight_g=pi @ mean,
        share=share,
        yield_g=pi @ mean * share,
        gain=expected - expected[practice],
        gain_sd=np.sqrt(pi @ (within * per_gram**2 + (gains - pi @ gains) ** 2)),
        better=np.where(away, 0.5, _chance(gains, within * per_gram**2, pi)),
        better_here=np.where(away, 0.5, _chance(gains, (within + more) * per_gram**2, pi)),
        draws=_draws(weights, mean, half, share, share_covariance, value, seed),
    )


def _of_differences(covariance: FloatArray, practice: int) -> FloatArray:
    own = np.diagonal(covariance, axis1=1, axis2=2)
    return np.asarray(own + own[:, [practice]] - 2 * covariance[:, :, practice])


def _chance(gain: FloatArray, variance: FloatArray, weight: FloatArray) -> FloatArray:
    return np.asarray(weight @ ndtr(gain / np.sqrt(np.maximum(variance, NEAR_ZERO))))


def _draws(
    weights: Weights,
    mean: FloatArray,
    half: FloatArray,
    share: FloatArray,
    covariance: FloatArray,
    value: Value,
    seed: int,
) -> FloatArray:
    """Values drawn: the points in proportion to their weights, Gaussian effects in pairs that balance."""
    pi = weights.points.weight
    rng = np.random.Generator(np.random.PCG64(seed))
    bounds = np.round(np.cumsum(pi) * DRAWS / 2).astype(int)
    root = np.linalg.svd(covariance, hermitian=True)
    of_shares = root[0] * np.sqrt(root[1])
    drawn = []
    for at, middle, factor in zip(np.diff(np.r_[0, bounds]), mean, half, strict=True):
        normal = rng.standard_normal((at, factor.shape[0])) @ factor
        shaken = rng.standard_normal((at, of_shares.shape[1])) @ of_shares.T
        drawn += [(middle + s * normal) * np.clip(share + s * shaken, 0.0, 1.0) for s in (1.0, -1.0)]
    return np.concatenate(drawn) * value.per_gram - value.cost


@dataclass(frozen=True)
class Chosen:
    """The choice, and how sure it is.

    Attributes
    ----------
    at : int
        Place of what to grow now.
    best : int
        Place of the greatest expected value, whatever a change costs.
    changed, settled : bool
        Whether it is another than the practice, and whether it is sure enough to lie within the margin of the best.
    near_best : ndarray, shape (n,)
        Chance of lying within the margin of the best of all that could be chosen.
    regret : ndarray, shape (n,)
        Value given up on average against whichever is truly best.
    """

    at: int
    best: int
    changed: bool
    settled: bool
    near_best: FloatArray
    regret: FloatArray


def choose(
    found: Prospects,
    practice: int,
    alike: BoolArray,
    order: FloatArray,
    margin: float,
    sure: float,
    change_cost: float = CHANGE_COST_G,
    same: float = SAME_VALUE_G,
) -> Chosen:
    """Choose what to grow now.

    Parameters
    ----------
    found : Prospects
    practice : int
    alike : ndarray of bool, shape (n, n)
        Candidates that differ in dose only.
    order : ndarray, shape (n,)
        Dose.
    margin, change_cost, same : float
        In the decision's unit: how near the best is near enough; what a change costs; which doses are alike.
    sure : float
        Chance asked for.
    """
    value = found.value
    best = int(value.argmax())
    near = alike[best] & (value >= value[best] - same)
    best = int(np.where(near, order, np.inf).argmin())
    at = best if value[best] - value[practice] > change_cost else practice
    top = found.draws.max(1)
    near_best = (found.draws >= top[:, None] - margin).mean(0)
    regret = (top[:, None] - found.draws).mean(0)
    return Chosen(at, best, at != practice, bool(near_best[at] >= sure), near_best, regret)
