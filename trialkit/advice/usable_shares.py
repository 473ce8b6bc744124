"""Share of planted heads that become usable ones: a binomial model of the same effects, by Laplace's approximation.

Heads of a bucket fare alike, so counts are divided by the design effect (Rao & Scott 1992, Biometrics 48, 577-585).
Given the standard deviations, effects are at their mode and Gaussian about it (Tierney & Kadane 1986, J. Am. Stat.
Assoc. 81, 82-86); standard deviations are averaged over as those of weights are.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import expit

from trialkit.advice.elimination import Effects, Floors, Told, eliminate, joined
from trialkit.advice.gathering import Gathered
from trialkit.advice.integration import FEW_POINTS, Integrated, half_normal, integrate
from trialkit.advice.priors import FACTOR_SHARE, SHARE_LOGIT, SHARE_MEAN, SHARE_SD
from trialkit.advice.terms import Points
from trialkit.domain.arrays import FloatArray, IntArray

SETTLED, MOST_ROUNDS = 1e-5, 60
"""Of logits: Laplace's likelihood is flat about the mode, and errs by the square of this."""
LESS_LIKELY = 0.5
"""Interactions, and effects of water, sun and kind of garden, in units of those of what is tried."""
SEASON_PART = 0.25
"""Variance of what seasons do to what is tried, in units of what gardens do."""
LASTING = 0.5
"""Share of what a returning garden does that it does every year."""
CHUNK = 4_000_000
POINTS = 64
LEAST_INFORMATION = 1e-10


@dataclass(frozen=True)
class ShareModel:
    """The model of usable shares.

    Attributes
    ----------
    gathered : Gathered
    design_effect : float
        By how much heads count for less than independent ones.
    scales : mapping of str to float
        Of the half-normal priors of standard deviations, logits.
    """

    gathered: Gathered
    design_effect: float
    scales: Mapping[str, float]

    def log_density(self, at: FloatArray) -> FloatArray:
        """Log posterior density of the scores of standard deviations, shape (m, 3) to (m,)."""
        found = np.concatenate([one.log_likelihood for one in self._by_some(at)])
        return np.asarray(found - 0.5 * (at**2).sum(1))

    def sd(self, at: FloatArray) -> FloatArray:
        """Standard deviations of gardens, of what is tried, and of that between gardens and seasons, shape (m, 3)."""
        return np.column_stack(
            [half_normal(score, scale) for score, scale in zip(at.T, self.scales.values(), strict=True)]
        )

    def effects(self, at: FloatArray) -> Effects:
        """Effects given scores of standard deviations, shape (m, 3), with Laplace's likelihood."""
        return joined(list(self._by_some(at)))

    def _by_some(self, at: FloatArray) -> Iterator[Effects]:
        """Effects at a few points at a time, so that their arrays stay small."""
        g, sd = self.gathered, self.sd(at)
        usable, heads = g.usable / self.design_effect, g.recorded / self.design_effect
        size = max(1, CHUNK // g.design.size)
        for start in range(0, len(at), size):
            yield laplace(usable, heads, self.floors(sd[start : start + size]), self._start)

    @cached_property
    def _start(self) -> FloatArray:
        """Logits by treatment and garden where all standard deviations are in the middle: near those elsewhere."""
        g = self.gathered
        usable, heads = g.usable / self.design_effect, g.recorded / self.design_effect
        found = laplace(usable, heads, self.floors(self.sd(np.zeros((1, len(self.scales))))))
        assert found.treatments is not None
        return found.treatments

    def floors(self, sd: FloatArray) -> Floors:
        """Covariances given standard deviations as from `sd`."""
        g, (garden, _, practice) = self.gathered, sd.T
        level = garden if len(g.treatments) > 1 else np.zeros(len(sd))
        there = _times(garden**2, g.shared)
        season = _times(level**2, g.shared)
        for name, covariance in g.practice.items():
            variance = (FACTOR_SHARE[name] * practice) ** 2
            there = there + _times(variance, covariance)
            season = season + _times(SEASON_PART * variance, covariance)
        keep = np.where(g.returns, 1 - LASTING, 1.0)
        prior = np.column_stack([self.prior(name, sd) for name in g.effects])
        centre = np.array([SHARE_MEAN if name == "level" else 0.0 for name in g.effects])
        return Floors(g.trial, g.design, there[:, g.trial] * keep[:, None, None], season, prior**-2.0, centre, g.parts)

    def prior(self, name: str, sd: FloatArray) -> FloatArray:
        """Standard deviation of the effects of a group, shape (m,)."""
        garden, treatment, practice = sd.T
        if name == "level":
            return np.full(len(sd), SHARE_SD)
        if name.startswith("garden"):
            of_factor = FACTOR_SHARE.get(name.removeprefix("garden_"), 1.0) * practice
            return np.asarray((garden if name == "garden" else of_factor) * np.sqrt(LASTING))
        return np.asarray(treatment * (1.0 if name in ("cultivar", "acidifier", "slope", "curve") else LESS_LIKELY))


def laplace(usable: FloatArray, heads: FloatArray, floors: Floors, start: FloatArray | None = None) -> Effects:
    """Binomial counts by treatment and garden: effects at their mode, and Laplace's likelihood.

    Parameters
    ----------
    usable, heads : ndarray, shape (sites, k)
        Counts, fractions allowed; no heads where a trial has fewer treatments.
    floors : Floors
    start : ndarray, shape (1, sites, k), optional
        Logits to begin with.
    """
    m = len(floors.precision)
    start = np.log((usable + 0.5) / (heads - usable + 0.5)) if start is None else start
    logit = np.broadcast_to(start, (m, *usable.shape))
    found = None
    for _ in range(MOST_ROUNDS):
        told = _working(usable, heads, logit)[0]
        found = eliminate(told, floors, back=True)
        assert found.treatments is not None
        step = found.treatments - logit
        # Far from the mode Newton's step can be much too long.
        step = np.clip(step, -2.0, 2.0)
        logit = logit + step
        if np.abs(step[:, heads > 0]).max(initial=0.0) < SETTLED:
            break
    assert found is not None
    told, distance = _working(usable, heads, logit)
    found = eliminate(told, floors, back=True)
    likelihood = found.log_likelihood + 0.5 * distance + _log_binomial(usable, heads, logit)
    return replace(found, log_likelihood=likelihood)


def _working(usable: FloatArray, heads: FloatArray, logit: FloatArray) -> tuple[Told, FloatArray]:
    """Counts as Gaussian records about the logit, and how far these lie from it."""
    share = expit(logit)
    weight = np.maximum(heads * share * (1 - share), np.where(heads > 0, LEAST_INFORMATION, 0.0))
    away = usable - heads * share
    score = weight * logit + away
    k = heads.shape[-1]
    information = weight[..., None] * np.eye(k)
    shift = np.divide(away, weight, out=np.zeros_like(away), where=weight > 0)
    records = (weight * (logit + shift) ** 2).sum((1, 2))
    return Told(information, score, records, np.zeros(len(logit))), (weight * shift**2).sum((1, 2))


def _log_binomial(usable: FloatArray, heads: FloatArray, logit: FloatArray) -> FloatArray:
    return np.asarray((usable * logit - heads * np.logaddexp(0.0, logit)).sum((1, 2)))


@dataclass(frozen=True)
class Shares:
    """What the records say of usable shares, over the points of the standard deviations."""

    model: ShareModel
    points: Integrated
    sd: FloatArray
    effects: Effects

    def at(self, asked: Points, garden: IntArray | None = None) -> tuple[FloatArray, FloatArray]:
        """Mean shares over gardens and seasons, shape (n,), and their covariance, shape (n, n).

        `garden` is the place of each among the returning gardens, or None for the average over gardens.
        """
        columns, left = self.model.gathered.asked(asked, garden)
        weight = self.points.weight
        half = np.linalg.solve(self.effects.factor, np.broadcast_to(columns.T, (len(weight), *columns.T.shape)))
        covariance = half.swapaxes(1, 2) @ half
        for name, beside in left.items():
            covariance += self.model.prior(name, self.sd)[:, None, None] ** 2 * (beside.T @ beside)
        middle, slope = self._over_gardens(columns, np.diagonal(covariance, axis1=1, axis2=2), garden)
        spread = slope[:, :, None] * covariance * slope[:, None, :]
        overall = weight @ middle
        away = middle - overall
        return overall, np.einsum("m,mij->ij", weight, spread) + (weight[:, None] * away).T @ away

    def _over_gardens(
        self, columns: FloatArray, variance: FloatArray, garden: IntArray | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """Mean shares over gardens and seasons, and their slopes by the logit, shape (m, n).

        `variance` is what is not known of the logits, shape (m, n).
        """
        factors = sum(FACTOR_SHARE[name] ** 2 for name in self.model.gathered.practice)
        # Of a garden that comes back, what it does every year is an effect, and the rest passes.
        passes = 1.0 if garden is None else 1 - LASTING
        elsewhere = (passes * self.sd[:, 0] ** 2 + (passes + SEASON_PART) * factors * self.sd[:, 2] ** 2)[:, None]
        # The mean of a share over gardens lies nearer a half: logistic averages over a normal, to three figures.
        flat = np.sqrt(1 + (np.pi / 8) * elsewhere)
        middle = expit(self.effects.mean @ columns.T / np.sqrt(1 + (np.pi / 8) * (elsewhere + variance)))
        return middle, middle * (1 - middle) / flat

    def slope(self, asked: Points) -> FloatArray:
        """By how much mean shares rise with the logits of treatments, shape (n,)."""
        columns, _ = self.model.gathered.asked(asked)
        return np.asarray(self.points.weight @ self._over_gardens(columns, np.zeros((1, 1)))[1])

    def elsewhere(self, asked: Points, mean: FloatArray) -> FloatArray:
        """Covariance of what a garden and season not yet seen do to mean shares, shape (n, n), their level left out."""
        practice = (1 + SEASON_PART) * float(self.points.weight @ self.sd[:, 2] ** 2)
        covariance = np.zeros((len(asked), len(asked)))
        for name, of_factor in self.model.gathered.terms.practice(asked).items():
            covariance += FACTOR_SHARE[name] ** 2 * of_factor
        slope = mean * (1 - mean)
        return np.asarray(practice * slope[:, None] * covariance * slope)


def count(
    gathered: Gathered,
    design_effect: float,
    learnt: Gathered | None = None,
    scales: Mapping[str, float] = SHARE_LOGIT,
) -> Shares:
    """Fit the model of usable shares.

    Parameters
    ----------
    gathered : Gathered
    design_effect : float
        By how much heads count for less than independent ones.
    learnt : Gathered, optional
        Some of the same trials, enough to learn the standard deviations from where there are very many.
    scales : mapping of str to float
        Of the half-normal priors of standard deviations, logits.

    Raises
    ------
    NotComputed
        If the records leave the sizes of variation too open.
    """
    model = ShareModel(gathered, design_effect, scales)
    few = model if learnt is None else ShareModel(learnt, design_effect, scales)
    points = integrate(few.log_density, np.zeros(len(scales)), POINTS)
    points = points.thinned(POINTS if learnt is None else FEW_POINTS // 3)
    return Shares(model, points, model.sd(points.at), model.effects(points.at))


def _times(value: FloatArray, covariance: FloatArray) -> FloatArray:
    return value[:, None, None, None] * covariance
