"""Gaussian effects of buckets, gardens and trials taken out one floor after the other, in closed form.

A trial's records reach the effects that the advice is about only through the means of its treatments in each garden, so
each floor is a small matrix over a trial's treatments: local places (blocks, whole plots), what a garden does to
treatments in that trial, what the season does. All of it is exact, and done for many sets of variances at once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from trialkit.domain.arrays import FloatArray, IntArray

EFFECTS = ("mean", "factor", "log_likelihood")
MOST_ALIKE = 64
"""Trials that are worked on together: many at once are faster, until their arrays outgrow the processor's memory."""


@dataclass(frozen=True)
class Told:
    """What records tell of the treatments of each garden in each trial, for ``m`` sets of variances.

    Attributes
    ----------
    information : ndarray, shape (m, sites, k, k)
        Precision of the means of a trial's treatments.
    score : ndarray, shape (m, sites, k)
        Precision times means.
    quadratic, log_determinant : ndarray, shape (m,)
        Of the records about nothing, and of their covariance, given the means.
    """

    information: FloatArray
    score: FloatArray
    quadratic: FloatArray
    log_determinant: FloatArray


@dataclass(frozen=True)
class Part:
    """Part of a design that trials of one shape have: as many gardens and treatments, and the same effects.

    Attributes
    ----------
    trials : ndarray of int, shape (n,)
    sites : ndarray of int, shape (n, s)
        Their gardens.
    treatments : int
        How many each has, ``k``.
    columns : ndarray of int, shape (q,)
        Effects that play a part in them.
    design : ndarray, shape (n, s, k, q)
    """

    trials: IntArray
    sites: IntArray
    treatments: int
    columns: IntArray
    design: FloatArray


@dataclass(frozen=True)
class Floors:
    """What lies between a garden's treatments and the effects of the model, for ``m`` sets of variances.

    Attributes
    ----------
    trial : ndarray of int, shape (sites,)
        Trial of each garden in a trial.
    design : ndarray, shape (sites, k, p)
        Effects by which the mean of each treatment is made up; rows of zeros where a trial has fewer treatments.
    garden, season : ndarray, shape (m, sites, k, k) and (m, trials, k, k)
        Covariance of what one garden in one trial, and one trial, does to its treatments.
    precision : ndarray, shape (m, p)
        Of the effects before any record; zero of those that are free.
    centre : ndarray, shape (p,)
        Their means before any record.
    parts : tuple of Part
        What trials have of the design.
    """

    trial: IntArray
    design: FloatArray
    garden: FloatArray
    season: FloatArray
    precision: FloatArray
    centre: FloatArray
    parts: tuple[Part, ...] = ()

    def __post_init__(self) -> None:
        """Find the parts of the design, unless that was done before."""
        if not self.parts:
            object.__setattr__(self, "parts", parts_of(self.trial, self.design))


@dataclass(frozen=True)
class Effects:
    """Effects given the records and the variances, for ``m`` sets of these.

    Attributes
    ----------
    mean : ndarray, shape (m, p)
    factor : ndarray, shape (m, p, p)
        Lower Cholesky factor of their precision.
    log_likelihood : ndarray, shape (m,)
        Of the records, effects integrated out (those that are free with a flat prior of density 1).
    treatments : ndarray, shape (m, sites, k), optional
        Means of the treatments in each garden, where asked for.
    """

    mean: FloatArray
    factor: FloatArray
    log_likelihood: FloatArray
    treatments: FloatArray | None = None


def joined(parts: Sequence[Effects]) -> Effects:
    """Effects at several sets of variances as one, what treatments do in each garden left out."""
    return Effects(*(np.concatenate([getattr(one, name) for one in parts]) for name in EFFECTS))


def eliminate(told: Told, floors: Floors, constant: float = 0.0, *, back: bool = False) -> Effects:
    """Find the effects and the likelihood of the variances.

    Parameters
    ----------
    told : Told
    floors : Floors
    constant : float
        Records times log 2 pi, less as much for every free effect.
    back : bool
        Whether the treatments' means in each garden are wanted too.
    """
    m, p = floors.precision.shape
    core = floors.precision[:, None, :] * np.eye(p)
    right = np.zeros((m, p))
    quadratic, log_determinant = told.quadratic, told.log_determinant
    trials = [_without_trials(told, floors, part) for part in floors.parts]
    for part, one in zip(floors.parts, trials, strict=True):
        core[:, part.columns[:, None], part.columns] += one.information
        right[:, part.columns] += one.score
        quadratic = quadratic - one.explained
        log_determinant = log_determinant + one.log_determinant
    core = (core + core.swapaxes(1, 2)) / 2
    factor = np.asarray(np.linalg.cholesky(core), float)
    mean = np.asarray(np.linalg.solve(core, right[..., None])[..., 0], float)
    quadratic = quadratic - (right * mean).sum(1)
    prior = np.log(np.where(floors.precision > 0, floors.precision, 1.0)).sum(1)
    log_determinant = log_determinant + 2 * np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(1) - prior
    likelihood = np.asarray(-0.5 * (constant + log_determinant + quadratic), float)
    treatments = None
    if back:
        treatments = np.zeros(told.score.shape)
        for part, one in zip(floors.parts, trials, strict=True):
            treatments[:, part.sites, : part.treatments] = one.back(mean[:, part.columns])
    return Effects(mean + floors.centre, factor, likelihood, treatments)


def information(told: Told, floors: Floors) -> FloatArray:
    """What records tell of the effects: the precision that they add, shape (m, p, p)."""
    m, p = floors.precision.shape
    found = np.zeros((m, p, p))
    for part in floors.parts:
        found[:, part.columns[:, None], part.columns] += _without_trials(told, floors, part).information
    return (found + found.swapaxes(1, 2)) / 2


@dataclass(frozen=True)
class _Trials:
    """What trials tell of the effects when their gardens and seasons are taken out."""

    information: FloatArray
    score: FloatArray
    explained: FloatArray
    log_determinant: FloatArray
    back: Callable[[FloatArray], FloatArray]


def _without_trials(told: Told, floors: Floors, part: Part) -> _Trials:
    """Take out what gardens and seasons do in trials of one shape."""
    k, x = part.treatments, part.design
    a, given = told.information[:, part.sites, :k, :k], told.score[:, part.sites, :k]
    garden, season = floors.garden[:, part.sites, :k, :k], floors.season[:, part.trials, :k, :k]
    # Means before any record are taken out and put back at the end.
    shift = x @ floors.centre[part.columns]
    b = given - (a @ shift[..., None])[..., 0]
    explained = (shift * (given + b)).sum((1, 2, 3))
    # What one garden does: (A^-1 + K)^-1 = (I + A K)^-1 A, which asks nothing of A.
    inner = np.eye(k) + a @ garden
    solved = np.linalg.solve(inner, np.concatenate([a, b[..., None]], -1))
    seen, felt = solved[..., :-1], solved[..., -1]
    explained = explained + (b * (garden @ felt[..., None])[..., 0]).sum((1, 2, 3))
    # What the season does to the treatments in all gardens.
    weighted = seen @ x
    all_seen, all_weighted, all_felt = seen.sum(2), weighted.sum(2), felt.sum(2)
    outer = np.eye(k) + season @ all_seen
    held = np.linalg.solve(outer, season)
    of_season = (held @ all_felt[..., None])[..., 0]
    explained = explained + (all_felt * of_season).sum((1, 2))
    m, p = len(a), len(part.columns)
    flat, together = x.reshape(-1, p), all_weighted.reshape(m, -1, p)
    pulled = (held @ all_weighted).reshape(m, -1, p)
    information = flat.T @ weighted.reshape(m, -1, p) - together.swapaxes(1, 2) @ pulled
    score = felt.reshape(m, -1) @ flat - (of_season.reshape(m, 1, -1) @ together)[:, 0]

    def back(mean: FloatArray) -> FloatArray:
        of_mean = mean[:, None, None, :, None]
        own = (weighted @ of_mean)[..., 0]
        of_season = (held @ (all_felt - own.sum(2))[..., None])[..., 0]
        over = (x @ of_mean)[..., 0] + of_season[:, :, None]
        left = np.linalg.solve(inner, (b - (a @ over[..., None])[..., 0])[..., None])
        return np.asarray(over + (garden @ left)[..., 0] + shift)

    logs = np.linalg.slogdet(inner)[1].sum((1, 2)) + np.linalg.slogdet(outer)[1].sum(1)
    return _Trials(information, score, explained, logs, back)


def parts_of(trial: IntArray, design: FloatArray) -> tuple[Part, ...]:
    """Trials of each shape in a design, shape (sites, k, p), whose gardens stand trial by trial."""
    alike: dict[tuple[int, int, bytes], list[int]] = {}
    starts = np.flatnonzero(np.diff(trial, prepend=-1))
    stops = np.append(starts[1:], len(trial))
    for t, (start, stop) in enumerate(zip(starts, stops, strict=True)):
        has = design[start:stop] != 0
        treatments = int(np.flatnonzero(has.any((0, 2))).max(initial=-1)) + 1
        alike.setdefault((int(stop - start), treatments, has.any((0, 1)).tobytes()), []).append(t)
    found = []
    for (gardens, treatments, has_effect), every in alike.items():
        columns = np.flatnonzero(np.frombuffer(has_effect, bool))
        for i in range(0, len(every), MOST_ALIKE):
            trials = np.array(every[i : i + MOST_ALIKE], np.intp)
            sites = starts[trials][:, None] + np.arange(gardens)
            own = np.ascontiguousarray(design[sites, :treatments][..., columns])
            found.append(Part(trials, sites, treatments, columns, own))
    return tuple(found)
