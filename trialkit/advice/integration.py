"""Averages over standard deviations that are not known: a deterministic rule around the mode of their scores.

Every standard deviation is told by a score that is standard normal before any record (`half_normal`), so that what the
records leave open stays Gaussian, at zero too. The mode and the curvature there give a frame in which the scores are
nearly independent; along each axis the distribution is a t with its own scale on either side, so that skewness is
followed (Rue, Martino & Chopin 2009, J. R. Stat. Soc. B 71, 319-392, section 6.5). Points of an equidistributed
sequence are brought to that distribution and weighted by what it misses (importance sampling), so that the averages are
right however rough the frame.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy.special import ndtr, ndtri, stdtrit

from trialkit.domain.arrays import FloatArray
from trialkit.domain.errors import NotComputed

POINTS, MOST_POINTS, FEW_POINTS, FEWEST_EFFECTIVE = 256, 4096, 24, 16.0
TAIL_DF, REACH = 8.0, 1.5
ENOUGH, ROUNDS_OF_FRAMES = 0.35, 3
STEP = 0.05
"""Of the differences that give slope and curvature, in units of scores."""
ROUNDS, CLOSE, GAINED, LEAST_CURVATURE = 40, 0.02, 1e-3, 0.5
TRIED_STEPS = np.array([2.0, 1.4, 1.0, 0.7, 0.4, 0.15, 0.03])
"""The mode need not be exact: weights make up for where the points are put."""
SMALLEST_SCORE = -6.0
"""Below it a standard deviation is some billionth of its scale, and stays there: at nothing at all, precisions end."""


def half_normal(score: FloatArray, scale: float) -> FloatArray:
    """Standard deviations whose prior is half-normal where their scores are standard normal.

    Examples
    --------
    >>> [round(float(sd), 3) for sd in half_normal(np.array([-2.0, 0.0, 2.0]), 10.0)]
    [0.285, 6.745, 22.782]
    """
    return np.asarray(-scale * ndtri(ndtr(-np.maximum(score, SMALLEST_SCORE)) / 2))


@dataclass(frozen=True)
class Integrated:
    """Points to average over.

    Attributes
    ----------
    at : ndarray, shape (m, d)
        Scores of standard deviations.
    weight : ndarray, shape (m,)
        Adding up to 1.
    effective : float
        Number of equally weighted points that would do as well.
    mode : ndarray, shape (d,)
    """

    at: FloatArray
    weight: FloatArray
    effective: float
    mode: FloatArray


def integrate(log_density: Callable[[FloatArray], FloatArray], start: FloatArray, size: int = POINTS) -> Integrated:
    """Find points and weights for a density of d scores.

    Parameters
    ----------
    log_density : callable
        From points, shape (m, d), to log densities, shape (m,), up to a constant.
    start : ndarray, shape (d,)
    size : int
        Points to begin with.

    Raises
    ------
    NotComputed
        If too few of the points count.
    """
    mode, curvature = _mode(log_density, start)
    frame = _Frame.at_mode(log_density, mode, curvature)
    found = _weighted(log_density, frame, size, mode)
    for _ in range(ROUNDS_OF_FRAMES):
        if found.effective >= ENOUGH * size:
            break
        frame = _Frame.of_points(found, frame)
        found = max(found, _weighted(log_density, frame, size, mode), key=lambda one: one.effective)
    while found.effective < FEWEST_EFFECTIVE and size < MOST_POINTS:
        size *= 4
        frame = _Frame.of_points(found, frame)
        found = _weighted(log_density, frame, size, mode)
    if not found.effective >= FEWEST_EFFECTIVE:
        raise NotComputed("The records leave the sizes of variation too open for an average over them.")
    return found


def thinned(found: Integrated, size: int) -> Integrated:
    """The same with fewer points, each of one weight: those at even steps of the weights added up."""
    if len(found.weight) <= size:
        return found
    kept = np.searchsorted(np.cumsum(found.weight), (np.arange(size) + 0.5) / size)
    return Integrated(found.at[kept], np.full(size, 1 / size), min(found.effective, size), found.mode)


def without_light(found: Integrated, least: float) -> Integrated:
    """The same without points of a weight below the least."""
    keep = found.weight > least
    return replace(found, at=found.at[keep], weight=found.weight[keep] / found.weight[keep].sum())


@dataclass(frozen=True)
class _Frame:
    """Where points are put: a middle, axes with a length each (columns), and how far they reach either side."""

    middle: FloatArray
    axes: FloatArray
    spread: FloatArray

    @classmethod
    def at_mode(
        cls, log_density: Callable[[FloatArray], FloatArray], mode: FloatArray, curvature: FloatArray
    ) -> _Frame:
        value, axes = np.linalg.eigh(curvature)
        axes = axes / np.sqrt(np.clip(value, 0.5, None))
        top = float(log_density(mode[None])[0])
        drop = top - log_density(mode + REACH * np.concatenate([axes.T, -axes.T]))
        return cls(mode, axes, np.clip(REACH / np.sqrt(2 * np.clip(drop, 0.05, None)), 0.5, 2.0).reshape(2, -1))

    @classmethod
    def of_points(cls, found: Integrated, before: _Frame) -> _Frame:
        middle = found.weight @ found.at
        away = found.at - middle
        # A little of the frame before keeps it from falling flat where few points count.
        value, axes = np.linalg.eigh(0.9 * (found.weight[:, None] * away).T @ away + 0.1 * before.axes @ before.axes.T)
        return cls(middle, axes * np.sqrt(value), np.ones((2, len(middle))))


def _weighted(
    log_density: Callable[[FloatArray], FloatArray], frame: _Frame, size: int, mode: FloatArray
) -> Integrated:
    """Put points into a frame and weight them."""
    uniform = _sequence(size, len(frame.middle))
    # Either side has the share of the whole that its reach has.
    right = frame.spread[0] / frame.spread.sum(0)
    up = uniform > 1 - right
    tail = np.where(up, (1 - uniform) / right, uniform / (1 - right)) / 2
    t = -stdtrit(TAIL_DF, np.clip(tail, 1e-12, 0.5))
    at = frame.middle + np.where(up, t * frame.spread[0], -t * frame.spread[1]) @ frame.axes.T
    log_weight = log_density(at) + (TAIL_DF + 1) / 2 * np.log1p(t**2 / TAIL_DF).sum(1)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    return Integrated(at, weight, float(1 / (weight**2).sum()), mode)


def _mode(log_density: Callable[[FloatArray], FloatArray], start: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mode and negative curvature there: steps by slope and curvature along each score, all curvature at the end."""
    at, reach = start.astype(float), 1.0
    for _ in range(ROUNDS):
        middle, slope, curvature = _along(log_density, at)
        step = slope / np.maximum(np.abs(curvature), LEAST_CURVATURE)
        longest = np.abs(step).max()
        if longest < CLOSE:
            break
        tries = at + step * min(1.0, reach / longest) * TRIED_STEPS[:, None]
        found = log_density(tries)
        best = int(np.argmax(found))
        if found[best] <= middle:
            break
        at, reach = tries[best], float(np.clip(reach * (2.0 if best < 2 else 0.7), 0.25, 2.0))
        if found[best] - middle < GAINED:
            break
    return at, _curvature(log_density, at)


def _along(log_density: Callable[[FloatArray], FloatArray], at: FloatArray) -> tuple[float, FloatArray, FloatArray]:
    """Log density, its slope, and its negative curvature along each score."""
    d, one = len(at), STEP * np.eye(len(at))
    found = log_density(np.concatenate([at[None], at + one, at - one]))
    middle, up, down = found[0], found[1 : d + 1], found[d + 1 :]
    return float(middle), (up - down) / (2 * STEP), (2 * middle - up - down) / STEP**2


def _curvature(log_density: Callable[[FloatArray], FloatArray], at: FloatArray) -> FloatArray:
    """Negative curvature, by differences of neighbours on either side."""
    d, one = len(at), STEP * np.eye(len(at))
    pairs = list(combinations(range(d), 2))
    both = np.array([one[i] + one[j] for i, j in pairs]).reshape(-1, d)
    middle, slope, diagonal = _along(log_density, at)
    found = np.diag(diagonal)
    up = middle + STEP * slope - 0.5 * STEP**2 * diagonal
    for (i, j), value in zip(pairs, log_density(at + both) if pairs else (), strict=True):
        found[i, j] = found[j, i] = -(value - up[i] - up[j] + middle) / STEP**2
    return found


def _sequence(size: int, d: int) -> FloatArray:
    """Equidistributed points (a Kronecker sequence on the roots of x**(d + 1) = x + 1), shape (size, d)."""
    root = 2.0
    for _ in range(60):
        root = (1 + root) ** (1 / (d + 1))
    return np.asarray((0.5 + np.outer(np.arange(1, size + 1), root ** -np.arange(1.0, d + 1))) % 1.0)
