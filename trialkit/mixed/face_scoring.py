"""The second algebra, step d: scoring on variances and covariances, with covariance matrices positive semidefinite.

A simple term's variance moves as in `scoring`, held at zero where the score would push it below. A covariance matrix
of rank r is moved by its root, ``Sigma = L L' -> (L + A)(L + A)'``, so that it stays positive semidefinite; A runs over
the directions of the face of rank r on which Sigma stands (see `_root_directions`). The step is Newton's: beside the
information about the parameters it has the curvature of ``A A'``, which takes a root that has to vanish to zero
quickly. A root that has all but vanished is taken for zero, and the matrix is then of lower rank; it rises again if the
likelihood rises with it (the score matrix between null directions has a positive eigenvalue).

On small problems the information is the expected and observed one, on large ones the average information until the end
is near; then the observed one is made once, and kept for the last steps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.absorbed_design import AbsorbedDesign, absorbed_design
from trialkit.mixed.absorbed_likelihood import AbsorbedPoint, CellResponse, evaluate_absorbed, sigmas_of
from trialkit.mixed.model import Model, Prepared
from trialkit.mixed.scoring import (
    CRITERION_TOLERANCE,
    FIRST_DAMPING,
    JITTER,
    LEAST_INFORMATION,
    MOST_DAMPINGS,
    MOST_DAMPINGS_ALTOGETHER,
    MOST_ITERATIONS,
    NEWTON_BELOW,
    NEWTON_SHARE,
    SCORE_TOLERANCE,
    FitRecord,
    refuse_confounded,
    require_converged,
)
from trialkit.mixed.woodbury import EDGE

# Cores up to this size have their expected information at every step, with several residual variances cells up to this.
SMALL_CORE = 300
SMALL_CELLS = 600
# ... larger ones once the score is below this many of its standard deviations.
END_NEAR = 0.03
# A root is taken for zero below this share of the largest, of slopes scaled.
VANISHED = 1e-4


@dataclass(frozen=True)
class _Metric:
    """Information about the parameters inside, shape (k, k)."""

    expected: FloatArray
    observed: FloatArray


@dataclass(frozen=True)
class _Here:
    """A point with the faces on which its covariance matrices stand."""

    point: AbsorbedPoint
    ranks: Annotated[tuple[int, ...], "Rank of each term's covariance matrix that its parameters may move in."]
    metric: _Metric

    @cached_property
    def roots(self) -> tuple[tuple[FloatArray, FloatArray], ...]:
        """Of each term its root L, shape (parts, rank), and the null directions, shape (parts, parts - rank)."""
        result = []
        for sigma, rank in zip(sigmas_of(self.point.design, self.point.inside), self.ranks, strict=True):
            values, vectors = np.linalg.eigh(sigma)
            values, vectors = values[::-1], vectors[:, ::-1]
            result.append((vectors[:, :rank] * np.sqrt(np.maximum(values[:rank], 0.0)), vectors[:, rank:]))
        return tuple(result)

    @cached_property
    def directions(self) -> tuple[FloatArray, FloatArray, list[list[FloatArray]]]:
        """Directions of the parameters, shape (k, d), the curvature of the roots, (d, d), and their A by term."""
        design, k = self.point.design, len(self.point.inside)
        columns: list[FloatArray] = []
        curvature: list[FloatArray] = []
        by_term: list[list[FloatArray]] = []
        start = 0
        for place, (root, null), score in zip(design.places, self.roots, self.point.score_matrices, strict=True):
            pairs = place.term.pairs
            if place.parts == 1:
                moves = [np.ones((1, 1))] if root.size or score[0, 0] > 0 else []
                shifts = moves
                curvature.append(np.zeros((len(moves), len(moves))))
            else:
                moves = _root_directions(root, null)
                shifts = [a @ root.T + root @ a.T for a in moves]
                bend = np.array([[float(np.vdot(score @ a, b)) for b in moves] for a in moves])
                curvature.append(-2 * bend.reshape(len(moves), len(moves)))
            for shift in shifts:
                column = np.zeros(k)
                column[start : start + len(pairs)] = [shift[i, j] for i, j in pairs]
                columns.append(column)
            by_term.append(moves)
            start += len(pairs)
        columns.extend(np.eye(k)[start:])
        whole = np.zeros((len(columns), len(columns)))
        at = 0
        for block in curvature:
            whole[at : at + len(block), at : at + len(block)] = block
            at += len(block)
        return np.column_stack(columns), whole, by_term

    @cached_property
    def scaled(self) -> tuple[FloatArray, FloatArray]:
        """Score along each direction in its standard deviations, and these, from the expected information."""
        along = self.directions[0]
        sd = np.sqrt(np.abs(((self.metric.expected @ along) * along).sum(0)))
        return (along.T @ self.point.score) / np.where(sd > 0, sd, 1.0), sd

    @property
    def largest_score(self) -> float:
        """Largest score in its standard deviations."""
        return float(np.abs(self.scaled[0]).max())

    @cached_property
    def rising(self) -> list[tuple[int, FloatArray]]:
        """Terms whose covariance matrix should rise in rank, with the direction in which."""
        result: list[tuple[int, FloatArray]] = []
        for position, ((_, null), score) in enumerate(zip(self.roots, self.point.score_matrices, strict=True)):
            if len(score) > 1 and null.size:
                values, vectors = np.linalg.eigh(null.T @ score @ null)
                direction = null @ vectors[:, -1]
                if values[-1] > SCORE_TOLERANCE * self._sd(position, np.outer(direction, direction)):
                    result.append((position, direction))
        return result

    def _sd(self, position: int, shift: FloatArray) -> float:
        column = self.column(position, shift)
        return float(np.sqrt(max(float(column @ self.metric.expected @ column), 0.0)))

    def column(self, position: int, shift: FloatArray) -> FloatArray:
        """Change of the parameters where a term's covariance matrix changes, shape (k,)."""
        places = self.point.design.places
        start = sum(len(place.term.pairs) for place in places[:position])
        column = np.zeros(len(self.point.inside))
        pairs = places[position].term.pairs
        column[start : start + len(pairs)] = [shift[i, j] for i, j in pairs]
        return column


def _root_directions(root: FloatArray, null: FloatArray) -> list[FloatArray]:
    """A of shape (parts, rank) for each direction of the face: within the range symmetric, and out of it."""
    rank = root.shape[1]
    lengths = np.asarray(np.linalg.norm(root, axis=0), float)
    range_ = root / np.where(lengths > 0, lengths, 1.0)
    moves = []
    for i in range(rank):
        for j in range(i, rank):
            inner = np.zeros((rank, rank))
            inner[i, j] = inner[j, i] = 1.0
            moves.append(range_ @ inner)
    for direction in null.T:
        moves += [np.outer(direction, unit) for unit in np.eye(rank)]
    return moves


def estimate_absorbed(model: Model, prepared: Prepared, *, restricted: bool) -> tuple[AbsorbedPoint, FitRecord]:
    """Find the parameters of greatest likelihood of one response, as `scoring.estimate` does by the first algebra.

    Raises
    ------
    ConfoundedTerm, NoVariation, NotConverged
        As from there.
    """
    point, record = estimate_again(absorbed_design(model), model, prepared, restricted=restricted)
    require_converged(point.variances[0], record)
    return point, record


def estimate_again(
    design: AbsorbedDesign, model: Model, prepared: Prepared, *, restricted: bool
) -> tuple[AbsorbedPoint, FitRecord]:
    """Find the parameters of one response on a design laid out before; whether they settled is told in the record.

    Raises
    ------
    ConfoundedTerm
        As from `scoring.estimate_each`.
    """
    response = CellResponse(prepared.means[0] * np.sqrt(model.cells.sizes), prepared.within[0])
    return search(design, response, _start(design), restricted=restricted, names=model.parameter_names)


def _start(design: AbsorbedDesign) -> FloatArray:
    """Equal parts of the (scaled) total for every term and the residual, and of a term's for its parts; shape (k,)."""
    share, start = 1 / (len(design.places) + 1), []
    for place in design.places:
        start += [share / place.parts if i == j else 0.0 for i, j in place.term.pairs]
    return np.array([*start, *np.full(len(design.heads), share)])


def _refuse_confounded(here: _Here, names: tuple[str, ...]) -> None:
    """Refuse parameters that cannot be told apart at the start, where a covariance has the size of its variances."""
    sizes = []
    for place, sigma in zip(here.point.design.places, sigmas_of(here.point.design, here.point.inside), strict=True):
        sizes += [float(np.sqrt(sigma[i, i] * sigma[j, j])) for i, j in place.term.pairs]
    residual = here.point.inside[len(sizes) :]
    refuse_confounded(here.metric.expected, np.array([*sizes, *residual]), names)


def search(
    design: AbsorbedDesign, response: CellResponse, start: FloatArray, *, restricted: bool, names: tuple[str, ...]
) -> tuple[AbsorbedPoint, FitRecord]:
    """Find the parameters of greatest likelihood from a start inside, covariance matrices of full rank there."""
    point = evaluate_absorbed(design, response, start, restricted=restricted)
    here = _Here(point, tuple(place.parts for place in design.places), _metric(point, small := _is_small(design)))
    _refuse_confounded(here, names)
    iterations = dampings = 0
    exact = small
    for _ in range(MOST_ITERATIONS):
        if not exact and here.largest_score < END_NEAR:
            here, exact = replace(here, metric=_metric(here.point, True)), True
        if here.largest_score < SCORE_TOLERANCE and not here.rising:
            break
        moved, damped = _step(here)
        dampings += damped
        if moved is None or dampings >= MOST_DAMPINGS_ALTOGETHER:
            break
        iterations += 1
        here = _lower(moved)
        if small or not exact:
            here = replace(here, metric=_metric(here.point, small))
    return here.point, _record(here, iterations, dampings)


def _is_small(design: AbsorbedDesign) -> bool:
    return design.core <= SMALL_CORE and (len(design.heads) == 1 or len(design.x) <= SMALL_CELLS)


def _metric(point: AbsorbedPoint, exact: bool) -> _Metric:
    if exact:
        return _Metric(point.expected_inside, point.observed_inside)
    return _Metric(point.average, point.average)


def _step(here: _Here) -> tuple[_Here | None, int]:
    """Take one step, damped until the criterion does not rise; None where no step is found."""
    limit = here.point.criterion[0] + CRITERION_TOLERANCE * (1 + abs(here.point.criterion[0]))
    if here.rising and here.largest_score < NEWTON_BELOW:
        return _rise(here, limit)
    for attempt in range(MOST_DAMPINGS):
        moved = _moved(here, _direction(here, FIRST_DAMPING * 4.0**attempt if attempt else 0.0))
        if moved is not None and moved.point.criterion[0] <= limit:
            return moved, attempt
    return None, MOST_DAMPINGS


def _direction(here: _Here, damping: float) -> FloatArray:
    """Newton's step where the information with the curvature of the roots is positive definite, else Fisher's."""
    along, curvature, _ = here.directions
    score, sd = here.scaled
    scale = np.where(sd > 0, sd, 1.0)
    outer, unit = np.outer(scale, scale), np.eye(len(scale))
    bent = curvature / outer
    values, vectors = np.linalg.eigh(bent)
    information = along.T @ here.metric.expected @ along / outer + (vectors * np.maximum(values, 0.0)) @ vectors.T
    if here.largest_score < NEWTON_BELOW:
        observed = along.T @ here.metric.observed @ along / outer + bent
        if np.linalg.eigvalsh(observed)[0] > NEWTON_SHARE:
            information = observed
    return np.asarray(np.linalg.solve(information + (damping + JITTER) * unit, score) / scale)


def _moved(here: _Here, step: FloatArray) -> _Here | None:
    """Go a step along the directions; None where that is not possible."""
    design, inside, at, start = here.point.design, here.point.inside.copy(), 0, 0
    ranks = list(here.ranks)
    for position, (place, (root, _), moves) in enumerate(
        zip(design.places, here.roots, here.directions[2], strict=True)
    ):
        pairs, own = place.term.pairs, step[at : at + len(moves)]
        if place.parts == 1 and moves:
            inside[start] = max(inside[start] + own[0], 0.0)
            ranks[position] = int(inside[start] > 0)
        elif moves:
            moved = root + np.einsum("m,mab->ab", own, np.array(moves))
            sigma = moved @ moved.T
            inside[start : start + len(pairs)] = [sigma[i, j] for i, j in pairs]
        at, start = at + len(moves), start + len(pairs)
    inside[start:] += step[at:]
    return _at(here, inside, tuple(ranks))


def _at(here: _Here, inside: FloatArray, ranks: tuple[int, ...]) -> _Here | None:
    if not (np.isfinite(inside).all() and inside[-len(here.point.design.heads) :].min() > EDGE):
        return None
    try:
        point = evaluate_absorbed(here.point.design, here.point.response, inside, restricted=here.point.restricted)
    except np.linalg.LinAlgError:
        return None
    return _Here(point, ranks, here.metric) if np.isfinite(point.criterion[0]) else None


def _rise(here: _Here, limit: float) -> tuple[_Here | None, int]:
    """Let a covariance matrix rise in rank: a step of its own along the null direction of greatest score."""
    position, direction = here.rising[0]
    column = here.column(position, np.outer(direction, direction))
    length = float(column @ here.point.score) / float(column @ here.metric.expected @ column)
    ranks = tuple(rank + (i == position) for i, rank in enumerate(here.ranks))
    for attempt in range(MOST_DAMPINGS):
        moved = _at(here, here.point.inside + length / 4.0**attempt * column, ranks)
        if moved is not None and moved.point.criterion[0] <= limit:
            return moved, attempt
    return None, MOST_DAMPINGS


def _lower(here: _Here) -> _Here:
    """Take roots that have all but vanished for zero where that does not raise the criterion."""
    for position, (root, _) in enumerate(here.roots):
        if here.point.design.places[position].parts == 1 or not root.size:
            continue
        lengths = np.linalg.norm(root, axis=0)
        if lengths[-1] >= VANISHED * max(lengths[0], VANISHED):
            continue
        last = root[:, -1] / lengths[-1] if lengths[-1] > 0 else None
        if last is not None and last @ here.point.score_matrices[position] @ last >= 0:
            continue
        kept = root[:, :-1]
        sigma = kept @ kept.T
        column = here.column(position, sigma)
        inside = np.where(here.column(position, np.ones_like(sigma)) != 0, column, here.point.inside)
        ranks = tuple(rank - (i == position) for i, rank in enumerate(here.ranks))
        lowered = _at(here, inside, ranks)
        limit = here.point.criterion[0] + CRITERION_TOLERANCE * (1 + abs(here.point.criterion[0]))
        if lowered is not None and lowered.point.criterion[0] <= limit:
            return _lower(lowered)
    return here


def _record(here: _Here, iterations: int, dampings: int) -> FitRecord:
    """What a fit tells of its search."""
    design, along = here.point.design, here.directions[0]
    free, singular, start = np.ones(len(here.point.inside), bool), [], 0
    for place, (root, _), rank in zip(design.places, here.roots, here.ranks, strict=True):
        end = start + len(place.term.pairs)
        if not root.size and (place.parts > 1 or not rank):
            free[start:end] = False
        if place.parts > 1 and rank < place.parts:
            singular.append(place.term.name)
        start = end
    sd = here.scaled[1]
    information = along.T @ here.metric.expected @ along / np.outer(sd, sd) if sd.all() else np.zeros((1, 1))
    outside = here.point.solved.back @ along
    return FitRecord(
        iterations=np.array([iterations]),
        dampings=np.array([dampings]),
        largest_score=np.array([here.largest_score if not here.rising else np.inf]),
        free=free[None],
        informed=np.array([bool(np.linalg.eigvalsh(information)[0] > LEAST_INFORMATION)]),
        directions=outside if singular else None,
        singular=tuple(singular),
    )
