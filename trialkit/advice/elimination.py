"""Gaussian effects of buckets, gardens and trials taken out one floor after the other, in closed form.

A trial's records reach the effects that the advice is about only through the means of its treatments in each garden, so
each floor is a small matrix over a trial's treatments: local places (blocks, whole plots), what a garden does to
treatments in that trial, what the season does. All of it is exact, and done for many sets of variances at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trialkit.domain.arrays import FloatArray, IntArray


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
    """

    trial: IntArray
    design: FloatArray
    garden: FloatArray
    season: FloatArray
    precision: FloatArray
    centre: FloatArray


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
    a, b = told.information, told.score
    one = np.eye(a.shape[-1])
    x, trial = floors.design, floors.trial
    trials = floors.season.shape[1]
    # Means before any record are taken out and put back at the end.
    shift = x @ floors.centre
    b = b - (a @ shift[..., None])[..., 0]
    quadratic = told.quadratic - (shift * (told.score + b)).sum((1, 2))
    # What one garden does: (A^-1 + K)^-1 = (I + A K)^-1 A, which asks nothing of A.
    inner = one + a @ floors.garden
    solved = np.linalg.solve(inner, np.concatenate([a, b[..., None]], -1))
    seen, felt = solved[..., :-1], solved[..., -1]
    gone = (floors.garden @ felt[..., None])[..., 0]
    quadratic = quadratic - (b * gone).sum((1, 2))
    log_determinant = told.log_determinant + np.linalg.slogdet(inner)[1].sum(1)
    # What the season does to a trial's treatments in all its gardens.
    weighted = seen @ x
    by_trial = _summed(seen, trial, trials), _summed(weighted, trial, trials), _summed(felt, trial, trials)
    outer = one + floors.season @ by_trial[0]
    held = np.linalg.solve(outer, floors.season)
    quadratic = quadratic - np.einsum("mti,mtij,mtj->m", by_trial[2], held, by_trial[2])
    log_determinant = log_determinant + np.linalg.slogdet(outer)[1].sum(1)
    pulled = held @ np.concatenate([by_trial[1], by_trial[2][..., None]], -1)
    m, sites, k, p = weighted.shape
    flat = np.broadcast_to(x, weighted.shape[1:]).reshape(sites * k, p)
    core = flat.T @ weighted.reshape(m, sites * k, p)
    across = by_trial[1].reshape(m, trials * k, p).swapaxes(1, 2)
    core = core - across @ pulled[..., :-1].reshape(m, trials * k, p)
    right = felt.reshape(m, sites * k) @ flat - (across @ pulled[..., -1].reshape(m, trials * k, 1))[..., 0]
    core = core + floors.precision[:, None, :] * np.eye(p)
    core = (core + core.swapaxes(1, 2)) / 2
    factor = np.linalg.cholesky(core)
    mean = np.linalg.solve(core, right[..., None])[..., 0]
    quadratic = quadratic - (right * mean).sum(1)
    known = floors.precision > 0
    prior = np.log(np.where(known, floors.precision, 1.0)).sum(1)
    log_determinant = log_determinant + 2 * np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(1) - prior
    likelihood = -0.5 * (constant + log_determinant + quadratic)
    treatments = None
    if back:
        own = (weighted @ mean[:, None, :, None])[..., 0]
        season = (held @ (by_trial[2] - _summed(own, trial, trials))[..., None])[..., 0]
        over = (x @ mean[:, None, :, None])[..., 0] + season[:, trial]
        left = np.linalg.solve(inner, (b - (a @ over[..., None])[..., 0])[..., None])
        treatments = over + (floors.garden @ left)[..., 0] + shift
    return Effects(mean + floors.centre, factor, likelihood, treatments)


def _summed(values: FloatArray, groups: IntArray, count: int) -> FloatArray:
    """Add up along axis 1 by group, groups being in order."""
    if count == values.shape[1]:
        return values
    if count == 1:
        return np.asarray(values.sum(1, keepdims=True))
    starts = np.searchsorted(groups, np.arange(count))
    return np.asarray(np.add.reduceat(values, starts, axis=1))
