"""Step 5b: Fisher scoring on the variances, with an active set at zero, for one response or many at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.mixed.errors import ConfoundedTerm, NotConverged, NoVariation
from trialkit.mixed.likelihood import Evaluation, evaluate
from trialkit.mixed.products import CrossProducts

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOST_ITERATIONS = 200
MOST_DAMPINGS = 30
FIRST_DAMPING = 1e-3
JITTER = 1e-12  # keeps an information matrix that has become singular from stopping the search
# A fit that was damped so often runs along the edge where V ceases to be positive definite.
MOST_DAMPINGS_ALTOGETHER = 150
# The score in units of its standard deviation: an estimate is then within this share of its standard error.
SCORE_TOLERANCE = 1e-9
# Where rounding ends the steps, what they could still gain must be far below a standard error.
ACCEPTABLE_SCORE = 1e-6
# Rounding of a criterion that sums up many heads.
CRITERION_TOLERANCE = 1e-10
# A residual variance below this share of the total is none.
NO_RESIDUAL = 1e-8
# Newton's step is taken where every eigenvalue of the observed information is above this share of the expected.
NEWTON_SHARE = 0.05


@dataclass(frozen=True)
class FitRecord:
    """How the variances were found, for each response.

    Attributes
    ----------
    iterations, dampings : ndarray of int, shape (r,)
        Steps taken, and times that one was damped because it made the criterion worse.
    largest_score : ndarray, shape (r,)
        Largest projected score at the end, in units of its standard deviation.
    free : ndarray of bool, shape (r, k)
        Variances not held at zero.
    """

    iterations: NDArray[np.intp]
    dampings: NDArray[np.intp]
    largest_score: FloatArray
    free: BoolArray

    @property
    def converged(self) -> BoolArray:
        """Whether the score settled, shape (r,)."""
        return self.largest_score <= ACCEPTABLE_SCORE


def maximise(
    products: CrossProducts, start: Evaluation, *, restricted: bool, bounded: bool
) -> tuple[Evaluation, FitRecord]:
    """Find each response's variances of greatest likelihood.

    Newton's step is taken where the observed information allows it, else Fisher's; a step that raises the criterion
    is damped. A response takes no further part once its projected score is nil.

    Parameters
    ----------
    products : CrossProducts
    start : Evaluation
        At positive variances of each response.
    restricted : bool
        REML rather than full likelihood.
    bounded : bool
        Hold variances at zero or above; else they may go negative while V stays positive definite.
    """
    r, point = len(products.within), start
    iterations, dampings = np.zeros(r, np.intp), np.zeros(r, np.intp)
    active = np.ones(r, bool)
    for _ in range(MOST_ITERATIONS):
        active &= _largest_score(point, _free(point, bounded)) >= SCORE_TOLERANCE
        active &= dampings < MOST_DAMPINGS_ALTOGETHER
        if not active.any():
            break
        everyone = bool(active.all())
        here = point if everyone else point.take(active)
        following, moved, damped = _step(
            products if everyone else products.take(active), here, restricted=restricted, bounded=bounded
        )
        iterations[active] += moved
        dampings[active] += damped
        if everyone and moved.all():
            point = following
        else:
            which = active.copy()
            which[active] = moved
            point.put(which, following.take(moved))
            active = which
    free = _free(point, bounded)
    return point, FitRecord(iterations, dampings, _largest_score(point, free), free)


def require_converged(point: Evaluation, record: FitRecord) -> None:
    """Refuse to hand on a single fit that did not settle."""
    if record.converged[0]:
        return
    tried = (
        f"after {record.iterations[0]} steps and {record.dampings[0]} dampings (largest score "
        f"{record.largest_score[0]:.2g} standard deviations at {np.array2string(point.variances[0], precision=4)})"
    )
    if point.variances[0, -1] < NO_RESIDUAL:
        raise NoVariation("The random terms take up all the variation: none is left for the residual.")
    if (point.variances[0] < 0).any():
        raise NotConverged(
            f"The variances, left free, ran to the edge where the covariance of the data is no longer positive "
            f"definite, {tried}: hold them at zero or above (bounds='nonnegative')."
        )
    raise NotConverged(f"The variances did not settle {tried}.")


def _free(point: Evaluation, bounded: bool) -> BoolArray:
    """Variances that take part in the step: all but those at zero that the score would push below."""
    if not bounded:
        return np.ones(point.variances.shape, bool)
    return (point.variances > 0) | (point.score > 0)


def _largest_score(point: Evaluation, free: BoolArray) -> FloatArray:
    sd = np.sqrt(np.abs(np.diagonal(point.expected, axis1=1, axis2=2)))
    return np.asarray(np.max(np.where(free, np.abs(point.score), 0.0) / sd, axis=1))


def _step(
    products: CrossProducts, point: Evaluation, *, restricted: bool, bounded: bool
) -> tuple[Evaluation, BoolArray, NDArray[np.intp]]:
    """Take one step, damped until the criterion does not rise.

    Returns
    -------
    following : Evaluation
        The new points; where none was found, the old.
    moved : ndarray of bool, shape (r,)
    dampings : ndarray of int, shape (r,)
    """
    free = _free(point, bounded)
    limit = point.criterion + CRITERION_TOLERANCE * (1 + np.abs(point.criterion))
    following: Evaluation | None = None
    pending, dampings = np.ones(len(limit), bool), np.zeros(len(limit), np.intp)
    for attempt in range(MOST_DAMPINGS):
        damping = FIRST_DAMPING * 4.0**attempt if attempt else 0.0
        here = point.take(pending) if attempt else point
        candidate = here.variances + _direction(here, free[pending], damping)
        if bounded:
            terms = len(products.design.term_columns)
            candidate[:, :terms] = np.maximum(candidate[:, :terms], 0.0)
        tried = evaluate(products.take(pending) if attempt else products, candidate, restricted=restricted)
        better = tried.criterion <= limit[pending]
        if following is None and better.all():
            return tried, better, dampings
        if following is None:
            following = point.take(pending)
        accepted = pending.copy()
        accepted[pending] = better
        following.put(accepted, tried.take(better))
        pending &= ~accepted
        dampings[pending] += 1
        if not pending.any():
            break
    assert following is not None, "the loop runs at least once"
    return following, ~pending, dampings


def _direction(point: Evaluation, free: BoolArray, damping: float) -> FloatArray:
    """Newton's direction where the observed information is positive definite, else Fisher's; shape (r, k).

    Damping (Levenberg 1944; Marquardt 1963) adds to the diagonal, in units of the expected information: it shortens
    the step and turns it towards the score, away from the edge where V ceases to be positive definite.
    """
    both = free[:, :, None] & free[:, None, :]
    scale = np.sqrt(np.abs(np.diagonal(point.expected, axis1=1, axis2=2)))
    unit, outer = np.eye(free.shape[1]), scale[:, :, None] * scale[:, None, :]
    observed = np.where(both, point.observed / outer, unit)
    expected = np.where(both, point.expected / outer, unit)
    newton = np.linalg.eigvalsh(observed)[:, 0] > NEWTON_SHARE
    information = np.where(newton[:, None, None], observed, expected) + (damping + JITTER) * unit
    score = np.where(free, point.score / scale, 0.0)
    return np.asarray(np.linalg.solve(information, score[..., None])[..., 0] / scale)


def refuse_confounded(point: Evaluation, names: Sequence[str]) -> None:
    """Refuse a model whose variances the design cannot tell apart, whatever the response."""
    expected, variances = point.expected[0], point.variances[0]
    scale = np.sqrt(np.maximum(np.diagonal(expected), np.finfo(float).tiny))
    unseen = [name for name, s, v in zip(names, scale, variances, strict=True) if s * v < 1e-6]
    if unseen:
        raise ConfoundedTerm(
            f"The data cannot show the variance of {_listed(unseen)}: the fixed part of the model (or a single level) "
            "takes it all up. Leave that term out, or put it in the fixed part only."
        )
    values, vectors = np.linalg.eigh(expected / np.outer(scale, scale))
    if values[0] < 1e-10:
        mixed = [name for name, weight in zip(names, vectors[:, 0], strict=True) if abs(weight) > 1e-3]
        raise ConfoundedTerm(f"The variances of {_listed(mixed)} cannot be told apart in these data: keep one of them.")


def _listed(names: Sequence[str]) -> str:
    return " and ".join(repr(name) for name in names)
