"""From what the records say to what to grow: the value of every candidate, the choice, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from trialkit.advice.terms import Points
from trialkit.advice.usable_shares import Shares
from trialkit.advice.weights import Weights, with_one
from trialkit.domain.arrays import BoolArray, FloatArray, IntArray

DRAWS = 4096
NEAR_ZERO, SLACK = 1e-9, 1e-10


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
    yields : ndarray, shape (draws, n)
        Equally likely weights of a planted head, on average over gardens and seasons, g.
    draws : ndarray, shape (draws, n)
        Their values.
    practice : int
        Place of the practice.
    """

    value: FloatArray
    weight_g: FloatArray
    share: FloatArray
    yield_g: FloatArray
    gain: FloatArray
    gain_sd: FloatArray
    better: FloatArray
    better_here: FloatArray
    yields: FloatArray
    draws: FloatArray
    practice: int

    def yield_gains(self, at: int) -> FloatArray:
        """Draws of a candidate's yield less the practice's, g a planted head."""
        return np.asarray(self.yields[:, at] - self.yields[:, self.practice])


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
    share, of_shares = shares.at(asked, garden)
    here, there = with_one(of_shares, practice), with_one(shares.elsewhere(asked, share), practice)
    elsewhere = weights.elsewhere(asked, practice)
    shaken = _factor(of_shares)
    pi, rng = weights.points.weight, np.random.Generator(np.random.PCG64(seed))
    counts = np.diff(np.r_[0, np.round(np.cumsum(pi) * DRAWS / 2).astype(int)])
    at = weights.at(asked, garden)
    mean = at.mean
    scaled, alone = at.half * share, (at.alone * share) ** 2
    alone = np.where(np.arange(len(share)) == practice, 0.0, alone + alone[:, [practice]])
    within = ((scaled - scaled[..., [practice]]) ** 2).sum(1) + alone + _of_difference(here, mean, practice)
    more = _of_difference(elsewhere, share, practice) + _of_difference(there, mean, practice)
    # All draws come before they are shared out: where rounding gives one to a neighbour, the others stay as they are.
    n, turned = DRAWS // 2, _factor(at.half.swapaxes(1, 2) @ at.half)
    normals, aparts, moves = rng.standard_normal((3, n, len(share)))
    drawn = []
    for own, half, apart, some in zip(
        mean, turned, at.alone, np.split(np.arange(n), np.cumsum(counts)[:-1]), strict=True
    ):
        normal, moved = normals[some] @ half + aparts[some] * apart, moves[some] @ shaken
        drawn += [(own + s * normal) * np.clip(share + s * moved, 0.0, 1.0) for s in (1.0, -1.0)]
    yields = np.concatenate(drawn)
    centre = mean * share * value.per_gram - value.cost
    gains, expected = centre - centre[:, [practice]], pi @ centre
    variance, wider = (part * value.per_gram**2 for part in (within, within + more))
    return Prospects(
        value=expected,
        weight_g=pi @ mean,
        share=share,
        yield_g=pi @ mean * share,
        gain=expected - expected[practice],
        gain_sd=np.sqrt(pi @ (np.maximum(variance, 0.0) + (gains - pi @ gains) ** 2)),
        better=_chance(gains, variance, pi),
        better_here=_chance(gains, wider, pi),
        yields=yields,
        draws=yields * value.per_gram - value.cost,
        practice=practice,
    )


def _factor(covariance: FloatArray) -> FloatArray:
    """Factor covariances, the last two axes: what normal draws are multiplied with.

    A Cholesky factor is the only one of its kind: rounding does not turn it, and so the draws, as it does vectors of
    equal eigenvalues, of which a covariance may have been put together. So all processors draw the same.
    """
    size = np.maximum(np.trace(covariance, axis1=-2, axis2=-1), SLACK)[..., None, None] * SLACK
    return np.asarray(np.linalg.cholesky(covariance + np.eye(covariance.shape[-1]) * size)).swapaxes(-1, -2)


def _of_difference(covariance: FloatArray, times: FloatArray, practice: int) -> FloatArray:
    """Variance of each less the practice, where each is so many times what the covariance (`with_one`) is of."""
    own, across, one = covariance
    of_practice = times[..., [practice]]
    return np.asarray(own * times**2 - 2 * across * times * of_practice + one * of_practice**2)


def _chance(gain: FloatArray, variance: FloatArray, weight: FloatArray) -> FloatArray:
    """Chance of a gain; a half of the practice itself."""
    return np.asarray(weight @ ndtr(gain / np.sqrt(np.maximum(variance, NEAR_ZERO))))


def expected_value(weights: Weights, shares: Shares, asked: Points, value: Value) -> FloatArray:
    """Expected value of each candidate, shape (n,): that of `prospects`, and nothing else."""
    columns, _ = weights.model.gathered.asked(asked)
    mean = weights.points.weight @ weights.effects.mean @ columns.T
    return np.asarray(mean * shares.at(asked)[0] * value.per_gram - value.cost)


def grow_now(
    value: FloatArray, practice: int, alike: BoolArray, dose: FloatArray, change_cost: float, same: float
) -> IntArray:
    """Choose what to grow now: the greatest expected value, less what a change costs.

    Parameters
    ----------
    value : ndarray, shape (..., n)
        Expected.
    practice : int
    alike : ndarray of bool, shape (n, n)
        Candidates that differ in dose only.
    dose : ndarray, shape (n,)
    change_cost, same : float
        In the unit of the value: what a change must be worth; which doses are alike, so that the smallest is taken.

    Returns
    -------
    ndarray of int, shape (...)
        Place of the choice.
    """
    top = value.max(-1, keepdims=True)
    near = alike[value.argmax(-1)] & (value >= top - same)
    best = np.where(near, dose, np.inf).argmin(-1)
    gain = np.take_along_axis(value, best[..., None], -1)[..., 0] - value[..., practice]
    return np.asarray(np.where(gain > change_cost, best, practice), np.intp)


@dataclass(frozen=True)
class Chosen:
    """A choice, and how sure it is.

    Attributes
    ----------
    at : int
        Place of what to grow now.
    changed, settled : bool
        Whether it is another than the practice, and whether it is sure enough to lie within the margin of the best.
    near_best : ndarray, shape (n,)
        Chance of lying within the margin of the best of all that could be chosen.
    regret : ndarray, shape (n,)
        Value given up on average against whichever is truly best.
    """

    at: int
    changed: bool
    settled: bool
    near_best: FloatArray
    regret: FloatArray


def how_sure(found: Prospects, at: int, margin: float, sure: float) -> Chosen:
    """Say how sure a choice is.

    Parameters
    ----------
    found : Prospects
    at : int
        Place of the choice.
    margin : float
        How near the best is near enough, in the unit of the value.
    sure : float
        Chance from which a choice is settled.
    """
    top = found.draws.max(1)
    near_best = (found.draws >= top[:, None] - margin).mean(0)
    regret = (top[:, None] - found.draws).mean(0)
    return Chosen(at, at != found.practice, bool(near_best[at] >= sure), near_best, regret)
