"""Step 2: cross-products by cell size, all that the likelihood ever needs of the data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from math import prod
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.blocks import Blocks
from trialkit.mixed.coded_factors import CodedFactor, group_rows


@dataclass(frozen=True)
class DesignProducts:
    """What the design alone contributes: Grams of ``U = [X y Z]`` with nothing yet in the place of y."""

    rows: Annotated[
        FloatArray, "Shape (blocks, rows, m). U by block, each cell's row times the root of its size; m = p + 1 + q."
    ]
    member: Annotated[IntArray, "Shape (blocks, rows). Group of each cell; -1 where a block has no cell."]
    grams: Annotated[
        FloatArray,
        "Shape (groups, blocks, m, m). ``S_g = U_g' U_g`` over the cells of each group: those of one size that share "
        "a residual variance.",
    ]
    # Shape (groups,). Cell size n_g of each group, and how many cells it has.
    sizes: FloatArray
    cells: FloatArray
    residual: Annotated[IntArray, "Shape (groups,). Which residual variance each group has."]
    heads: Annotated[
        FloatArray, "Shape (residual variances,). Rows of the data under each residual variance; N altogether."
    ]
    fixed: Annotated[int, "Columns p of X (an orthonormal basis, X'X = I)."]
    term_columns: Annotated[
        tuple[slice | None, ...],
        "For each random term its columns of Z, counted from the first; None for the term on the diagonal.",
    ]

    @property
    def diagonal(self) -> int | None:
        """Position of the random term that stands on the diagonal, if one does."""
        return self.term_columns.index(None) if None in self.term_columns else None

    @cached_property
    def inner_heads(self) -> FloatArray:
        """Number of contrasts within cells under each residual variance, N - C altogether."""
        return np.asarray(self.heads - np.bincount(self.residual, self.cells))

    @property
    def x(self) -> slice:
        """Columns of X in U."""
        return slice(0, self.fixed)

    @property
    def z(self) -> slice:
        """Columns of Z in U."""
        return slice(self.fixed + 1, None)

    @cached_property
    def column_terms(self) -> tuple[tuple[int, slice], ...]:
        """Variances that have columns in Z: position and columns."""
        return tuple((i, columns) for i, columns in enumerate(self.term_columns) if columns is not None)

    @cached_property
    def column_positions(self) -> IntArray:
        """Positions of the variances that have columns in Z."""
        return np.array([i for i, _ in self.column_terms], np.intp)

    @cached_property
    def variance_of_column(self) -> IntArray:
        """Position of each column's variance, shape (q,)."""
        widths = [columns.stop - columns.start for _, columns in self.column_terms]
        return np.repeat(self.column_positions, widths)

    @cached_property
    def column_term(self) -> FloatArray:
        """1 where a column belongs to a term with columns, shape (q, such terms): sums over columns to sums by term."""
        return np.asarray(self.variance_of_column[:, None] == self.column_positions, float)

    @cached_property
    def diagonal_positions(self) -> IntArray:
        """Positions of the variances whose V_i is diagonal over the cells, the last residual's left out."""
        bucket = [] if self.diagonal is None else [self.diagonal]
        return np.array([*bucket, *(len(self.term_columns) + np.arange(len(self.heads) - 1))], np.intp)

    @cached_property
    def factors(self) -> FloatArray:
        """Diagonal of every V_i that is diagonal, n or 1 or 0, shape (k, groups + residual variances); else nil.

        For each group of cells, then for the contrasts within cells under each residual variance; ``variances @
        factors`` is the variance that each has of its own.
        """
        levels, terms = np.arange(len(self.heads)), len(self.term_columns)
        factors = np.zeros((terms + len(levels), len(self.sizes) + len(levels)))
        if self.diagonal is not None:
            factors[self.diagonal, : len(self.sizes)] = self.sizes
        factors[terms:] = levels[:, None] == np.concatenate([self.residual, levels])
        return factors

    @cached_property
    def diagonal_factors(self) -> FloatArray:
        """The rows of `factors` at `diagonal_positions`."""
        return self.factors[self.diagonal_positions]

    @cached_property
    def contrasts(self) -> FloatArray:
        """Number of cells in each group, then of contrasts within cells under each residual variance; N altogether."""
        return np.concatenate([self.cells, self.inner_heads])

    @cached_property
    def positions(self) -> IntArray:
        """Positions of the variances with columns, then of the diagonal ones, shape (k - 1,)."""
        return np.concatenate([self.column_positions, self.diagonal_positions])

    def weighted(self, weights: FloatArray) -> FloatArray:
        """``sum_g w_g S_g``, shape (..., groups) -> (..., blocks, m, m); further weights do not count."""
        sums = weights[..., : len(self.grams)] @ self.grams.reshape(len(self.grams), -1)
        return np.asarray(sums.reshape(*weights.shape[:-1], *self.grams.shape[1:]))

    def paired(self, m: FloatArray) -> FloatArray:
        """``tr(M S_g)`` summed over blocks, for symmetric M of shape (s, blocks, m, m) -> (s, groups + residuals).

        Nil for the contrasts within cells, which are orthogonal to U.
        """
        traces = np.zeros((len(m), len(self.contrasts)))
        traces[:, : len(self.grams)] = m.reshape(len(m), -1) @ self.grams.reshape(len(self.grams), -1).T
        return traces


@dataclass(frozen=True)
class CrossProducts:
    """The design's products together with those of one response or many."""

    design: DesignProducts
    with_y: Annotated[
        FloatArray, "Shape (responses, groups, blocks, m). ``U_g' y`` of each response, y'y in the place of y."
    ]
    within: Annotated[
        FloatArray, "Shape (responses, residual variances). Sum of squares of each response within cells."
    ]

    def weighted_y(self, weights: FloatArray) -> FloatArray:
        """``sum_g w_g U_g'y``, (s, groups) -> (responses, blocks, m), s 1 or as many; further weights do not count."""
        return combine(weights[:, None, : self.with_y.shape[1]], self.with_y)[:, 0]

    def take(self, which: NDArray[np.bool_] | IntArray) -> CrossProducts:
        """Keep some of the responses."""
        return CrossProducts(self.design, self.with_y[which], self.within[which])


def term_slices(blocks: Blocks) -> tuple[slice, ...]:
    """Columns of Z that each term of `blocks` takes, the same in every block (narrow blocks are padded by zeros)."""
    ends = accumulate(blocks.widths)
    return tuple(slice(end - width, end) for end, width in zip(ends, blocks.widths, strict=True))


def design_products(
    x: FloatArray,
    terms: Sequence[CodedFactor],
    diagonal: int | None,
    blocks: Blocks,
    sizes: FloatArray,
    residual: IntArray,
) -> DesignProducts:
    """Lay out U by block and sum its products over the cells of each group.

    `x` is an orthonormal basis of the fixed part, a row a cell; terms are coded by cell, and the diagonal one needs no
    columns; `residual` says which residual variance each cell has.
    """
    in_columns = [term for position, term in enumerate(terms) if position != diagonal]
    rows = _scaled_rows(x, in_columns, blocks, sizes)
    group, representatives = group_rows([residual, sizes.astype(np.intp)])
    member = np.full(rows.shape[:2], -1)
    member[blocks.cell_block, blocks.cell_row] = group
    grams = np.empty((len(representatives), rows.shape[0], rows.shape[2], rows.shape[2]))
    for g in range(len(representatives)):
        chosen = rows if len(representatives) == 1 else rows * (member == g)[:, :, None]
        np.matmul(chosen.transpose(0, 2, 1), rows, out=grams[g])
    columns = iter(term_slices(blocks))
    return DesignProducts(
        rows=rows,
        member=member,
        grams=grams,
        sizes=sizes[representatives],
        cells=np.bincount(group).astype(float),
        residual=residual[representatives],
        heads=np.asarray(np.bincount(residual, sizes), float),
        fixed=x.shape[1],
        term_columns=tuple(None if position == diagonal else next(columns) for position in range(len(terms))),
    )


def _scaled_rows(x: FloatArray, terms: Sequence[CodedFactor], blocks: Blocks, sizes: FloatArray) -> FloatArray:
    p = x.shape[1]
    rows = np.zeros((blocks.count, blocks.rows, p + 1 + sum(blocks.widths)))
    root = np.sqrt(sizes)
    at = (blocks.cell_block, blocks.cell_row)
    rows[(*at, slice(0, p))] = root[:, None] * x
    for term, columns, local in zip(terms, term_slices(blocks), blocks.level_column, strict=True):
        rows[(*at, p + 1 + columns.start + local[term.codes])] = root
    return rows


def add_responses(
    design: DesignProducts, means: FloatArray, within: FloatArray, blocks: Blocks, sizes: FloatArray
) -> CrossProducts:
    """Form the products of responses, by cell means and sums of squares within cells, with a design."""
    y = np.zeros((len(means), *design.member.shape))
    y[:, blocks.cell_block, blocks.cell_row] = means * np.sqrt(sizes)
    with_y = np.empty((len(means), len(design.sizes), *design.rows.shape[::2]))
    for g in range(len(design.sizes)):
        chosen = y if len(design.sizes) == 1 else y * (design.member == g)
        with_y[:, g] = np.matmul(chosen[:, :, None, :], design.rows)[:, :, 0]
        with_y[:, g, :, design.fixed] = (chosen**2).sum(2)
    return CrossProducts(design, with_y, within)


def transpose(a: FloatArray) -> FloatArray:
    """Transpose each matrix of a stack."""
    return a.swapaxes(-1, -2)


def flat(a: FloatArray) -> FloatArray:
    """Each array of a stack of stacks as one row, (n, k, ...) -> (n, k, elements)."""
    return a.reshape(*a.shape[:2], prod(a.shape[2:]))


def combine(weights: FloatArray, a: FloatArray) -> FloatArray:
    """``sum_k w_lk a_k`` of each stack, shapes (n, l, k) and (n, k, ...) -> (n, l, ...)."""
    sums = weights @ flat(a)
    return np.asarray(sums.reshape(*sums.shape[:2], *a.shape[2:]))
