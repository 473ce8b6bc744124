"""Days that were seen only between bounds, drawn from what the rest of the trial says: data augmentation.

After Tanner & Wong (1987), J. Am. Stat. Assoc. 82, 528-540. Many chains run side by side, each ending in one completed
set of days. A step estimates the variances of the completed days by restricted likelihood, draws the fixed effects from
their normal posterior given those, and draws each head's day from its normal distribution given all other days, cut to
its bounds (Geweke 1991, Computing Science and Statistics 23, 571-578).

The variances are estimates of each chain's own completed days and not draws from a posterior (stochastic EM: Celeux &
Diebolt 1985, Computational Statistics Quarterly 2, 73-82; for imputation Wang & Robins 1998, Biometrika 85, 935-948).
A posterior keeps them at zero or above, and with few gardens its mean lies far above the truth: days were then drawn
too widely and intervals held the truth too often. Estimates that may be negative, as in the rest of the analysis, give
covariances of the right size (reports/days_coverage.md).
"""

from __future__ import annotations

from dataclasses import MISSING, dataclass, fields
from functools import cached_property
from typing import Annotated

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from trialkit.domain.arrays import BoolArray, FloatArray
from trialkit.mixed import NotConverged
from trialkit.mixed.blocks import independent_blocks
from trialkit.mixed.likelihood import Evaluation, joined
from trialkit.mixed.model import Model, Prepared, prepare
from trialkit.mixed.scoring import ACCEPTABLE_SCORE, EXACTLY, Ending, FitRecord, estimate_each

DRAWS_A_STEP = 2
"""Days settle more slowly than variances, and cost less."""
NEAR = Ending(1e-3, steps=20, dampings=40)
"""Variances of days that are drawn anew at once need no more digits. Of thousands of sets none settled after more than
14 steps and 25 dampings; others run along the edge, and to follow them took most of the time of a small trial."""
MOST_BLOCKS = 27
"""Of steps: chains that have not settled by then are refused."""
SETTLED = 0.1
"""Of the residual standard deviation: how far it, and means of open heads, may still be from where chains are going."""
LONGEST_MEMORY = 0.99
"""Share of the sets' distances that a block may keep of the last one: at first chains drift apart."""
TINY = np.finfo(float).tiny
LEAST_START = 0.02
"""Of the residual standard deviation squared: variances are looked for from above zero."""


@dataclass(frozen=True)
class Bounds:
    """What was seen of each head used, in the order of the model's rows."""

    # Shape (heads,). Days; infinite where open, equal where the day is known.
    lower: FloatArray
    upper: FloatArray

    @cached_property
    def open(self) -> BoolArray:
        """Heads whose day is not known exactly."""
        return self.lower < self.upper

    def starts(self, rng: np.random.Generator, count: int) -> FloatArray:
        """Days to start from, shape (count, heads): the middle, or somewhere beyond an open-ended bound."""
        ends = np.concatenate([self.lower, self.upper])
        beyond = ends[np.isfinite(ends)].std() * np.abs(rng.standard_normal((count, len(self.lower))))
        low = np.where(np.isfinite(self.lower), self.lower, self.upper - 2 * beyond)
        high = np.where(np.isfinite(self.upper), self.upper, self.lower + 2 * beyond)
        return np.asarray(np.where(self.open, (low + high) / 2, self.lower))


def complete(
    model: Model, bounds: Bounds, rng: np.random.Generator, *, sets: int, burn_in: int, bounded: bool
) -> FloatArray:
    """Draw completed sets of days, each from the end of a chain of its own.

    The model has one residual variance. Each step of burning in estimates the variances and draws all days some times;
    `bounded` holds the variances at zero or above. Steps are taken in blocks of `burn_in`. One is enough where at most
    a share `SETTLED` of the heads of every combination is open on one side, for these hardly move a mean. Else more
    follow until, by `_still_to_move`, the mean days of heads open on the left and of those open on the right are within
    `SETTLED` residual standard deviations of where they are going, and so is that standard deviation. Shape
    (sets, heads).

    Raises
    ------
    NotConverged
        If they are not after `MOST_BLOCKS` blocks, or variances run off on the way.
    ConfoundedTerm, NoVariation
        As from `trialkit.mixed.fit_mixed`.
    """
    heads = _set_out(model, bounds)
    sides = np.isinf([bounds.lower, bounds.upper])
    of_side = sides / np.maximum(sides.sum(1, keepdims=True), 1)
    combination = model.fixed_row[model.cells.codes]
    one_sided = np.bincount(combination, sides.any(0)) / np.bincount(combination)
    days, start = bounds.starts(rng, sets), None
    followed: list[FloatArray] = []  # by block: mean day of either side, logarithm of the residual standard deviation
    for _ in range(MOST_BLOCKS):
        followed.append(np.zeros((3, sets)))
        for _ in range(burn_in):
            prepared = prepare(model, days)
            point, _ = fit_sets(model, prepared, bounded=bounded, start=start, ending=NEAR)
            start = np.maximum(point.variances, LEAST_START)
            variances = point.variances * prepared.scale[:, None] ** 2
            try:
                days = heads.draw(days, variances, rng)
            except np.linalg.LinAlgError as error:
                raise NotConverged(
                    "The variances of days drawn between the visits ran off to where nothing determines the means: too "
                    "few heads were seen between two visits."
                ) from error
            followed[-1] += np.array([*of_side @ days.T, np.log(variances[:, -1]) / 2]) / burn_in
        if one_sided.max() <= SETTLED:
            return days
        # The first block leaves the starts behind, quickly, and says nothing of how slow the rest is.
        if len(followed) > 2:
            sd = np.exp(followed[-1][2].mean())
            if _still_to_move(np.array(followed[1:]) / [[sd], [sd], [1.0]]).max() <= SETTLED:
                return days
    raise NotConverged(
        f"Days drawn beyond the first or the last visit had not settled after {MOST_BLOCKS * burn_in} steps: too few "
        "heads were seen between two visits."
    )


def _still_to_move(followed: FloatArray) -> FloatArray:
    """Foresee how far means over the sets will still move, from block means of shape (blocks, quantities, sets).

    A chain forgets where it began as it forgets its distance from the others, by the same factor each block. That
    factor comes from the sets' distances from their mean, in the quantity that forgets most slowly, its standard error
    added; what is left comes from it and how far the mean has moved. The moves alone say too little: in slow chains, a
    block's is lost in Monte-Carlo error.
    """
    middle = followed.mean(2)
    apart = followed - middle[..., None]
    kept = (apart[1:] * apart[:-1]).sum((0, 2)) / np.maximum((apart[:-1] ** 2).sum((0, 2)), TINY)
    memory = np.clip(kept.max(), 0.0, LONGEST_MEMORY)
    memory += np.sqrt((1 - memory**2) / apart[1:, 0].size)
    left = min(memory, LONGEST_MEMORY) ** (len(followed) - 1)
    return np.asarray(np.abs(middle[-1] - middle[0]) * left / (1 - left))


def fit_sets(
    model: Model,
    prepared: Prepared,
    *,
    bounded: bool,
    start: FloatArray | None = None,
    ending: Ending = EXACTLY,
) -> tuple[Evaluation, FitRecord]:
    """Estimate the variances of each completed set; where they do not settle when left free, at zero or above."""
    point, record = estimate_each(model, prepared, restricted=True, bounded=bounded, start=start, ending=ending)
    unsettled = ~record.settled(max(ending.score, ACCEPTABLE_SCORE))
    if bounded or not unsettled.any():
        return point, record
    again = start if start is None or len(start) == 1 else start[unsettled]
    some = prepared.take(unsettled)
    held, its_record = estimate_each(model, some, restricted=True, bounded=True, start=again, ending=ending)
    settled = np.flatnonzero(~unsettled)
    parts = [(settled, point.take(settled)), (np.flatnonzero(unsettled), held)]
    values = {}
    for field in fields(FitRecord):
        if field.default is MISSING:  # what has a default is of slopes, of which there are none
            values[field.name] = getattr(record, field.name).copy()
            values[field.name][unsettled] = getattr(its_record, field.name)
    return joined(parts, point.products), FitRecord(**values)


def normal_between(low: FloatArray, high: FloatArray, uniform: FloatArray) -> FloatArray:
    """Standard normals cut to their lower and upper ends, from uniforms, by inversion in the tail that holds digits.

    Bounds beyond 37 standard deviations, where no probability is left to hold, give the nearer bound.
    """
    sign = np.copysign(1.0, -(low + high))
    below, above = ndtr(sign * low), ndtr(sign * high)  # where the sign was changed, the first is the upper
    z = sign * ndtri(np.maximum(below + uniform * (above - below), TINY))
    return np.asarray(np.minimum(np.maximum(z, low), high))


@dataclass(frozen=True)
class _Heads:
    """Heads and their cells by independent block of the random part, padded to the largest.

    Heads of a cell share fixed part and random levels, so that with n heads a cell, S the cells' covariance and s the
    residual variance, V^-1 is ``1 / s`` on the diagonal less ``B = (s I + S n)^-1 S / s`` between heads of two cells.
    """

    place: Annotated[NDArray[np.intp], "Shape (blocks, heads). Row of the model's data."]
    real: Annotated[BoolArray, "Shape (blocks, heads). Not padding."]
    cell: Annotated[NDArray[np.intp], "Shape (blocks, heads). Cell of each head, counted in its block."]
    sizes: Annotated[FloatArray, "Shape (blocks, cells). Heads of each cell, nil at padding."]
    alike: Annotated[FloatArray, "Shape (random terms, blocks, cells, cells). 1 where two cells share a level."]
    x: Annotated[FloatArray, "Shape (blocks, cells, p). Fixed part, zero at padding."]
    # Shape (blocks, heads).
    lower: FloatArray
    upper: FloatArray

    def draw(self, days: FloatArray, variances: FloatArray, rng: np.random.Generator) -> FloatArray:
        """Draw all days some times over, (sets, heads) -> (sets, heads), given variances of shape (sets, k)."""
        residual = variances[:, -1][:, None]
        covariance = np.tensordot(variances[:, :-1], self.alike, 1)
        left = covariance * self.sizes[:, None] + residual[..., None, None] * np.eye(self.sizes.shape[1])
        b = np.linalg.solve(left, covariance) / residual[..., None, None]
        days = days.copy()
        for _ in range(DRAWS_A_STEP):
            days[:, self.place[self.real]] = self._draw_once(days, b, residual, rng)[:, self.real]
        return days

    def _draw_once(self, days: FloatArray, b: FloatArray, residual: FloatArray, rng: np.random.Generator) -> FloatArray:
        """Draw fixed effects, then each open day in turn: (sets, blocks, heads)."""
        blocks, cells = np.arange(len(self.place)), self.sizes.shape[1]
        here = np.where(self.real, days[:, self.place], 0.0)
        expected = np.einsum("bcp,sp->sbc", self.x, self._effects(b, residual, here, rng))
        expected = expected[:, blocks[:, None], self.cell]
        apart = np.where(self.real, here - expected, 0.0)
        sums = self._sums(apart).reshape(-1, cells)  # a row for each set and block, as everything below
        own = 1 / (1 / residual[..., None] - b[:, blocks[:, None], self.cell, self.cell])
        sd = np.sqrt(own)
        # In standard deviations, head by head; what is not there has bounds that meet at zero, and stays there.
        ends = np.where(self.real, np.array([self.lower, self.upper])[:, None] - expected, 0.0) / sd
        uniform = rng.random(sd.shape)
        kept = (1 - own / residual[..., None]) / sd
        spreads, shares, lows, highs, chances, befores = (
            np.moveaxis(one, -1, 0).reshape(one.shape[-1], -1) for one in (sd, kept, *ends, uniform, apart)
        )
        rows, sum_of_cell = b.reshape(-1, cells), sums.reshape(-1)
        own_cells = np.arange(len(sums)) * cells + np.tile(self.cell.T, len(b))
        open_ = np.any((self.lower < self.upper) & self.real, axis=0)
        for i in np.flatnonzero(open_):
            before, spread, cell = befores[i], spreads[i], own_cells[i]
            middle = shares[i] * before + spread * np.vecdot(rows.take(cell, axis=0), sums)
            change = spread * (middle + normal_between(lows[i] - middle, highs[i] - middle, chances[i])) - before
            sum_of_cell[cell] += change
            before += change
        drawn = np.moveaxis(befores.reshape(-1, *sd.shape[:2]), 0, -1)
        return np.asarray(np.clip(expected + drawn, self.lower, self.upper))

    def _sums(self, values: FloatArray) -> FloatArray:
        """Add up heads by cell, (sets, blocks, heads) -> (sets, blocks, cells)."""
        member = (self.cell[:, :, None] == np.arange(self.sizes.shape[1])) & self.real[:, :, None]
        return np.asarray(np.einsum("sbh,bhc->sbc", values, member.astype(float), optimize=True))

    def _effects(self, b: FloatArray, residual: FloatArray, days: FloatArray, rng: np.random.Generator) -> FloatArray:
        """Draw fixed effects from their posterior under a flat prior, shape (sets, p)."""
        n_x = self.sizes[..., None] * self.x
        weighted = n_x / residual[..., None, None] - self.sizes[..., None] * (b @ n_x)
        x_x = np.einsum("bcp,sbcq->spq", self.x, weighted, optimize=True)
        means = self._sums(days) / np.maximum(self.sizes, 1.0)
        x_y = np.einsum("sbcp,sbc->sp", weighted, means, optimize=True)
        middle = np.linalg.solve(x_x, x_y[..., None])
        root = np.linalg.cholesky(x_x)
        noise = np.linalg.solve(root.swapaxes(1, 2), rng.standard_normal(middle.shape))
        return np.asarray((middle + noise)[..., 0])


def _set_out(model: Model, bounds: Bounds) -> _Heads:
    in_columns = [model.terms[i] for i in model.in_columns]
    # Where only a term with one level a cell is random, each cell is a block.
    cells = len(model.cells.sizes)
    block = independent_blocks(in_columns, cells).cell_block if in_columns else np.arange(cells)
    cell_place, cell_real = _padded(block)
    place, real = _padded(block[model.cells.codes])
    row_in_block = np.zeros(cells, np.intp)
    row_in_block[cell_place[cell_real]] = np.nonzero(cell_real)[1]
    both = cell_real[:, :, None] & cell_real[:, None, :]
    levels = [term.codes[cell_place] for term in model.terms]
    alike = [(level[:, :, None] == level[:, None, :]) & both for level in levels]
    x = model.fixed.orthogonal[model.fixed_row]
    return _Heads(
        place=place,
        real=real,
        cell=np.where(real, row_in_block[model.cells.codes[place]], 0),
        sizes=np.where(cell_real, model.cells.sizes[cell_place], 0.0),
        alike=np.array(alike, float).reshape(len(alike), *both.shape),
        x=np.where(cell_real[..., None], x[cell_place], 0.0),
        lower=np.where(real, bounds.lower[place], 0.0),
        upper=np.where(real, bounds.upper[place], 0.0),
    )


def _padded(group: NDArray[np.intp]) -> tuple[NDArray[np.intp], BoolArray]:
    """Members of each group, padded to the largest, and which are not padding."""
    sizes = np.bincount(group)
    real = np.arange(sizes.max()) < sizes[:, None]
    place = np.zeros(real.shape, np.intp)
    place[real] = np.argsort(group, kind="stable")
    return place, real
