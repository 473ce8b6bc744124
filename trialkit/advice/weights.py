"""Weight of a usable head (or days to harvest): effects of what is tried, averaged over standard deviations."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import ndtr

from trialkit.advice.elimination import Effects, Floors, eliminate, joined
from trialkit.advice.gathering import Gathered
from trialkit.advice.integration import (
    FEW_POINTS,
    POINTS,
    SMALLEST_SCORE,
    Integrated,
    half_normal,
    integrate,
)
from trialkit.advice.priors import FACTOR_SHARE, SLOPE_G, WEIGHT_G
from trialkit.advice.terms import Points
from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.domain.errors import NotComputed
from trialkit.languages import translatable

LASTING = "lasting"
"""Share of the variance of what gardens do that lasts from year to year, where some garden came back; uniform
before any record."""
THINNED = 512
"""Points at which effects are worked out; means and variances of the scores are those of all points."""
CHUNK, LEAST_CHUNK = 1_000_000, 8
"""Numbers in the largest array of one call: a processor's cache holds few more. And the fewest points of one, as each
call takes its time for every trial."""


@dataclass(frozen=True)
class WeightModel:
    """The model of weights of one or more trials.

    Attributes
    ----------
    gathered : Gathered
    scales : mapping of str to float
        Of the half-normal priors of standard deviations, g.
    slope : float
        Standard deviation of the straight part of the dose curve, g.
    """

    gathered: Gathered
    scales: Mapping[str, float]
    slope: float = SLOPE_G

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Standard deviations that are not known, in order."""
        lasting = (LASTING,) if self.gathered.terms.returning else ()
        level = ("season_level",) if len(self.gathered.treatments) > 1 else ()
        return ("bucket", *self.gathered.local, *self.gathered.terms.groups, *level, *lasting)

    def effects(self, at: FloatArray) -> Effects:
        """Effects given scores of standard deviations, shape (m, d)."""
        return self.effects_given(self.by_name(at))

    def effects_given(self, sd: Mapping[str, FloatArray]) -> Effects:
        """Effects given standard deviations by name, each of shape (m,)."""
        return joined(list(self._by_some(sd)))

    def _by_some(self, sd: Mapping[str, FloatArray]) -> Iterator[Effects]:
        """Effects at a few points at a time, so that their arrays stay small."""
        g = self.gathered
        size = max(LEAST_CHUNK, CHUNK // (g.design.size + g.gram[0].size + 1))
        constant = (g.weighed - 1) * np.log(2 * np.pi)
        for start in range(0, len(sd["bucket"]), size):
            found = {name: values[start : start + size] for name, values in sd.items()}
            told = g.told(found["bucket"], [found[name] for name in g.local])
            yield eliminate(told, self.floors(found), constant)

    def by_name(self, at: FloatArray) -> dict[str, FloatArray]:
        """Standard deviations (and the lasting share) by name, each of shape (m,)."""
        found = {}
        for name, score in zip(self.names, at.T, strict=True):
            found[name] = (
                ndtr(np.maximum(score, SMALLEST_SCORE)) if name == LASTING else half_normal(score, self.scales[name])
            )
        return {LASTING: np.full(len(at), 0.5), **found}

    def log_density(self, at: FloatArray) -> FloatArray:
        """Log posterior density of the scores, up to a constant, shape (m,)."""
        likelihood = np.concatenate([one.log_likelihood for one in self._by_some(self.by_name(at))])
        return np.asarray(likelihood - 0.5 * (at**2).sum(1))

    def floors(self, sd: Mapping[str, FloatArray]) -> Floors:
        """Covariances given standard deviations by name, each of shape (m,)."""
        g, m = self.gathered, len(sd["bucket"])
        level = sd["season_level"] ** 2 if "season_level" in sd else np.zeros(m)
        garden = _weighted(sd["garden"] ** 2, g.shared)
        season = _weighted(level, g.shared)
        for name, covariance in g.practice.items():
            garden = garden + _weighted(sd[f"garden_{name}"] ** 2, covariance)
            season = season + _weighted((FACTOR_SHARE[name] * sd["season"]) ** 2, covariance)
        there = np.where(g.returns[None, :], 1 - sd[LASTING][:, None], 1.0)
        return Floors(
            g.trial,
            g.design,
            garden[:, g.trial] * there[..., None, None],
            season,
            self._precision(sd),
            np.zeros(len(g.effects)),
            g.parts,
        )

    def _precision(self, sd: Mapping[str, FloatArray]) -> FloatArray:
        found = np.zeros((len(sd["bucket"]), len(self.gathered.effects)))
        for j, name in enumerate(self.gathered.effects):
            if name == "slope":
                found[:, j] = self.slope**-2
            elif name != "level":
                lasting = sd[LASTING] if name.startswith("garden") else 1.0
                found[:, j] = 1 / (lasting * sd[name] ** 2)
        return found


@dataclass(frozen=True)
class At:
    """Weights of treatments at each point of the standard deviations.

    Attributes
    ----------
    mean : ndarray, shape (m, n)
    half : ndarray, shape (m, p, n)
        Their covariance is half' half, but for what `alone` adds to each.
    alone : ndarray, shape (m, n)
        Standard deviation of what only a whole combination does, of those that were not tried as a whole.
    """

    mean: FloatArray
    half: FloatArray
    alone: FloatArray


def with_one(covariance: FloatArray, one: int) -> FloatArray:
    """Variances, covariances with one of them, and the variance of that one, shape (3, n)."""
    own = np.diagonal(covariance)
    return np.stack([own, covariance[one], np.full(len(own), own[one])])


@dataclass(frozen=True)
class Weights:
    """What the records say of weights: a mixture of Gaussians over the points of the standard deviations.

    Attributes
    ----------
    model : WeightModel
    points : Integrated
    sd : mapping of str to ndarray, shape (m,)
    effects : Effects
        At the points.
    """

    model: WeightModel
    points: Integrated
    sd: Mapping[str, FloatArray]
    effects: Effects

    def at(self, asked: Points, garden: IntArray | None = None) -> At:
        """Weights of treatments on average over seasons.

        `garden` is the place of each among the returning gardens, or None for the average over gardens.
        """
        columns, left = self.model.gathered.asked(asked, garden)
        untried = self.model.gathered.terms.untried(asked)
        alone = self.sd.get("interaction", np.zeros(len(self.effects.mean)))
        # Of what gardens do, only what lasts is an effect.
        lasting = {name: self.sd[LASTING] if name.startswith("garden") else np.ones(len(alone)) for name in left}
        spread = {name: self.sd[name] * np.sqrt(lasting[name]) for name in left}
        told = np.linalg.solve(self.effects.factor, np.broadcast_to(columns.T, (len(alone), *columns.T.shape)))
        half = np.concatenate([told, *(spread[name][:, None, None] * beside for name, beside in left.items())], 1)
        return At(self.effects.mean @ columns.T, half, alone[:, None] * untried)

    def elsewhere(self, asked: Points, practice: int) -> FloatArray:
        """Covariance of what a garden not yet seen, in a season not yet seen, does to treatments.

        Returns
        -------
        ndarray, shape (3, m, n)
            The variance of each, its covariance with the one at `practice`, and the variance of that one.
        """
        found = np.zeros((3, len(self.points.weight), len(asked)))
        for name, covariance in self.model.gathered.terms.practice(asked).items():
            variance = self.sd[f"garden_{name}"] ** 2 + (FACTOR_SHARE[name] * self.sd["season"]) ** 2
            found += variance[None, :, None] * with_one(covariance, practice)[:, None, :]
        return found

    @property
    def levels_elsewhere(self) -> FloatArray:
        """Variance of the level of a garden and season not yet seen, shape (m,); of a season, where more were seen."""
        season = self.sd.get("season_level", np.zeros(len(self.points.weight)))
        return np.asarray(self.sd["garden"] ** 2 + season**2)


def weigh(
    gathered: Gathered,
    learnt: Gathered | None = None,
    scales: Mapping[str, float] = WEIGHT_G,
    slope: float = SLOPE_G,
    size: int = POINTS,
) -> Weights:
    """Fit the model of weights.

    Parameters
    ----------
    gathered : Gathered
    learnt : Gathered, optional
        Some of the same trials, enough to learn the standard deviations from where there are very many.
    scales : mapping of str to float
        Of the half-normal priors of standard deviations, g.
    slope : float
        Standard deviation of the straight part of the dose curve, g.
    size : int
        Points of the last round of the integration.

    Raises
    ------
    NotComputed
        If nothing was weighed, or the records leave the sizes of variation too open.
    """
    model = WeightModel(gathered, scales, slope)
    few = model if learnt is None else WeightModel(learnt, scales, slope)
    if not few.gathered.weighed:
        raise NotComputed(
            translatable("No usable head was weighed, so nothing can be said of weights: fill in weights of buckets.")
        )
    points = integrate(few.log_density, np.zeros(len(few.names)), size)
    points = points.thinned(min(size, THINNED) if learnt is None else FEW_POINTS)
    if learnt is not None:
        at = dict(zip(few.names, points.at.T, strict=True))
        unseen = np.zeros(len(points.at))  # the middle of the prior
        points = replace(points, at=np.column_stack([at.get(name, unseen) for name in model.names]))
    return Weights(model, points, model.by_name(points.at), model.effects(points.at))


def rescaled(found: Weights, scales: Mapping[str, float]) -> Weights:
    """The same under other priors: points are weighted anew by what the priors make of their standard deviations."""
    log_weight = np.log(found.points.weight)
    for name in found.model.names:
        if name != LASTING:
            before, after = found.model.scales[name], scales[name]
            log_weight = log_weight - 0.5 * found.sd[name] ** 2 * (after**-2 - before**-2)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    points = replace(found.points, weight=weight, effective=float(1 / (weight**2).sum()))
    return replace(found, model=replace(found.model, scales=scales), points=points)


def _weighted(value: FloatArray, covariance: FloatArray) -> FloatArray:
    return value.reshape(-1, *[1] * covariance.ndim) * covariance
