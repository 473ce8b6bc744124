"""Weight of a usable head: effects of what is tried, averaged over standard deviations that are not known."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import ndtr

from trialkit.advice.elimination import Effects, Floors, eliminate
from trialkit.advice.integration import SMALLEST_SCORE, Integrated, half_normal, integrate
from trialkit.advice.priors import LEVEL_G, SLOPE_G, WEIGHT_G
from trialkit.advice.records import Columns, Gathered
from trialkit.advice.terms import WHOLE_COMBINATION, Points
from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.domain.errors import NotComputed

LASTING = "lasting"
"""Share of the variance of what gardens do that lasts from year to year, where some garden came back; uniform
before any record."""
KEPT = 512
"""Points at which effects are worked out."""
CHUNK = 500_000
"""Numbers in the largest array of one call: few enough to stay near the processor."""


@dataclass(frozen=True)
class WeightModel:
    """The model of weights of one or more trials.

    Attributes
    ----------
    gathered : Gathered
    scales : mapping of str to float
        Of the half-normal priors of standard deviations, g.
    """

    gathered: Gathered
    scales: Mapping[str, float]

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Standard deviations that are not known, in order."""
        lasting = (LASTING,) if self.gathered.terms.returning else ()
        return ("bucket", *self.gathered.local, *self.gathered.terms.groups, *lasting)

    def effects(self, at: FloatArray) -> Effects:
        """Effects given scores of standard deviations, shape (m, d)."""
        return self._given(at, self.gathered.columns)

    def _given(self, at: FloatArray, columns: Columns) -> Effects:
        found = self.by_name(at)
        told = self.gathered.told(found["bucket"], [found[name] for name in self.gathered.local])
        constant = (self.gathered.weighed - 1) * np.log(2 * np.pi)
        return eliminate(told, self.floors(found, columns), constant)

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
        g = self.gathered
        size = max(1, CHUNK // (g.short.design.size + g.gram[0].size + 1))
        parts = [self._given(at[i : i + size], g.short).log_likelihood for i in range(0, len(at), size)]
        return np.asarray(np.concatenate(parts) - 0.5 * (at**2).sum(1))

    def floors(self, sd: Mapping[str, FloatArray], columns: Columns) -> Floors:
        """Covariances given standard deviations as from `by_name`."""
        g, m = self.gathered, len(sd["bucket"])
        level = np.full(m, LEVEL_G**2 if len(g.treatments) > 1 else 0.0)
        garden = _weighted(sd["garden"] ** 2, g.shared)
        season = _weighted(level, g.shared)
        for name, covariance in g.practice.items():
            garden = garden + _weighted(sd[f"garden_{name}"] ** 2, covariance)
            season = season + _weighted(sd["season"] ** 2, covariance)
        there = np.where(g.returns[None, :], 1 - sd[LASTING][:, None], 1.0)
        return Floors(
            g.trial,
            columns.design,
            garden[:, g.trial] * there[..., None, None],
            season,
            self._precision(sd, columns),
            np.zeros(len(columns.names)),
        )

    def _precision(self, sd: Mapping[str, FloatArray], columns: Columns) -> FloatArray:
        found = np.zeros((len(sd["bucket"]), len(columns.names)))
        for j, name in enumerate(columns.names):
            if name == "slope":
                found[:, j] = SLOPE_G**-2
            elif name != "level":
                lasting = sd[LASTING] if name.startswith("garden") else 1.0
                found[:, j] = 1 / (lasting * (columns.ratio[j] * sd[name]) ** 2)
        return found


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

    def at(self, asked: Points, garden: IntArray | None = None) -> tuple[FloatArray, FloatArray]:
        """Means, shape (m, n), and H of their covariance H' H, shape (m, p + n, n), on average over seasons.

        `garden` is the place of each among the returning gardens, or None for the average over gardens.
        """
        columns = self.model.gathered.terms.columns(asked, garden)
        mean = self.effects.mean @ columns.T
        half = np.linalg.solve(self.effects.factor, np.broadcast_to(columns.T, (len(mean), *columns.T.shape)))
        unknown = np.zeros((len(mean), len(asked), len(asked)))
        if "interaction" in self.sd:
            alone = WHOLE_COMBINATION * self.sd["interaction"][:, None] * self.model.gathered.terms.untried(asked)
            unknown[:, range(len(asked)), range(len(asked))] = alone
        return mean, np.concatenate([half, unknown], 1)

    def elsewhere(self, asked: Points) -> FloatArray:
        """Covariance of what a garden not yet seen, in a season not yet seen, does to treatments, shape (m, n, n)."""
        found = np.zeros((len(self.points.weight), len(asked), len(asked)))
        for name, covariance in self.model.gathered.terms.practice(asked).items():
            found += _weighted(self.sd[f"garden_{name}"] ** 2 + self.sd["season"] ** 2, covariance)
        return found


def weigh(gathered: Gathered, scales: Mapping[str, float] = WEIGHT_G) -> Weights:
    """Fit the model of weights.

    Raises
    ------
    NotComputed
        If no head was weighed, or the records leave the sizes of variation too open.
    """
    if not gathered.weighed:
        raise NotComputed("No usable head was weighed, so that nothing is known of weights.")
    model = WeightModel(gathered, scales)
    points = integrate(model.log_density, np.zeros(len(model.names))).thinned(KEPT)
    return Weights(model, points, model.by_name(points.at), model.effects(points.at))


def _weighted(value: FloatArray, covariance: FloatArray) -> FloatArray:
    return value.reshape(-1, *[1] * covariance.ndim) * covariance
