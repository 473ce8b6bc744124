"""The second algebra, step a: which random terms are absorbed, and which make the core.

The first algebra (`products`, `woodbury`, `likelihood`) works on dense matrices block by block and on many responses at
once. The second serves one response where that would be dear, or where terms have slopes. Its Z is sparse and stands in
two parts: A, the *absorbed* terms, whose ``Z'Z`` is block diagonal with small blocks (the term with the most levels,
and what is nested with it), and B, the *core*, all others. A is eliminated block by block, and what remains is dense of
the size of the core alone: 3,000 students who rate 1,000 teachers need matrices of 1,000.

Slopes are centred and scaled inside (`TermPlace.back` leads out again), so that years near 2000 cost no digits.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from scipy.sparse import csr_array

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.algebra_choice import cheapest
from trialkit.mixed.blocks import independent_blocks
from trialkit.mixed.random_terms import RandomTerm

if TYPE_CHECKING:
    from trialkit.mixed.model import Model


@dataclass(frozen=True)
class TermPlace:
    """Where a random term stands."""

    term: RandomTerm
    absorbed: bool
    columns: Annotated[IntArray, "Shape (levels, parts). Columns of A or of B."]
    scaled: Annotated[
        FloatArray, "Shape (cells, parts). What each part multiplies, centred and scaled, in a cell's row."
    ]
    back: Annotated[FloatArray, "Shape (parts, parts). Level and slopes as the user knows them from those inside."]

    @property
    def parts(self) -> int:
        """Number of parts."""
        return len(self.back)


@dataclass(frozen=True, eq=False)
class AbsorbedDesign:
    """The design, each cell's row times the root of its size."""

    x: Annotated[FloatArray, "Shape (cells, p). Orthonormal basis of the fixed part."]
    places: tuple[TermPlace, ...]
    blocks: Annotated[int, "Blocks of A."]
    width: Annotated[int, "Columns of A in each block; narrow blocks are padded by columns of zeros."]
    core: Annotated[int, "Columns of B."]
    residual: Annotated[IntArray, "Shape (cells,). Which residual variance each cell has."]
    heads: Annotated[FloatArray, "Shape (residual variances,). Rows of the data under each."]

    @property
    def fixed(self) -> int:
        """Columns p of X."""
        return int(self.x.shape[1])

    @cached_property
    def inner_heads(self) -> FloatArray:
        """Number of contrasts within cells under each residual variance."""
        return np.asarray(self.heads - np.bincount(self.residual, minlength=len(self.heads)))

    @cached_property
    def a(self) -> Any:
        """Z of the absorbed terms, sparse, shape (cells, blocks * width)."""
        return self._sparse(True, self.blocks * self.width)

    @cached_property
    def b(self) -> Any:
        """Z of the core, sparse, shape (cells, core)."""
        return self._sparse(False, self.core)

    def _sparse(self, absorbed: bool, columns: int) -> Any:
        places = [place for place in self.places if place.absorbed == absorbed]
        rows = len(self.x)
        if not places:
            return csr_array((rows, columns))
        at = np.concatenate([place.columns[place.term.codes] for place in places], axis=1)
        values = np.concatenate([place.scaled for place in places], axis=1)
        starts = np.arange(rows + 1) * at.shape[1]
        matrix = csr_array((values.ravel(), at.ravel(), starts), shape=(rows, columns))
        matrix.sort_indices()
        return matrix

    def products(self, weights: FloatArray) -> tuple[FloatArray, Any, FloatArray]:
        """``A'WA`` by block, ``A'WB`` sparse and ``B'WB`` dense, W diagonal over the cells."""
        if len(self.heads) == 1:  # one weight for all
            blocks, between, core = self._unweighted
            return weights[0] * blocks, weights[0] * between, weights[0] * core
        return self._products(weights)

    @cached_property
    def _unweighted(self) -> tuple[FloatArray, Any, FloatArray]:
        return self._products(np.ones(len(self.x)))

    def _products(self, weights: FloatArray) -> tuple[FloatArray, Any, FloatArray]:
        at, values = self._block_pairs
        size = self.blocks * self.width**2
        blocks = np.bincount(at.ravel(), (values * weights[:, None]).ravel(), size).astype(float)
        weighted = self.b.multiply(weights[:, None]).tocsr()
        between, core = (self.a.T @ weighted).tocsr(), (self.b.T @ weighted).toarray()
        return blocks.reshape(self.blocks, self.width, self.width), between, core

    @cached_property
    def _block_pairs(self) -> tuple[IntArray, FloatArray]:
        """Place of each product of two columns of A in ``A'A`` by block, and the product, shape (cells, pairs)."""
        each = self.a.indices.reshape(len(self.x), -1), self.a.data.reshape(len(self.x), -1)
        columns, values = each[0].astype(np.intp), each[1]
        at = columns[:, :, None] * self.width + columns[:, None, :] % max(self.width, 1)
        return at.reshape(len(at), -1), (values[:, :, None] * values[:, None, :]).reshape(len(at), -1)

    def spread(self, matrices: Sequence[FloatArray], absorbed: bool) -> FloatArray:
        """One block's columns of A with each term's matrix at each level, shape (width, width); see `spread_core`."""
        whole = np.zeros((self.width, self.width))
        for place, matrix in zip(self.places, matrices, strict=True):
            if place.absorbed == absorbed:
                local = np.unique(place.columns % self.width, axis=0)
                whole[local[:, :, None], local[:, None, :]] = matrix
        return whole

    def spread_core(self, matrices: Sequence[FloatArray]) -> Any:
        """Block diagonal, sparse, of each core term's matrix (parts, r) at each level; columns in the terms' order."""
        rows, columns, values, start = [], [], [], 0
        for place, matrix in zip(self.places, matrices, strict=True):
            if place.absorbed:
                continue
            levels, r = len(place.columns), matrix.shape[1]
            across = start + np.arange(levels * r).reshape(levels, r)
            shape = (levels, place.parts, r)
            rows.append(np.broadcast_to(place.columns[:, :, None], shape).ravel())
            columns.append(np.broadcast_to(across[:, None, :], shape).ravel())
            values.append(np.broadcast_to(matrix, shape).ravel())
            start += levels * r
        if not rows:
            return csr_array((self.core, 0))
        joined = (np.concatenate(rows), np.concatenate(columns))
        return csr_array((np.concatenate(values), joined), shape=(self.core, start))


def absorbed_design(model: Model) -> AbsorbedDesign:
    """Lay the design out with the terms absorbed that make an evaluation cheapest."""
    chosen = cheapest(model)[1]
    root, sizes = np.sqrt(model.cells.sizes), model.cells.sizes
    inside = [term for i, term in enumerate(model.terms) if i in chosen]
    blocks = independent_blocks(inside, len(sizes))
    widths = [width * len(term.parts) for width, term in zip(blocks.widths, inside, strict=True)]
    width, offset, core, places, at = sum(widths), 0, 0, [], 0
    for i, term in enumerate(model.terms):
        parts = np.arange(len(term.parts))
        values, back = _centred(term, sizes)
        if i in chosen:
            within = offset + blocks.level_column[at][:, None] * len(parts) + parts
            columns = blocks.level_block[at][:, None] * width + within
            offset, at = offset + widths[at], at + 1
        else:
            columns = core + np.arange(len(term.levels) * len(parts)).reshape(-1, len(parts))
            core += columns.size
        places.append(TermPlace(term, i in chosen, columns, root[:, None] * values, back))
    x = root[:, None] * model.fixed.orthogonal[model.fixed_row]
    heads = np.asarray(np.bincount(model.residual.codes, sizes), float)
    return AbsorbedDesign(x, tuple(places), blocks.count, width, core, model.residual.codes, heads)


def _centred(term: RandomTerm, sizes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Parts' columns by cell, slopes scaled and, beside a level, centred; and the way back."""
    columns, back = term.columns, np.eye(len(term.parts))
    values = columns.copy()
    for part in range(int(term.level), len(term.parts)):
        middle = float(np.average(columns[:, part], weights=sizes)) if term.level else 0.0
        spread = float(np.sqrt(np.average((columns[:, part] - middle) ** 2, weights=sizes))) or 1.0
        values[:, part] = (columns[:, part] - middle) / spread
        back[part, part] = 1 / spread
        if term.level:
            back[0, part] = -middle / spread
    return values, back
