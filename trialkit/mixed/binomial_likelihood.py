"""Likelihood of counts under a logistic model with random terms, and how it changes: a pure function of the parameters.

``logit p = X b + sum_k t_k Z_k u_k`` with standard normal u. Given b and the standard deviations t, u is at its mode by
penalised iteratively reweighted least squares (Bates, Maechler, Bolker & Walker 2015, J. Stat. Softw. 67(1)), and the
integral over u is Laplace's about it (Tierney & Kadane 1986) or, where one term has all, adaptive Gauss and Hermite's
(Liu & Pierce 1994, Biometrika 81, 624-629). The term of most levels is eliminated first, its cross-product being
diagonal; what is left is small within each of the independent blocks.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Annotated

import numpy as np
from scipy.special import expit, gammaln

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.model import Model

MOST_ROUNDS, MOST_HALVINGS = 200, 40
# What a further step would gain in the penalised deviance; Newton's next error is its square.
SETTLED = 1e-11


def _sums(at: IntArray, values: FloatArray, size: int) -> FloatArray:
    """Sum values by place."""
    return np.asarray(np.bincount(at, values, size), float)


@dataclass(frozen=True)
class Counts:
    """Counts by cell, and where the levels of the random terms stand: the finest apart from the rest."""

    x: Annotated[FloatArray, "Shape (cells, p). Fixed part, in the orthogonal basis."]
    successes: Annotated[FloatArray, "Shape (cells,)."]
    trials: Annotated[FloatArray, "Shape (cells,)."]
    constant: Annotated[float, "Log of the ways in which the rows' successes can fall."]
    terms: Annotated[int, "How many random terms there are."]
    finest: Annotated[int, "Position of the term of most levels."]
    shape: Annotated[tuple[int, int, int], "Blocks; levels of the finest term, and of all others, in the largest."]
    fine_at: Annotated[IntArray, "Shape (cells,). Place of the finest level among those of all blocks."]
    block: Annotated[IntArray, "Shape (cells,)."]
    rest: Annotated[tuple[int, ...], "Positions of the other terms."]
    rest_at: Annotated[IntArray, "Shape (other terms, cells). Column of their level in its block."]
    rest_term: Annotated[IntArray, "Shape (columns,). Term of each column."]
    level_at: Annotated[tuple[IntArray, ...], "For each term, place of its levels among those of all blocks."]

    @cached_property
    def rest_flat(self) -> IntArray:
        """Place of each cell's other levels among those of all blocks, shape (other terms, cells)."""
        return np.asarray(self.block * self.shape[2] + self.rest_at, np.intp)

    @cached_property
    def _fine_rest(self) -> IntArray:
        return np.asarray((self.fine_at * self.shape[2] + self.rest_at).ravel(), np.intp)

    @cached_property
    def _rest_rest(self) -> IntArray:
        return np.asarray((self.rest_flat[:, None] * self.shape[2] + self.rest_at[None]).ravel(), np.intp)

    def by_fine(self, values: FloatArray) -> FloatArray:
        """Sum values, shape (cells,), by level of the finest term, shape (blocks, levels)."""
        blocks, fine, _ = self.shape
        return _sums(self.fine_at, values, blocks * fine).reshape(blocks, fine)

    def by_rest(self, values: FloatArray) -> FloatArray:
        """Sum values, shape (cells,), by level of the other terms, shape (blocks, columns)."""
        blocks, _, columns = self.shape
        repeated = np.tile(values, len(self.rest))
        return _sums(self.rest_flat.ravel(), repeated, blocks * columns).reshape(blocks, columns)

    def products(self, weights: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """``Z'WZ``: of the finest term (its diagonal), of it with the others, of the others."""
        (blocks, fine, columns), others = self.shape, len(self.rest)
        crossed = _sums(self._fine_rest, np.tile(weights, others), blocks * fine * columns)
        among = _sums(self._rest_rest, np.tile(weights, others**2), blocks * columns**2)
        return self.by_fine(weights), crossed.reshape(self.shape), among.reshape(blocks, columns, columns)

    def spread(self, theta: FloatArray, fine: FloatArray, rest: FloatArray) -> FloatArray:
        """Sum over the terms of ``t_k Z_k u_k``, shape (cells,)."""
        return np.asarray(theta[self.finest] * fine.ravel()[self.fine_at] + theta[list(self.rest)] @ self._each(rest))

    def of_term(self, term: int, fine: FloatArray, rest: FloatArray) -> FloatArray:
        """``Z_k u_k`` of one term, shape (cells,)."""
        if term == self.finest:
            return np.asarray(fine.ravel()[self.fine_at])
        return np.asarray(self._each(rest)[self.rest.index(term)])

    def _each(self, rest: FloatArray) -> FloatArray:
        return np.asarray(rest.ravel()[self.rest_flat])


def place(model: Model, successes: FloatArray, trials: FloatArray) -> Counts:
    """Sum the counts of rows, shape (rows,), by cell and say where the levels stand."""
    blocks, terms = model.blocks, model.terms
    finest = max(range(len(terms)), key=lambda k: len(terms[k].levels))
    rest = tuple(k for k in range(len(terms)) if k != finest)
    starts = dict(zip(rest, np.cumsum([0, *(blocks.widths[k] for k in rest)]), strict=False))
    columns = sum(blocks.widths[k] for k in rest)
    cells = len(model.cells.sizes)
    level_at = tuple(
        blocks.level_block[k] * (blocks.widths[k] if k == finest else columns)
        + blocks.level_column[k]
        + starts.get(k, 0)
        for k in range(len(terms))
    )
    ways = gammaln(trials + 1) - gammaln(successes + 1) - gammaln(trials - successes + 1)
    return Counts(
        x=model.fixed.orthogonal[model.fixed_row],
        successes=_sums(model.cells.codes, successes, cells),
        trials=_sums(model.cells.codes, trials, cells),
        constant=float(ways.sum()),
        terms=len(terms),
        finest=finest,
        shape=(blocks.count, blocks.widths[finest], columns),
        fine_at=level_at[finest][terms[finest].codes],
        block=blocks.cell_block,
        rest=rest,
        rest_at=np.array([blocks.level_column[k][terms[k].codes] + starts[k] for k in rest], np.intp).reshape(
            len(rest), cells
        ),
        rest_term=np.repeat(np.array(rest, np.intp), [blocks.widths[k] for k in rest]),
        level_at=level_at,
    )


@dataclass(frozen=True)
class Curvature:
    """``H = I + T Z'WZ T``, the finest term eliminated."""

    diagonal: Annotated[FloatArray, "Shape (blocks, levels). Of the finest term."]
    projected: Annotated[FloatArray, "Shape (blocks, levels, columns). The finest term's rows over that diagonal."]
    core: Annotated[FloatArray, "Shape (blocks, columns, columns). Inverse of what is left of the others."]
    log_determinant: Annotated[FloatArray, "Shape (blocks,)."]

    def solve(self, fine: FloatArray, rest: FloatArray) -> tuple[FloatArray, FloatArray]:
        """``H^-1 V``, shapes (blocks, levels, vectors) and (blocks, columns, vectors)."""
        of_rest = self.core @ (rest - self.projected.swapaxes(1, 2) @ fine)
        return fine / self.diagonal[..., None] - self.projected @ of_rest, of_rest

    def solve_one(self, fine: FloatArray, rest: FloatArray) -> tuple[FloatArray, FloatArray]:
        """``H^-1 v`` of one vector, shapes (blocks, levels) and (blocks, columns)."""
        of_fine, of_rest = self.solve(fine[..., None], rest[..., None])
        return of_fine[..., 0], of_rest[..., 0]


def curvature(counts: Counts, theta: FloatArray, weights: FloatArray) -> Curvature:
    """H at working weights, shape (cells,)."""
    own, crossed, among = counts.products(weights)
    fine, rest = theta[counts.finest], theta[counts.rest_term]
    diagonal = 1 + fine**2 * own
    crossed = fine * crossed * rest
    projected = crossed / diagonal[..., None]
    left = np.eye(len(rest)) + rest[:, None] * among * rest - crossed.swapaxes(1, 2) @ projected
    log_determinant = np.log(diagonal).sum(1) + np.linalg.slogdet(left)[1]
    return Curvature(diagonal, projected, np.linalg.inv(left), log_determinant)


@dataclass(frozen=True)
class BinomialPoint:
    """The likelihood at some parameters: standard deviations of the random terms, then fixed effects."""

    counts: Counts
    parameters: Annotated[FloatArray, "Shape (terms + p,)."]
    deviance: Annotated[float, "-2 log likelihood."]
    gradient: Annotated[FloatArray, "Shape (terms + p,)."]
    fine: Annotated[FloatArray, "Shape (blocks, levels). Modes of the finest term's levels, standard normal before."]
    rest: Annotated[FloatArray, "Shape (blocks, columns). Of the others'."]
    weights: Annotated[FloatArray, "Shape (cells,). Working weights ``n p (1 - p)``."]
    curvature: Curvature

    @property
    def theta(self) -> FloatArray:
        """Standard deviations."""
        return self.parameters[: self.counts.terms]

    @property
    def coefficients(self) -> FloatArray:
        """Fixed effects in the orthogonal basis."""
        return self.parameters[self.counts.terms :]

    @cached_property
    def information(self) -> FloatArray:
        """``X'V^-1 X`` of the working model, shape (p, p)."""
        counts, theta, weighted = self.counts, self.theta, self.weights[:, None] * self.counts.x
        fine = np.stack([theta[counts.finest] * counts.by_fine(column) for column in weighted.T], -1)
        rest = np.stack([theta[counts.rest_term] * counts.by_rest(column) for column in weighted.T], -1)
        solved = self.curvature.solve(fine, rest)
        taken = np.einsum("blp,blq->pq", fine, solved[0]) + np.einsum("blp,blq->pq", rest, solved[1])
        return np.asarray(counts.x.T @ weighted - taken)

    def conditional(self, term: int) -> tuple[FloatArray, FloatArray]:
        """Modes of a term's effects and their standard deviations, parameters as known; shape (levels,)."""
        counts, at = self.counts, self.counts.level_at[term]
        if term == counts.finest:
            own = 1 / self.curvature.diagonal + _quadratic(self.curvature)
            modes = self.fine
        else:
            own, modes = np.diagonal(self.curvature.core, axis1=1, axis2=2), self.rest
        sd = abs(self.theta[term])
        return self.theta[term] * modes.ravel()[at], sd * np.sqrt(own.ravel()[at])


def evaluate(counts: Counts, parameters: FloatArray, points: int, start: BinomialPoint | None = None) -> BinomialPoint:
    """Likelihood and gradient; with more points than one, by quadrature over the one random term."""
    theta, coefficients = parameters[: counts.terms], parameters[counts.terms :]
    offset = counts.x @ coefficients
    blocks, levels, columns = counts.shape
    if start is None:
        fine, rest = np.zeros((blocks, levels)), np.zeros((blocks, columns))
    else:
        fine, rest = start.fine, start.rest
    fine, rest, curved, logit = _mode(counts, theta, offset, fine, rest)
    share = expit(logit)
    weights = counts.trials * share * (1 - share)
    away = counts.successes - counts.trials * share
    leverage = _leverage(counts, theta, curved)
    bend = (leverage @ theta) * weights * (1 - 2 * share)
    if points == 1:
        fit = _fit(counts, logit)
        deviance = fit + float((fine**2).sum() + (rest**2).sum() + curved.log_determinant.sum())
        direct, of_mode, by_cell = away, np.zeros_like(fine), np.ones(len(away))
    else:
        likelihood, direct, of_mode, of_width, of_sd = _quadrature(counts, theta, offset, fine, curved, points)
        deviance, by_cell = -2 * likelihood, of_width.ravel()[counts.fine_at]
    bend = by_cell * bend
    # Everything that moves with the modes goes through one solution.
    pulled_fine = theta[counts.finest] * counts.by_fine(bend) - 2 * of_mode
    pulled_rest = theta[counts.rest_term] * counts.by_rest(bend)
    solved = curved.solve_one(pulled_fine, pulled_rest)
    moved = bend - weights * counts.spread(theta, *solved)
    by_theta = np.empty(counts.terms)
    for term in range(counts.terms):
        mode, pull = counts.of_term(term, fine, rest), counts.of_term(term, *solved)
        first = -2 * float(away @ mode) if points == 1 else -2 * of_sd
        by_theta[term] = first + 2 * (by_cell * weights) @ leverage[:, term] + moved @ mode + away @ pull
    gradient = np.concatenate([by_theta, counts.x.T @ (moved - 2 * direct)])
    return BinomialPoint(counts, parameters, deviance - 2 * counts.constant, gradient, fine, rest, weights, curved)


def _fit(counts: Counts, logit: FloatArray) -> float:
    """-2 log likelihood of the counts at these logits, less the constant."""
    return -2 * float(counts.successes @ logit - counts.trials @ np.logaddexp(0.0, logit))


def _mode(
    counts: Counts, theta: FloatArray, offset: FloatArray, fine: FloatArray, rest: FloatArray
) -> tuple[FloatArray, FloatArray, Curvature, FloatArray]:
    """Modes of the random effects by Newton's steps, halved where one makes it worse; with H and logits there."""
    of_fine, of_rest = theta[counts.finest], theta[counts.rest_term]

    def at(fine: FloatArray, rest: FloatArray) -> tuple[FloatArray, float]:
        logit = offset + counts.spread(theta, fine, rest)
        return logit, _fit(counts, logit) + float((fine**2).sum() + (rest**2).sum())

    logit, penalised = at(fine, rest)
    for _ in range(MOST_ROUNDS):
        share = expit(logit)
        curved = curvature(counts, theta, counts.trials * share * (1 - share))
        away = counts.successes - counts.trials * share
        score = of_fine * counts.by_fine(away) - fine, of_rest * counts.by_rest(away) - rest
        step = curved.solve_one(*score)
        gain = float((score[0] * step[0]).sum() + (score[1] * step[1]).sum())
        size = 1.0
        for _ in range(MOST_HALVINGS):
            tried = fine + size * step[0], rest + size * step[1]
            logit, now = at(*tried)
            if now <= penalised + 1e-12 * abs(penalised) + 1e-12:
                break
            size /= 2
        (fine, rest), penalised = tried, now
        if gain < SETTLED:
            break
    share = expit(logit)
    return fine, rest, curvature(counts, theta, counts.trials * share * (1 - share)), logit


def _quadratic(curved: Curvature) -> FloatArray:
    """What the other terms add to the inverse's diagonal of the finest, shape (blocks, levels)."""
    return np.asarray(((curved.projected @ curved.core) * curved.projected).sum(-1))


def _leverage(counts: Counts, theta: FloatArray, curved: Curvature) -> FloatArray:
    """Row by row ``Z_k H^-1 T z``, z the cell's own row of Z: shape (cells, terms)."""
    columns, finest, rest = counts.shape[2], counts.finest, list(counts.rest)
    between = -(curved.projected @ curved.core).ravel()
    own = (1 / curved.diagonal + _quadratic(curved)).ravel()[counts.fine_at]
    crossed = between[counts.fine_at * columns + counts.rest_at] if rest else np.empty((0, len(own)))
    core = curved.core.ravel()
    found = np.empty((len(own), counts.terms))
    found[:, finest] = theta[finest] * own + theta[rest] @ crossed
    for i, term in enumerate(rest):
        among = core[counts.rest_flat[i] * columns + counts.rest_at]
        found[:, term] = theta[finest] * crossed[i] + theta[rest] @ among
    return found


def _quadrature(
    counts: Counts, theta: FloatArray, offset: FloatArray, fine: FloatArray, curved: Curvature, points: int
) -> tuple[float, FloatArray, FloatArray, FloatArray, float]:
    """Log likelihood by quadrature about the modes, less the constant, and its derivatives.

    By the logits with the nodes where they are (shape (cells,)), by the modes and by -1/2 log H (both by level), by
    the standard deviation with the nodes where they are.
    """
    node, weight = np.polynomial.hermite_e.hermegauss(points)
    level, sd = counts.fine_at, float(theta[0])
    width = 1 / np.sqrt(curved.diagonal.ravel())
    at = fine.ravel()[:, None] + width[:, None] * node
    logit = offset[:, None] + sd * at[level]
    each = counts.successes[:, None] * logit - counts.trials[:, None] * np.logaddexp(0.0, logit)
    log = np.log(weight / np.sqrt(2 * np.pi)) + np.log(width)[:, None] + (node**2 - at**2) / 2
    log += _by_level(level, each, len(width))
    largest = log.max(1, keepdims=True)
    part = np.exp(log - largest)
    total = part.sum(1, keepdims=True)
    part /= total
    away = counts.successes[:, None] - counts.trials[:, None] * expit(logit)
    mean_away = (part[level] * away).sum(1)
    slope = sd * _by_level(level, away, len(width)) - at
    of_mode = (part * slope).sum(1)
    of_width = 1 + width * (part * slope * node).sum(1)
    of_sd = float((part[level] * away * at[level]).sum())
    shape = fine.shape
    return float((largest + np.log(total)).sum()), mean_away, of_mode.reshape(shape), of_width.reshape(shape), of_sd


def _by_level(level: IntArray, values: FloatArray, levels: int) -> FloatArray:
    """Sum values, shape (cells, points), by level."""
    points = values.shape[1]
    at = (level[:, None] * points + np.arange(points)).ravel()
    return _sums(at, values.ravel(), levels * points).reshape(levels, points)
