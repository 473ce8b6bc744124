"""The second algebra, step b: V inverted with the absorbed terms eliminated first.

``V = D + A G_A A' + B G_B B'`` over the scaled cells. With ``V_A = D + A G_A A'``, F = ``A'D^-1A`` (block diagonal) and
``L = (I + F G_A)^-1``,

    A'V_A^-1A = L F,    A'V_A^-1B = L A'D^-1B =: J,    B'V_A^-1B = B'D^-1B - B'D^-1A G_A J =: C,

and the core is the dense algebra's (`trialkit.mixed.woodbury`) with V_A for D and C for F:
``V^-1 = V_A^-1 - V_A^-1B K B'V_A^-1`` where, with ``G_B = R R'``, ``K = R (I + R'C R)^-1 R'``. Covariance matrices are
positive semidefinite throughout, so that V is positive definite wherever the residual variances are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Annotated, Any

import numpy as np
from scipy.linalg import lapack
from scipy.sparse import bsr_array

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.absorbed_design import AbsorbedDesign
from trialkit.mixed.algebra_choice import SPARSE_COST

# The inverse of a covariance matrix is used as long as its parts are known so well.
WORST_CONDITION = 1e4
LEAST_SHARE = 1e-4
# Elements of a dense matrix that is worked on in slices.
SLICE = 4_000_000


@dataclass(frozen=True)
class AbsorbedInverse:
    """V inverted at given covariance matrices and residual variances."""

    design: AbsorbedDesign
    sigmas: Annotated[tuple[FloatArray, ...], "Shape (parts, parts) each. Covariance matrices of the random terms."]
    d: Annotated[FloatArray, "Shape (cells,). Residual variance of each cell."]
    gain: Annotated[FloatArray, "Shape (blocks, width, width). ``G_A L``."]
    within: Annotated[FloatArray, "Shape (blocks, width, width). ``A'V_A^-1A``."]
    between: Annotated[Any, "Sparse. ``A'D^-1B``."]
    j: Annotated[Any, "Sparse. ``A'V_A^-1B``."]
    c: Annotated[FloatArray, "Shape (core, core). ``B'V_A^-1B``."]
    k: Annotated[FloatArray, "Shape (core, core). ``V^-1 = V_A^-1 - V_A^-1B K B'V_A^-1``."]
    log_determinant: Annotated[float, "log|V| over the cells."]

    def times(self, v: FloatArray) -> FloatArray:
        """``V^-1 v``, shape (cells, m)."""
        design, d = self.design, self.d[:, None]
        first = v / d
        first -= (design.a @ self._gained(design.a.T @ first)) / d
        core = self.k @ (design.b.T @ first)
        return np.asarray(first - (design.b @ core - design.a @ self._gained(self.between @ core)) / d)

    def _gained(self, v: FloatArray) -> FloatArray:
        """``G_A L v`` of columns over A."""
        blocks, width = self.gain.shape[:2]
        return np.asarray((self.gain @ v.reshape(blocks, width, -1)).reshape(v.shape))

    @cached_property
    def left(self) -> FloatArray:
        """``I - K C``, with ``A'V^-1B = J (I - K C)``; shape (core, core)."""
        left = -self.k @ self.c
        left[np.diag_indices_from(left)] += 1
        return left

    @cached_property
    def core_inner(self) -> FloatArray:
        """``B'V^-1B``, shape (core, core)."""
        return np.asarray(self.c @ self.left)

    def spread_j(self, matrix: FloatArray) -> FloatArray:
        """``J'(I x M) J`` for M of one block's columns, shape (core, core)."""
        return cross(self.j, block_product(np.tile(matrix, (self.design.blocks, 1, 1)), self.j))

    def level_sums(self, position: int) -> FloatArray:
        """Sum over the levels of a term of their blocks of ``Z'V^-1Z``, shape (parts, parts)."""
        place, parts = self.design.places[position], range(self.design.places[position].parts)
        if place.absorbed:
            sums = self._own_blocks(place.columns).sum(0)
            if self.design.core:
                rows = [self.j[place.columns[:, i]] for i in parts]
                sums -= np.array([[np.vdot(self.k, cross(rows[i], rows[j])) for j in parts] for i in parts])
            return np.asarray((sums + sums.T) / 2)
        sigma, levels = self.sigmas[position], len(place.columns)
        if np.linalg.cond(sigma) < WORST_CONDITION:
            inverse = np.linalg.inv(sigma)
            known = levels * np.eye(len(sigma)) - inverse @ _blocks(self.k, place.columns).sum(0)
            if np.trace(known) > LEAST_SHARE * levels * len(sigma):
                sums = known @ inverse
                return np.asarray((sums + sums.T) / 2)
        return np.asarray(self._core_blocks(place.columns).sum(0))

    def level_blocks(self, position: int) -> FloatArray:
        """Each level's block of ``Z'V^-1Z``, shape (levels, parts, parts)."""
        place = self.design.places[position]
        if not place.absorbed:
            return self._core_blocks(place.columns)
        blocks = self._own_blocks(place.columns)
        step = max(1, SLICE // max(1, self.design.core * place.parts))
        for start in range(0, len(blocks), step) if self.design.core else ():
            some = place.columns[start : start + step]
            j = self.j[some.ravel()].toarray().reshape(*some.shape, -1)
            blocks[start : start + step] -= (j @ self.k) @ j.transpose(0, 2, 1)
        return blocks

    def _own_blocks(self, columns: IntArray) -> FloatArray:
        """Each level's block of ``A'V_A^-1A``."""
        block, local = columns[:, 0] // self.design.width, columns % self.design.width
        return np.asarray(self.within[block[:, None, None], local[:, :, None], local[:, None, :]])

    def _core_blocks(self, columns: IntArray) -> FloatArray:
        """Each level's block of ``B'V^-1B = C - C K C``, shape (levels, parts, parts)."""
        rows = self.c[columns]
        return np.asarray(_blocks(self.c, columns) - (rows @ self.k) @ rows.transpose(0, 2, 1))

    def own(self) -> FloatArray:
        """Diagonal of V^-1, shape (cells,)."""
        design, own = self.design, 1 / self.d
        step = max(1, SLICE // max(1, design.core + design.width))
        gained = bsr_array((self.gain, np.arange(design.blocks), np.arange(design.blocks + 1))).tocsr()
        for start in range(0, len(own), step):
            some = slice(start, start + step)
            a, b = design.a[some], design.b[some]
            z = b.toarray() - ((a @ gained) @ self.between).toarray()
            inner = (a @ gained).multiply(a).sum(1) + ((z @ self.k) * z).sum(1)
            own[some] -= np.asarray(inner).ravel() / self.d[some] ** 2
        return own


def invert(design: AbsorbedDesign, sigmas: tuple[FloatArray, ...], residual: FloatArray) -> AbsorbedInverse:
    """Invert V at covariance matrices, all positive semidefinite, and residual variances above zero."""
    d = residual[design.residual]
    f, between, core = design.products(1 / d)
    g = design.spread(sigmas, True)
    middle = np.eye(design.width) + f @ g
    inner = np.asarray(np.linalg.inv(middle), float)
    gain = g @ inner
    j = block_product(inner, between)
    c = core - cross(between, block_product(gain, between))
    c = (c + c.T) / 2
    root = design.spread_core([root_of(sigma) for sigma in sigmas])
    scaled = np.asarray(root.T @ (root.T @ c).T)
    scaled[np.diag_indices_from(scaled)] += 1
    inverse, log_core = _inverse(scaled)
    k = np.asarray(root @ (root @ inverse).T)
    logs = np.log(d).sum() + np.linalg.slogdet(middle)[1].sum() + log_core
    return AbsorbedInverse(design, sigmas, d, gain, inner @ f, between, j, c, (k + k.T) / 2, float(logs))


def root_of(sigma: FloatArray) -> FloatArray:
    """R with ``R R' = sigma``, shape (parts, rank)."""
    if len(sigma) == 1:
        return np.sqrt(sigma) if sigma[0, 0] > 0 else np.empty((1, 0))
    values, vectors = np.linalg.eigh(sigma)
    kept = values > 0
    return np.asarray(vectors[:, kept] * np.sqrt(values[kept]))


def cross(first: Any, second: Any) -> FloatArray:
    """``first' second`` of sparse matrices, dense; by slices of dense ones where they have few zeros."""
    operations = float(np.diff(first.indptr).astype(float) @ np.diff(second.indptr))
    rows, columns = first.shape
    if SPARSE_COST * operations < float(rows) * columns**2:
        return np.asarray((first.T @ second).toarray())
    total = np.zeros((columns, columns))
    step = max(1, SLICE // max(1, columns))
    for start in range(0, rows, step):
        total += first[start : start + step].toarray().T @ second[start : start + step].toarray()
    return total


def block_product(blocks: FloatArray, matrix: Any) -> Any:
    """Block diagonal matrix, shape (blocks, width, width), times a sparse one."""
    if blocks.shape[1] == 1:
        return matrix.multiply(blocks.reshape(-1, 1)).tocsr()
    diagonal = bsr_array((np.ascontiguousarray(blocks), np.arange(len(blocks)), np.arange(len(blocks) + 1)))
    return (diagonal.tocsr() @ matrix).tocsr()


def _blocks(matrix: FloatArray, columns: IntArray) -> FloatArray:
    """Each level's block of a matrix over the core, shape (levels, parts, parts)."""
    return np.asarray(matrix[columns[:, :, None], columns[:, None, :]])


def _inverse(matrix: FloatArray) -> tuple[FloatArray, float]:
    """Inverse and log determinant of a positive definite matrix, by Cholesky's factor."""
    if not len(matrix):
        return matrix, 0.0
    factor, failed = lapack.dpotrf(matrix, lower=1)
    if failed:
        raise np.linalg.LinAlgError("not positive definite")
    logs = 2 * float(np.log(np.diagonal(factor)).sum())
    inverse, _ = lapack.dpotri(factor, lower=1)
    inverse = np.tril(inverse)
    return inverse + np.tril(inverse, -1).T, logs
