"""Step 5b: Fisher scoring on the variances, with an active set at zero, for one response or many at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import NDArray

from trialkit.domain.arrays import BoolArray, FloatArray
from trialkit.mixed.algebra_choice import absorption_pays
from trialkit.mixed.likelihood import Evaluation, evaluate, joined
from trialkit.mixed.model import Model, Prepared, starting_variances
from trialkit.mixed.products import CrossProducts
from trialkit.mixed.refusals import ConfoundedTerm, NotConverged, NoVariation

if TYPE_CHECKING:
    from trialkit.mixed.absorbed_likelihood import AbsorbedPoint

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
# Variances are told apart where the smallest eigenvalue of their correlations' information is above this.
LEAST_INFORMATION = 1e-10
# Newton's step is taken where every eigenvalue of the observed information is above this share of the expected.
NEWTON_SHARE = 1e-3
# ... and the score is below this many of its standard deviations.
NEWTON_BELOW = 0.3


@dataclass(frozen=True)
class Ending:
    """When a search for variances ends: at a score in units of its standard deviation, or after so many tries."""

    score: float
    steps: int
    dampings: int


EXACTLY = Ending(SCORE_TOLERANCE, MOST_ITERATIONS, MOST_DAMPINGS_ALTOGETHER)


@dataclass(frozen=True)
class FitRecord:
    """How the variances were found, for each response."""

    # Shape (r,). Steps taken, and times that one was damped because it made the criterion worse.
    iterations: NDArray[np.intp]
    dampings: NDArray[np.intp]
    largest_score: Annotated[
        FloatArray, "Shape (r,). Largest projected score at the end, in units of its standard deviation."
    ]
    free: Annotated[BoolArray, "Shape (r, k). Variances not held at zero."]
    informed: Annotated[
        BoolArray,
        "Shape (r,). Whether the free variances could be told apart at the end, which they cannot at the edge where V "
        "ceases to be positive definite.",
    ]
    directions: Annotated[
        FloatArray | None,
        "Shape (k, d). Where the covariance matrix of a random term is singular, the directions in which the "
        "parameters can move and leave it so; else None, and the free variances move alone.",
    ] = None
    singular: Annotated[tuple[str, ...], "Random terms with slopes whose covariance matrix is singular."] = ()

    @property
    def converged(self) -> BoolArray:
        """Whether the score settled where something is known, shape (r,)."""
        return self.settled(ACCEPTABLE_SCORE)

    def settled(self, score: float) -> BoolArray:
        """Whether it settled to a score, shape (r,)."""
        return self.informed & (self.largest_score <= score)


def estimate(
    model: Model, prepared: Prepared, *, restricted: bool, bounded: bool
) -> tuple[Evaluation | AbsorbedPoint, FitRecord]:
    """Find the variances of greatest likelihood of one response, by the algebra that serves it.

    Raises
    ------
    ConfoundedTerm
        As from `estimate_each`.
    NoVariation, NotConverged
        If they do not settle; the message says what to change.
    """
    if bounded and absorption_pays(model):
        # The second algebra loads scipy's sparse matrices, which the first does without.
        from trialkit.mixed.face_scoring import estimate_absorbed

        return estimate_absorbed(model, prepared, restricted=restricted)
    point, record = estimate_each(model, prepared, restricted=restricted, bounded=bounded)
    require_converged(point.variances[0], record)
    return point, record


def estimate_each(
    model: Model,
    prepared: Prepared,
    *,
    restricted: bool,
    bounded: bool,
    start: FloatArray | None = None,
    ending: Ending = EXACTLY,
) -> tuple[Evaluation, FitRecord]:
    """Find the variances of greatest likelihood of each response; which of them settled is told in the record.

    What bounds the search is as for `maximise`. `start`, shape (r, k) or (1, k), has variances to start from, in
    squared units of the prepared scale, of a design already known to tell them apart; by default equal parts of the
    total.

    Raises
    ------
    ConfoundedTerm
        If the design cannot tell the variances apart, whatever the response.
    """
    first = None if start is not None else distinct_start(model, prepared)
    if first is None or not restricted:
        products = first.products if first else model.cross_products(prepared)
        first = evaluate(products, starting_variances(model)[None] if start is None else start, restricted=restricted)
    return maximise(first, restricted=restricted, bounded=bounded, ending=ending)


def distinct_start(model: Model, prepared: Prepared) -> Evaluation:
    """Evaluate the restricted likelihood at equal variances; refuse those that the design cannot tell apart.

    Raises
    ------
    ConfoundedTerm
    """
    point = evaluate(model.cross_products(prepared), starting_variances(model)[None], restricted=True)
    refuse_confounded(point.expected[0], point.variances[0], model.variance_names)
    return point


def maximise(
    start: Evaluation, *, restricted: bool, bounded: bool, ending: Ending = EXACTLY
) -> tuple[Evaluation, FitRecord]:
    """Find each response's variances of greatest likelihood.

    The first step is Fisher's, which ends at once on an orthogonal design with no variance held; then Newton's is
    taken where the observed information allows it, else Fisher's. A step that raises the criterion is damped. A
    response takes no further part once its projected score is nil.

    If bounded, variances are held at zero or above; else they may go negative while V stays positive definite. A
    response that has not settled by its ending runs along that edge, and is left where it is.
    """
    r, here = len(start.variances), start
    iterations, dampings, rows = np.zeros(r, np.intp), np.zeros(r, np.intp), np.arange(r)
    ended: list[tuple[NDArray[np.intp], Evaluation]] = []
    free = _free(here, bounded)
    largest = _largest_score(here, free)
    going = np.isfinite(largest) & (largest >= ending.score)
    for _ in range(ending.steps):
        if not going.any():
            break
        if not going.all():
            ended.append((rows[~going], here.take(~going)))
            rows, here, free, largest = rows[going], here.take(going), free[going], largest[going]
        here, moved, damped = _step(here, free, largest < NEWTON_BELOW, restricted=restricted, bounded=bounded)
        iterations[rows] += moved
        dampings[rows] += damped
        free = _free(here, bounded)
        largest = _largest_score(here, free)
        going = moved & np.isfinite(largest) & (largest >= ending.score)
        going &= dampings[rows] < ending.dampings
    if not ended:
        return here, FitRecord(iterations, dampings, largest, free, _informed(here, free))
    point = joined([*ended, (rows, here)], start.products)
    free = _free(point, bounded)
    return point, FitRecord(iterations, dampings, _largest_score(point, free), free, _informed(point, free))


def require_converged(variances: FloatArray, record: FitRecord) -> None:
    """Refuse to hand on a single fit, of variances of shape (k,), that did not settle.

    Raises
    ------
    NoVariation, NotConverged
    """
    if record.converged[0]:
        return
    tried = (
        f"after {record.iterations[0]} steps and {record.dampings[0]} dampings (largest score "
        f"{record.largest_score[0]:.2g} standard deviations at {np.array2string(variances, precision=4)})"
    )
    if variances[-1] < NO_RESIDUAL:
        raise NoVariation("The random terms take up all the variation: none is left for the residual.")
    if (variances < 0).any():
        raise NotConverged(
            f"The variances, left free, ran to the edge, where the covariance of the data is no longer positive "
            f"definite, {tried}. Hold them at zero or above (bounds='nonnegative')."
        )
    raise NotConverged(f"The variances did not settle {tried}.")


def _free(point: Evaluation, bounded: bool) -> BoolArray:
    """Variances that take part in the step: all but those at zero that the score would push below."""
    if not bounded:
        return np.ones(point.variances.shape, bool)
    return (point.variances > 0) | (point.score > 0)


def _largest_score(point: Evaluation, free: BoolArray) -> FloatArray:
    """Largest score of a free variance in its standard deviations; not finite at the edge, where nothing is known."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(free, np.abs(point.score) / point.score_sd, 0.0).max(1))


def _informed(point: Evaluation, free: BoolArray) -> BoolArray:
    """Whether the expected information about the free variances can be inverted, shape (r,)."""
    both, scale = free[:, :, None] & free[:, None, :], point.score_sd
    known = np.asarray((np.isfinite(scale) & ((scale > 0) | ~free)).all(1))
    both &= known[:, None, None]
    outer = np.where(both, scale[:, :, None] * scale[:, None, :], 1.0)
    scaled = np.where(both, point.expected / outer, np.eye(free.shape[1]))
    return np.asarray(known & (np.linalg.eigvalsh(scaled)[:, 0] > LEAST_INFORMATION))


def _step(
    point: Evaluation, free: BoolArray, newton: BoolArray, *, restricted: bool, bounded: bool
) -> tuple[Evaluation, BoolArray, NDArray[np.intp]]:
    """Take one step over the free variances, Newton's where asked for, damped until the criterion does not rise.

    Gives the new points (where none was found, the old), which responses moved, and how often each step was damped.
    """
    terms = len(point.products.design.term_columns)
    limit = point.criterion + CRITERION_TOLERANCE * (1 + np.abs(point.criterion))
    pending, dampings, accepted = np.arange(len(limit)), np.zeros(len(limit), np.intp), []
    for attempt in range(MOST_DAMPINGS):
        damping = FIRST_DAMPING * 4.0**attempt if attempt else 0.0
        here = point.take(pending) if attempt else point
        candidate = here.variances + _direction(here, free[pending], newton[pending], damping)
        if bounded:
            candidate[:, :terms] = np.maximum(candidate[:, :terms], 0.0)
            _take_least_squares(candidate, here.products, restricted=restricted)
        tried = evaluate(here.products, candidate, restricted=restricted)
        better = tried.criterion <= limit[pending]
        if better.all():
            accepted.append((pending, tried))
            break
        accepted.append((pending[better], tried.take(better)))
        pending = pending[~better]
        dampings[pending] += 1
    else:
        accepted.append((pending, point.take(pending)))
    moved = dampings < MOST_DAMPINGS
    return joined(accepted, point.products), moved, dampings


def _take_least_squares(variances: FloatArray, products: CrossProducts, *, restricted: bool) -> None:
    """Where every random variance is held at zero the residual variance is that of ordinary least squares, in place.

    It is the unit of the responses' scale (`trialkit.mixed.model.prepare`).
    """
    terms, heads = len(products.design.term_columns), products.design.heads
    if terms and len(heads) == 1:
        none = ~variances[:, :terms].any(1)
        variances[none, -1] = 1.0 if restricted else 1.0 - products.design.fixed / float(heads[0])


def _direction(point: Evaluation, free: BoolArray, newton: BoolArray, damping: float) -> FloatArray:
    """Newton's direction, if wanted and the observed information is positive definite, else Fisher's; shape (r, k).

    Damping (Levenberg 1944; Marquardt 1963) adds to the diagonal, in units of the expected information: it shortens
    the step and turns it towards the score, away from the edge where V ceases to be positive definite.
    """
    # A variance that is held, and of which nothing is known where it is held, has no unit of its own.
    both, scale = free[:, :, None] & free[:, None, :], np.where(point.score_sd > 0, point.score_sd, 1.0)
    unit, outer = np.eye(free.shape[1]), scale[:, :, None] * scale[:, None, :]
    information = np.where(both, point.expected / outer, unit)
    if newton.any():
        observed = np.where(both, point.observed / outer, unit)
        definite = newton & (np.linalg.eigvalsh(observed)[:, 0] > NEWTON_SHARE)
        information = np.where(definite[:, None, None], observed, information)
    score = np.where(free, point.score / scale, 0.0)
    return np.asarray(np.linalg.solve(information + (damping + JITTER) * unit, score[..., None])[..., 0] / scale)


def refuse_confounded(expected: FloatArray, variances: FloatArray, names: Sequence[str]) -> None:
    """Refuse a model whose variances the design cannot tell apart, by the expected information at some variances.

    Raises
    ------
    ConfoundedTerm
    """
    scale = np.sqrt(np.maximum(np.diagonal(expected), np.finfo(float).tiny))
    unseen = [name for name, s, v in zip(names, scale, variances, strict=True) if s * v < 1e-6]
    if unseen:
        raise ConfoundedTerm(
            f"The data cannot show the variance of {_listed(unseen)}: the fixed part of the model (or a single level) "
            "takes it all up. Leave that term out, or put it in the fixed part only."
        )
    values, vectors = np.linalg.eigh(expected / np.outer(scale, scale))
    if values[0] < LEAST_INFORMATION:
        mixed = [name for name, weight in zip(names, vectors[:, 0], strict=True) if abs(weight) > 1e-3]
        raise ConfoundedTerm(f"The variances of {_listed(mixed)} cannot be told apart in these data: keep one of them.")


def _listed(names: Sequence[str]) -> str:
    return " and ".join(repr(name) for name in names)
