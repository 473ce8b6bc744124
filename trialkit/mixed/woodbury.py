"""Step 4: the inverse of V from small matrices only (Woodbury's identity), block by block.

``V = D + Z G Z'`` over the scaled cells; D is diagonal and depends on the cell's size only, so that
``V^-1 U = D^-1 U B`` and everything below is built from Grams of m = p + 1 + q columns.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from trialkit.mixed.products import CrossProducts

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Solved:
    """V inverted at given variances.

    Attributes
    ----------
    products : CrossProducts
    variances : ndarray, shape (k,)
        Random terms in their order, the residual last.
    diagonal : ndarray, shape (sizes,)
        d of each cell size: residual + n * variance of the diagonal term.
    core : ndarray, shape (blocks, q, q)
        ``K = G (I + F G)^-1`` with ``F = Z'D^-1Z``.
    projector : ndarray, shape (blocks, q, m)
        ``K Z'D^-1U``; B is the identity less this in the rows of Z.
    solved : ndarray, shape (blocks, m, m)
        ``U'V^-1U``.
    log_determinant : float
        log|V|, contrasts within cells included.
    """

    products: CrossProducts
    variances: FloatArray
    diagonal: FloatArray
    core: FloatArray
    projector: FloatArray
    solved: FloatArray
    log_determinant: float

    @property
    def z(self) -> slice:
        """Columns of Z in U."""
        return slice(self.products.fixed + 1, None)

    @property
    def inner_heads(self) -> float:
        """Number of contrasts within cells, N - C."""
        return float(self.products.heads - self.products.cells.sum())

    def columns(self, i: int) -> slice | None:
        """Columns of U that carry variance i, or None where its V_i is diagonal."""
        if i == len(self.products.term_columns):
            return None
        term, start = self.products.term_columns[i], self.products.fixed + 1
        return None if term is None else slice(start + term.start, start + term.stop)

    def factor(self, i: int) -> FloatArray:
        """Diagonal of V_i for each cell size: 1 for the residual, n for the diagonal term."""
        return np.ones_like(self.diagonal) if i == len(self.products.term_columns) else self.products.sizes

    def gram(self, factor: FloatArray, power: int) -> FloatArray:
        """``U' E D^-power U``, shape (blocks, m, m), E the diagonal `factor` by cell size."""
        return np.tensordot(factor / self.diagonal**power, self.products.grams, 1)

    @cached_property
    def derivatives(self) -> tuple[FloatArray, ...]:
        """``R_i = U'V^-1 V_i V^-1 U`` for every variance, each of shape (blocks, m, m)."""
        return tuple(self._derivative(i) for i in range(len(self.variances)))

    def _derivative(self, i: int) -> FloatArray:
        columns = self.columns(i)
        if columns is None:
            return self._sandwich(self.gram(self.factor(i), 2))
        part = self.solved[:, :, columns]
        return part @ _transpose(part)

    def _sandwich(self, a: FloatArray) -> FloatArray:
        """``B' A B``."""
        right = a - a[:, :, self.z] @ self.projector
        return right - _transpose(self.projector) @ right[:, self.z, :]

    def trace(self, i: int) -> float:
        """``tr(V^-1 V_i)``."""
        columns = self.columns(i)
        if columns is not None:
            return float(np.trace(self.solved[:, columns, columns], axis1=1, axis2=2).sum())
        factor = self.factor(i)
        value = self.products.cells @ (factor / self.diagonal) - _trace_product(
            self.core, self.gram(factor, 2)[:, self.z, self.z]
        )
        residual = i == len(self.variances) - 1
        return float(value + (self.inner_heads / self.variances[-1] if residual else 0.0))

    def second(self, i: int, j: int) -> tuple[FloatArray, float]:
        """``[X y]'V^-1 V_i V^-1 V_j V^-1 [X y]`` summed over blocks, and ``tr(V^-1 V_i V^-1 V_j)``, for i <= j."""
        w = slice(0, self.products.fixed + 1)
        at_i, at_j = self.columns(i), self.columns(j)
        if at_i is not None and at_j is not None:
            between = self.solved[:, at_i, at_j]
            double = self.solved[:, w, at_i] @ between @ self.solved[:, at_j, w]
            return double.sum(0), float((between**2).sum())
        if at_i is not None:
            double = self.solved[:, w, at_i] @ self.derivatives[j][:, at_i, w]
            return double.sum(0), float(np.trace(self.derivatives[j][:, at_i, at_i], axis1=1, axis2=2).sum())
        if at_j is not None:
            double, trace = self.second(j, i)
            return double.T, trace
        return self._second_diagonal(i, j)

    def _second_diagonal(self, i: int, j: int) -> tuple[FloatArray, float]:
        w, z = slice(0, self.products.fixed + 1), self.z
        left, right = (self.gram(self.factor(n), 2) for n in (i, j))
        both = self.gram(self.factor(i) * self.factor(j), 3)
        half_left = (left - left[:, :, z] @ self.projector)[:, z, w]
        half_right = (right - right[:, :, z] @ self.projector)[:, z, w]
        double = self._sandwich(both)[:, w, w] - _transpose(half_left) @ self.core @ half_right
        core_left, core_right = self.core @ left[:, z, z], self.core @ right[:, z, z]
        trace = (
            self.products.cells @ (self.factor(i) * self.factor(j) / self.diagonal**2)
            - 2 * _trace_product(self.core, both[:, z, z])
            + _trace_product(core_left, core_right)
        )
        if i == j == len(self.variances) - 1:
            trace += self.inner_heads / self.variances[-1] ** 2
        return double.sum(0), float(trace)


def solve(products: CrossProducts, variances: FloatArray) -> Solved | None:
    """Invert V at the given variances; None where V is not positive definite.

    Parameters
    ----------
    products : CrossProducts
    variances : ndarray, shape (k,)
        Negative values are allowed as long as V stays positive definite.
    """
    bucket = 0.0 if products.diagonal is None else variances[products.diagonal]
    d = variances[-1] + products.sizes * bucket
    if d.min() <= 0 or variances[-1] <= 0:
        return None
    weighted = np.tensordot(1 / d, products.grams, 1)
    z = slice(products.fixed + 1, None)
    core = _core(weighted[:, z, z], _column_variances(products, variances))
    if core is None:
        return None
    projector = core[0] @ weighted[:, z, :]
    inner_heads = products.heads - products.cells.sum()
    return Solved(
        products=products,
        variances=variances,
        diagonal=d,
        core=core[0],
        projector=projector,
        solved=weighted - weighted[:, :, z] @ projector,
        log_determinant=float(inner_heads * np.log(variances[-1]) + products.cells @ np.log(d) + core[1]),
    )


def _core(f: FloatArray, g: FloatArray) -> tuple[FloatArray, float] | None:
    """Return ``K = G (I + F G)^-1`` and log|I + F G|, or None where V is not positive definite.

    With G >= 0 its root makes the inner matrix symmetric; where a variance is negative the root of F does.
    """
    if not len(g):
        return np.zeros((len(f), 0, 0)), 0.0
    identity, bounded = np.eye(len(g)), g.min() >= 0
    if bounded:
        root = np.sqrt(g)
        outer, middle = np.broadcast_to(np.diag(root), f.shape), identity + root[:, None] * f * root
    else:
        values, vectors = np.linalg.eigh(f)
        root_f = (vectors * np.sqrt(np.maximum(values, 0))[:, None, :]) @ _transpose(vectors)
        outer, middle = root_f * g, identity + (root_f * g) @ root_f
    try:
        lower = np.linalg.cholesky(middle)
    except np.linalg.LinAlgError:
        return None
    core = _transpose(outer) @ np.linalg.solve(middle, outer)
    log_determinant = 2 * float(np.log(np.diagonal(lower, axis1=1, axis2=2)).sum())
    return (core if bounded else np.diag(g) - core), log_determinant


def _column_variances(products: CrossProducts, variances: FloatArray) -> FloatArray:
    """Diagonal of G: each term's variance on each of its columns of Z."""
    widths = [0 if c is None else c.stop - c.start for c in products.term_columns]
    return np.repeat(variances[:-1], widths)


def _transpose(a: FloatArray) -> FloatArray:
    return np.swapaxes(a, -1, -2)


def _trace_product(a: FloatArray, b: FloatArray) -> float:
    """Sum over blocks of tr(A B)."""
    return float((a * _transpose(b)).sum())
