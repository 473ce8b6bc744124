"""Step 4: the inverse of V from small matrices only (Woodbury's identity), block by block.

``V = D + Z G Z'`` over the scaled cells; D is diagonal and depends on the cell's size only, so that
``V^-1 U = D^-1 U B`` and everything below is built from Grams of m = p + 1 + q columns. Every array has the responses
in front, each with variances of its own: one response or thousands go the same way.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from trialkit.mixed.products import CrossProducts, DesignProducts

FloatArray = NDArray[np.float64]

# Nearer than this to the edge where V is singular, rounding decides; it counts as beyond.
EDGE = 1e-10


@dataclass(frozen=True)
class Solved:
    """V inverted at given variances.

    Attributes
    ----------
    products : CrossProducts
    variances : ndarray, shape (r, k)
        For each response the random terms in their order, then the residual variances.
    valid : ndarray of bool, shape (r,)
        Whether V is positive definite; where it is not, the other values mean nothing.
    diagonal : ndarray, shape (r, groups)
        d of each group of cells: its residual + n * variance of the diagonal term.
    core : ndarray, shape (r, blocks, q, q)
        ``K = G (I + F G)^-1`` with ``F = Z'D^-1Z``.
    projector : ndarray, shape (r, blocks, q, m)
        ``K Z'D^-1U``; B is the identity less this in the rows of Z.
    solved : ndarray, shape (r, blocks, m, m)
        ``U'V^-1U``.
    log_determinant : ndarray, shape (r,)
        log|V|, contrasts within cells included.
    """

    products: CrossProducts
    variances: FloatArray
    valid: NDArray[np.bool_]
    diagonal: FloatArray
    core: FloatArray
    projector: FloatArray
    solved: FloatArray
    log_determinant: FloatArray

    @property
    def design(self) -> DesignProducts:
        """The design's part of the products."""
        return self.products.design

    @property
    def z(self) -> slice:
        """Columns of Z in U."""
        return slice(self.design.fixed + 1, None)

    @property
    def w(self) -> slice:
        """Columns of X and y in U."""
        return slice(0, self.design.fixed + 1)

    def columns(self, i: int) -> slice | None:
        """Columns of U that carry variance i, or None where its V_i is diagonal."""
        if i >= len(self.design.term_columns):
            return None
        term, start = self.design.term_columns[i], self.design.fixed + 1
        return None if term is None else slice(start + term.start, start + term.stop)

    def factor(self, i: int) -> FloatArray:
        """Diagonal of V_i for each group of cells: 1 where it is the group's residual, n for the diagonal term."""
        residual = self.residual_of(i)
        return self.design.sizes if residual is None else (self.design.residual == residual).astype(float)

    def residual_of(self, i: int) -> int | None:
        """Which residual variance variance i is, if it is one."""
        return i - len(self.design.term_columns) if i >= len(self.design.term_columns) else None

    def gram(self, factor: FloatArray, power: int) -> FloatArray:
        """``U' E D^-power U``, shape (r, blocks, m, m), E the diagonal `factor` by group."""
        return self.products.weighted(factor / self.diagonal**power)

    @cached_property
    def squares(self) -> dict[int, FloatArray]:
        """``U' D^-1 V_i D^-1 U`` of the variances whose V_i is diagonal."""
        return {i: self.gram(self.factor(i), 2) for i in range(self.variances.shape[1]) if self.columns(i) is None}

    @cached_property
    def derivatives(self) -> tuple[FloatArray, ...]:
        """``R_i = U'V^-1 V_i V^-1 U`` for every variance, each of shape (r, blocks, m, m).

        For a term with columns in Z only the part of X and y is made: no more is needed.
        """
        return tuple(self._derivative(i) for i in range(self.variances.shape[1]))

    def _derivative(self, i: int) -> FloatArray:
        columns = self.columns(i)
        if columns is None:
            return self._sandwich(self.squares[i])
        part = self.solved[..., self.w, columns]
        return part @ _transpose(part)

    def _sandwich(self, a: FloatArray) -> FloatArray:
        """``B' A B``."""
        right = a - a[..., self.z] @ self.projector
        return right - _transpose(self.projector) @ right[..., self.z, :]

    def trace(self, i: int) -> FloatArray:
        """``tr(V^-1 V_i)``, shape (r,)."""
        columns = self.columns(i)
        if columns is not None:
            return _trace(self.solved[..., columns, columns])
        cells = (self.factor(i) / self.diagonal) @ self.design.cells
        value = cells - _trace_product(self.core, self.squares[i][..., self.z, self.z])
        residual = self.residual_of(i)
        return value if residual is None else value + self.design.inner_heads[residual] / self.variances[:, i]

    def second(self, i: int, j: int) -> tuple[FloatArray, FloatArray]:
        """``[X y]'V^-1 V_i V^-1 V_j V^-1 [X y]`` summed over blocks, and ``tr(V^-1 V_i V^-1 V_j)``.

        Shapes (r, p + 1, p + 1) and (r,).
        """
        w, at_i, at_j = self.w, self.columns(i), self.columns(j)
        if at_i is not None and at_j is not None:
            between = self.solved[..., at_i, at_j]
            double = self.solved[..., w, at_i] @ between @ self.solved[..., at_j, w]
            return double.sum(1), (between**2).sum((1, 2, 3))
        if at_i is not None:
            double = self.solved[..., w, at_i] @ self.derivatives[j][..., at_i, w]
            return double.sum(1), _trace(self.derivatives[j][..., at_i, at_i])
        if at_j is not None:
            double, trace = self.second(j, i)
            return _transpose(double), trace
        return self._second_diagonal(i, j)

    def _second_diagonal(self, i: int, j: int) -> tuple[FloatArray, FloatArray]:
        w, z = self.w, self.z
        left, right, both = self.squares[i], self.squares[j], self.gram(self.factor(i) * self.factor(j), 3)
        half_left = left[..., z, w] - left[..., z, z] @ self.projector[..., w]
        half_right = right[..., z, w] - right[..., z, z] @ self.projector[..., w]
        # B' A B needs its rows and columns of X and y only.
        middle = both[..., w] - both[..., z] @ self.projector[..., w]
        outer = middle[..., w, :] - _transpose(self.projector[..., w]) @ middle[..., z, :]
        double = outer - _transpose(half_left) @ self.core @ half_right
        cells = (self.factor(i) * self.factor(j) / self.diagonal**2) @ self.design.cells
        trace = cells - 2 * _trace_product(self.core, both[..., z, z])
        trace += _trace_product(self.core @ left[..., z, z], self.core @ right[..., z, z])
        residual = self.residual_of(i)
        if residual is not None and i == j:
            trace = trace + self.design.inner_heads[residual] / self.variances[:, i] ** 2
        return double.sum(1), trace


def solve(products: CrossProducts, variances: FloatArray) -> Solved:
    """Invert V at each response's variances, shape (r, k); negative ones are allowed while V is positive definite."""
    design = products.design
    bucket = 0.0 if design.diagonal is None else variances[:, [design.diagonal]]
    residuals = variances[:, len(design.term_columns) :]
    d = residuals[:, design.residual] + design.sizes * bucket
    valid = (d.min(1) > EDGE) & (residuals.min(1) > EDGE)
    d = np.where(valid[:, None], d, 1.0)
    residuals = np.where(valid[:, None], residuals, 1.0)
    weighted = products.weighted(1 / d)
    z = slice(design.fixed + 1, None)
    core, log_inner, definite = _cores(weighted[..., z, z], _column_variances(design, variances))
    projector = core @ weighted[..., z, :]
    return Solved(
        products=products,
        variances=variances,
        valid=valid & definite,
        diagonal=d,
        core=core,
        projector=projector,
        solved=weighted - weighted[..., z] @ projector,
        log_determinant=np.log(residuals) @ design.inner_heads + np.log(d) @ design.cells + log_inner,
    )


def _cores(f: FloatArray, g: FloatArray) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Apply `_core` to the responses with a negative variance and to those without, which are the cheaper."""
    negative = (g < 0).any(1)
    if negative.all() or not negative.any():
        return _core(f, g)
    result = np.empty_like(f), np.empty(len(f)), np.empty(len(f), bool)
    for which in (negative, ~negative):
        for whole, part in zip(result, _core(f[which], g[which]), strict=True):
            whole[which] = part
    return result


def _core(f: FloatArray, g: FloatArray) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """``K = G (I + F G)^-1``, log|I + F G|, and whether V is positive definite, for each response.

    With G >= 0 its root makes the inner matrix symmetric; where a variance is negative the root of F does.

    Parameters
    ----------
    f : ndarray, shape (r, blocks, q, q)
    g : ndarray, shape (r, q)
    """
    if not g.shape[1]:
        return f, np.zeros(len(f)), np.ones(len(f), bool)
    identity, bounded = np.eye(g.shape[1]), bool(g.min() >= 0)
    if bounded:
        root = np.sqrt(g)[:, None]
        middle = identity + root[..., :, None] * f * root[..., None, :]
        outer = np.broadcast_to(root[..., None] * identity, f.shape)
        definite = np.ones(len(f), bool)
    else:
        values, vectors = np.linalg.eigh(f)
        root_f = (vectors * np.sqrt(np.maximum(values, 0))[..., None, :]) @ _transpose(vectors)
        outer = root_f * g[:, None, None, :]
        middle = identity + outer @ root_f
        definite = np.asarray((np.linalg.eigvalsh(middle) > EDGE).all((1, 2)), bool)
        middle[~definite] = identity
    log_determinant = np.linalg.slogdet(middle)[1].sum(1)
    core = _transpose(outer) @ np.linalg.solve(middle, outer)
    return (core if bounded else g[:, None, :, None] * identity - core), log_determinant, definite


def _column_variances(design: DesignProducts, variances: FloatArray) -> FloatArray:
    """Diagonal of G, shape (r, q): each term's variance on each of its columns of Z."""
    widths = [0 if c is None else c.stop - c.start for c in design.term_columns]
    return np.repeat(variances[:, : len(widths)], widths, axis=1)


def _transpose(a: FloatArray) -> FloatArray:
    return np.swapaxes(a, -1, -2)


def _trace(a: FloatArray) -> FloatArray:
    """Trace summed over blocks, shape (r,)."""
    return np.asarray(np.trace(a, axis1=-2, axis2=-1).sum(1))


def _trace_product(a: FloatArray, b: FloatArray) -> FloatArray:
    """tr(A B) summed over blocks, shape (r,)."""
    return np.asarray((a * _transpose(b)).sum((1, 2, 3)))
