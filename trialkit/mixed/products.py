"""Step 2: cross-products by cell size, all that the likelihood ever needs of the data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.mixed.blocks import Blocks
from trialkit.mixed.factors import Factor

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class CrossProducts:
    """Grams ``S_g = U_g' U_g`` of ``U = [X y Z]``, each cell's row scaled by the root of its size.

    Attributes
    ----------
    grams : ndarray, shape (sizes, blocks, p + 1 + q, p + 1 + q)
        One Gram for each distinct cell size and block.
    sizes : ndarray, shape (sizes,)
        The distinct cell sizes n_g.
    cells : ndarray, shape (sizes,)
        Number of cells of each size.
    heads : int
        Rows of the data, N.
    fixed : int
        Columns p of X (an orthonormal basis, X'X = I).
    within : float
        Sum of squares of the response within cells.
    term_columns : tuple of slice or None
        For each random term its columns of Z (counted from the first column of Z); None for the diagonal term.
    """

    grams: FloatArray
    sizes: FloatArray
    cells: FloatArray
    heads: int
    fixed: int
    within: float
    term_columns: tuple[slice | None, ...]

    @property
    def diagonal(self) -> int | None:
        """Position of the random term that stands on the diagonal, if one does."""
        return self.term_columns.index(None) if None in self.term_columns else None


def term_slices(blocks: Blocks) -> tuple[slice, ...]:
    """Columns of Z that each term of `blocks` takes, the same in every block (narrow blocks are padded by zeros)."""
    ends = np.cumsum(blocks.widths, dtype=int)
    return tuple(slice(int(end) - width, int(end)) for end, width in zip(ends, blocks.widths, strict=True))


def scaled_rows(x: FloatArray, y: FloatArray, terms: Sequence[Factor], blocks: Blocks, sizes: FloatArray) -> FloatArray:
    """Lay out ``U = [X y Z]`` by block, shape (blocks, rows, p + 1 + q), each cell's row times the root of its size.

    Parameters
    ----------
    x : ndarray, shape (cells, p)
    y : ndarray, shape (cells,)
        Cell means.
    terms : sequence of Factor
        The random terms with columns in Z, coded by cell.
    blocks : Blocks
    sizes : ndarray, shape (cells,)
    """
    p = x.shape[1]
    rows = np.zeros((blocks.count, blocks.rows, p + 1 + sum(blocks.widths)))
    root = np.sqrt(sizes)
    at = (blocks.cell_block, blocks.cell_row)
    rows[(*at, slice(0, p))] = root[:, None] * x
    rows[(*at, p)] = root * y
    for term, columns, local in zip(terms, term_slices(blocks), blocks.level_column, strict=True):
        rows[(*at, p + 1 + columns.start + local[term.codes])] = root
    return rows


def grams_by_size(rows: FloatArray, blocks: Blocks, sizes: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sum ``U'U`` over the cells of each distinct size.

    Returns
    -------
    grams : ndarray, shape (distinct sizes, blocks, m, m)
    distinct, counts : ndarray, shape (distinct sizes,)
    """
    distinct, group, counts = np.unique(sizes, return_inverse=True, return_counts=True)
    if len(distinct) == 1:
        return (rows.transpose(0, 2, 1) @ rows)[None], distinct, counts.astype(float)
    grams = np.empty((len(distinct), rows.shape[0], rows.shape[2], rows.shape[2]))
    member = np.full(rows.shape[:2], -1)
    member[blocks.cell_block, blocks.cell_row] = group
    for g in range(len(distinct)):
        chosen = rows * (member == g)[:, :, None]
        grams[g] = chosen.transpose(0, 2, 1) @ rows
    return grams, distinct, counts.astype(float)
