"""Parameters of greatest likelihood of counts: quasi-Newton steps, and what has no such parameters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import BoolArray, FloatArray
from trialkit.mixed.binomial_likelihood import BinomialPoint, Counts, evaluate
from trialkit.mixed.fixed import FixedDesign
from trialkit.mixed.model import Model
from trialkit.mixed.refusals import NotConverged, Separation

MOST_STEPS, MOST_HALVINGS = 200, 30
FIRST_SD = 0.5
# Half of what a further step would gain in the deviance, as foreseen; where rounding ends the steps, what may be left.
SETTLED, ACCEPTABLE = 1e-12, 1e-7
# A standard deviation, in logits, below the first is none where the likelihood does not miss it; one above the second
# has run off: levels of the term are all or none.
NONE_BELOW, RUN_OFF = 1e-3, 10.0
DIFFERENCE = 1e-4
LONGEST = 3.0


@dataclass(frozen=True)
class BinomialRecord:
    """How the parameters were found."""

    steps: Annotated[int, "Steps taken."]
    left: Annotated[float, "What a further step would gain in the deviance, as foreseen."]
    free: Annotated[tuple[bool, ...], "Terms whose standard deviation is not at zero."]


def require_overlap(model: Model, successes: FloatArray, trials: FloatArray) -> None:
    """Refuse counts, by row, that the fixed part splits into all and none: no estimate is finite then.

    Albert & Anderson (1984), Biometrika 71, 1-10. A direction of the fixed effects along which no record grows less
    likely, and some more so, is looked for by linear programming among the distinct rows (Konis 2007).

    Raises
    ------
    Separation
    """
    at = model.fixed_row[model.cells.codes]
    rows = len(model.fixed.orthogonal)
    came, of = np.bincount(at, successes, rows), np.bincount(at, trials, rows)
    side = np.where(came == of, 1.0, np.where(came == 0, -1.0, 0.0))
    if not side.any():
        return
    from scipy.optimize import linprog

    x = model.fixed.orthogonal / np.abs(model.fixed.orthogonal).max()
    split, mixed = side[side != 0, None] * x[side != 0], x[side == 0]
    found = linprog(
        -split.sum(0),
        A_ub=-split,
        b_ub=np.zeros(len(split)),
        A_eq=mixed if len(mixed) else None,
        b_eq=np.zeros(len(mixed)) if len(mixed) else None,
        bounds=(-1, 1),
    )
    apart = np.zeros(rows, bool)
    apart[side != 0] = split @ found.x > 1e-7
    if apart.any():
        raise Separation(
            f"All or none came of every trial with {_named(model.fixed, apart)}, so that no finite estimate is the "
            "likeliest: leave these rows out, or a factor that splits them off.",
            model.row_labels[apart[at]],
        )


def _named(fixed: FixedDesign, rows: BoolArray) -> str:
    """Levels of the first few of some distinct rows."""
    told = []
    for row in np.flatnonzero(rows)[:3]:
        parts = [f"{name} {levels[fixed.codes[name][row]]}" for name, levels in fixed.factors.items()]
        told.append(", ".join(parts) or "these values of the covariates")
    more = int(rows.sum()) - len(told)
    return "; ".join(dict.fromkeys(told)) + (f"; and {more} more" if more else "")


def search(counts: Counts, points: int, names: tuple[str, ...]) -> tuple[BinomialPoint, BinomialRecord]:
    """Find the parameters of greatest likelihood.

    Steps are those of Broyden, Fletcher, Goldfarb and Shanno from the information of the fixed effects, and from
    differences of the gradient in the standard deviations; the likelihood is even in each of these, so that none needs
    a bound at zero.

    Raises
    ------
    NotConverged
        If a standard deviation runs off, or steps end before nothing is left to gain.
    """
    point = evaluate(counts, _start(counts), points)
    inverse = _first_inverse(counts, point, points)
    steps, step = 0, -inverse @ point.gradient
    while (left := -float(point.gradient @ step) / 2) > SETTLED and steps < MOST_STEPS:
        taken = _shortened(counts, point, step, points)
        if taken is None:
            break
        _refuse_run_off(taken.theta, names)
        inverse = _updated(inverse, taken.parameters - point.parameters, taken.gradient - point.gradient)
        point, steps, step = taken, steps + 1, -inverse @ taken.gradient
    if left > ACCEPTABLE:
        raise NotConverged(
            f"The likelihood did not settle in {steps} steps: a further one would still gain {left:.1g}. Leave out a "
            "random term."
        )
    point, free = _none_where_none(counts, point, points)
    return point, BinomialRecord(steps, left, free)


def curvature_at(counts: Counts, point: BinomialPoint, points: int, free: tuple[bool, ...]) -> FloatArray:
    """Second derivatives of the deviance in the free standard deviations and the fixed effects, by differences."""
    moved = np.flatnonzero([*free, *np.ones(len(point.coefficients), bool)])
    rows = []
    for i in moved:
        unit = np.zeros(len(point.parameters))
        unit[i] = DIFFERENCE * max(1.0, abs(point.parameters[i]))
        above, below = (evaluate(counts, point.parameters + sign * unit, points, point) for sign in (1, -1))
        rows.append((above.gradient - below.gradient)[moved] / (2 * unit[i]))
    found = np.array(rows)
    return np.asarray((found + found.T) / 2)


def _start(counts: Counts) -> FloatArray:
    """Small standard deviations, and fixed effects near those without random terms."""
    shrunk = np.log((counts.successes + 0.5) / (counts.trials - counts.successes + 0.5))
    weights = counts.trials / 4 + 1e-9
    x = counts.x * np.sqrt(weights)[:, None]
    coefficients = np.linalg.lstsq(x, shrunk * np.sqrt(weights), rcond=None)[0]
    return np.concatenate([np.full(counts.terms, FIRST_SD), coefficients])


def _first_inverse(counts: Counts, point: BinomialPoint, points: int) -> FloatArray:
    size = len(point.parameters)
    hessian = np.zeros((size, size))
    hessian[counts.terms :, counts.terms :] = 2 * point.information
    for term in range(counts.terms):
        unit = DIFFERENCE * np.eye(size)[term]
        column = (evaluate(counts, point.parameters + unit, points, point).gradient - point.gradient) / DIFFERENCE
        hessian[term], hessian[:, term] = column, column
    values, vectors = np.linalg.eigh(hessian)
    # Where the likelihood is not bowl-shaped yet, the step is shortened and goes downhill all the same.
    values = np.maximum(np.abs(values), 1e-3)
    return np.asarray((vectors / values) @ vectors.T)


def _shortened(counts: Counts, point: BinomialPoint, step: FloatArray, points: int) -> BinomialPoint | None:
    """Where a step leads, halved until it gains; None where rounding hides the gain."""
    slope = float(point.gradient @ step)
    longest = np.abs(step[: counts.terms]).max(initial=0.0)
    size = min(1.0, LONGEST / longest) if longest else 1.0
    for _ in range(MOST_HALVINGS):
        tried = evaluate(counts, point.parameters + size * step, points, point)
        if tried.deviance <= point.deviance + 1e-4 * size * slope:
            return tried
        size /= 2
    return None


def _updated(inverse: FloatArray, step: FloatArray, change: FloatArray) -> FloatArray:
    along = float(step @ change)
    if along <= 1e-14 * float(np.linalg.norm(step) * np.linalg.norm(change)):
        return inverse
    turned = np.eye(len(step)) - np.outer(step, change) / along
    return np.asarray(turned @ inverse @ turned.T + np.outer(step, step) / along)


def _refuse_run_off(theta: FloatArray, names: tuple[str, ...]) -> None:
    far = [repr(name) for name, sd in zip(names, np.abs(theta), strict=True) if sd > RUN_OFF]
    if far:
        raise NotConverged(
            f"The standard deviation of {' and '.join(far)} has no end: at nearly every level all came or none did. "
            "Leave the term out, or count by that level."
        )


def _none_where_none(counts: Counts, point: BinomialPoint, points: int) -> tuple[BinomialPoint, tuple[bool, ...]]:
    """Put standard deviations that nothing asks for at exactly zero, and the others above it."""
    parameters = np.concatenate([np.abs(point.theta), point.coefficients])
    small = parameters[: counts.terms] < NONE_BELOW
    if small.any():
        parameters[: counts.terms][small] = 0.0
    found = evaluate(counts, parameters, points, point if (point.theta >= 0).all() else None)
    if found.deviance > point.deviance + 1e-6:
        return evaluate(counts, np.abs(point.parameters), points), tuple([True] * counts.terms)
    return found, tuple(bool(sd > 0) for sd in found.theta)
