"""Step 5b: Fisher scoring on the variances, with an active set at zero."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.mixed.errors import ConfoundedTerm, NotConverged
from trialkit.mixed.likelihood import Evaluation, evaluate
from trialkit.mixed.products import CrossProducts

FloatArray = NDArray[np.float64]

MOST_ITERATIONS = 200
MOST_HALVINGS = 40
# The score in units of its standard deviation: an estimate is then within this share of its standard error.
SCORE_TOLERANCE = 1e-9
# Rounding of a criterion that sums up many heads.
CRITERION_TOLERANCE = 1e-10


@dataclass(frozen=True)
class FitRecord:
    """How the variances were found.

    Attributes
    ----------
    iterations : int
        Steps taken.
    halvings : int
        Times that a step was halved because it made the criterion worse.
    largest_score : float
        Largest projected score at the end, in units of its standard deviation.
    at_zero : tuple of int
        Positions of the variances held at zero.
    """

    iterations: int
    halvings: int
    largest_score: float
    at_zero: tuple[int, ...]


def maximise(
    products: CrossProducts, start: FloatArray, names: Sequence[str], *, restricted: bool, bounded: bool
) -> tuple[Evaluation, FitRecord]:
    """Find the variances of greatest likelihood.

    Newton's step is taken where the observed information allows it, else Fisher's; a step that raises the
    criterion is halved.

    Parameters
    ----------
    products : CrossProducts
    start : ndarray, shape (k,)
        Positive starting variances, the residual last.
    names : sequence of str
        Names of the variances, for messages.
    restricted : bool
        REML rather than full likelihood.
    bounded : bool
        Hold variances at zero or above; else they may go negative while V stays positive definite.

    Raises
    ------
    NotConverged
        If the score does not settle.
    ConfoundedTerm
        If the data cannot tell two variances apart.
    """
    current = evaluate(products, start, restricted=restricted)
    assert current is not None, "positive variances give a positive definite V"
    _refuse_confounded(current, names)
    iterations = halvings = 0
    while iterations < MOST_ITERATIONS:
        free = _free(current, bounded)
        if _largest_score(current, free) < SCORE_TOLERANCE:
            break
        following, halved = _step(products, current, free, restricted=restricted, bounded=bounded)
        halvings += halved
        if following is None:
            break
        current = following
        iterations += 1
    free = _free(current, bounded)
    record = FitRecord(
        iterations=iterations,
        halvings=halvings,
        largest_score=_largest_score(current, free),
        at_zero=tuple(int(i) for i in np.flatnonzero(~free)),
    )
    # Rounding may stop a step that still shows a score: what it could gain is then far below a standard error.
    if record.largest_score > 1e3 * SCORE_TOLERANCE:
        raise NotConverged(
            f"The variances did not settle after {record.iterations} steps and {record.halvings} halvings "
            f"(largest score {record.largest_score:.2g} standard deviations at {current.variances})."
        )
    return current, record


def _free(point: Evaluation, bounded: bool) -> NDArray[np.bool_]:
    """Variances that take part in the step: all but those at zero that the score would push below."""
    if not bounded:
        return np.ones(len(point.variances), bool)
    return (point.variances > 0) | (point.score > 0)


def _largest_score(point: Evaluation, free: NDArray[np.bool_]) -> float:
    return float(np.max(np.abs(point.score[free]) / np.sqrt(np.diagonal(point.expected)[free]), initial=0.0))


def _step(
    products: CrossProducts, point: Evaluation, free: NDArray[np.bool_], *, restricted: bool, bounded: bool
) -> tuple[Evaluation | None, int]:
    """Take one step, halved until the criterion does not rise; None where no step is left to take."""
    direction = np.zeros(len(point.variances))
    direction[free] = _direction(point, free)
    slack = CRITERION_TOLERANCE * (1 + abs(point.criterion))
    for halved in range(MOST_HALVINGS):
        candidate = point.variances + direction / 2**halved
        if bounded:
            candidate[:-1] = np.maximum(candidate[:-1], 0.0)
        if np.array_equal(candidate, point.variances):
            break
        following = evaluate(products, candidate, restricted=restricted)
        if following is not None and following.criterion <= point.criterion + slack:
            return following, halved
    return None, MOST_HALVINGS


def _direction(point: Evaluation, free: NDArray[np.bool_]) -> FloatArray:
    score = point.score[free]
    for information in (point.observed, point.expected):
        block = information[np.ix_(free, free)]
        scale = np.sqrt(np.abs(np.diagonal(block)))
        try:
            lower = np.linalg.cholesky(block / np.outer(scale, scale))
        except np.linalg.LinAlgError:
            continue
        return np.asarray(np.linalg.solve(lower.T, np.linalg.solve(lower, score / scale)) / scale)
    return np.asarray(np.linalg.lstsq(point.expected[np.ix_(free, free)], score, rcond=None)[0])


def _refuse_confounded(point: Evaluation, names: Sequence[str]) -> None:
    """Refuse a model whose variances the design cannot tell apart, whatever the response."""
    scale = np.sqrt(np.maximum(np.diagonal(point.expected), np.finfo(float).tiny))
    unseen = [name for name, s, v in zip(names, scale, point.variances, strict=True) if s * v < 1e-6]
    if unseen:
        raise ConfoundedTerm(
            f"The data cannot show the variance of {_listed(unseen)}: the fixed part of the model (or a single level) "
            "takes it all up. Leave that term out, or put it in the fixed part only."
        )
    values, vectors = np.linalg.eigh(point.expected / np.outer(scale, scale))
    if values[0] < 1e-10:
        mixed = [name for name, weight in zip(names, vectors[:, 0], strict=True) if abs(weight) > 1e-3]
        raise ConfoundedTerm(f"The variances of {_listed(mixed)} cannot be told apart in these data: keep one of them.")


def _listed(names: Sequence[str]) -> str:
    return " and ".join(repr(name) for name in names)
