"""Step 4: the inverse of V from small matrices only (Woodbury's identity), block by block.

``V = D + Z G Z'`` over the scaled cells; D is diagonal and depends on the cell's group only, and G on the column's term
only, so that with ``F = Z'D^-1Z`` and ``L = (I + F G)^-1``

    Z'V^-1U = L Z'D^-1U,    X'V^-1U = X'D^-1U - X'V^-1Z G Z'D^-1U,

and everything is built from Grams of m = p + 1 + q columns. A variance whose V_i is diagonal over the cells (the
bucket's, a residual) is called *diagonal* below, one with columns in Z a *column* variance. The last residual's V_i is
never looked at: ``V = sum_i variance_i V_i`` is known, so V stands in its place (`Solved.basis_change`).

Every array has the responses in front: each response with variances of its own, or all of them with one row of
variances; then what does not depend on y is worked out once.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.products import CrossProducts, DesignProducts, combine, transpose

# Nearer than this to the edge where V is singular, rounding decides; it counts as beyond.
EDGE = 1e-10


@dataclass(frozen=True)
class Solved:
    """V inverted at given variances."""

    products: Annotated[CrossProducts, "Of r responses."]
    variances: Annotated[
        FloatArray,
        "Shape (s, k). The random terms in their order, then the residual variances; s = r, or 1 where all responses "
        "share them.",
    ]
    valid: Annotated[
        NDArray[np.bool_], "Shape (s,). Whether V is positive definite; where it is not, the other values mean nothing."
    ]
    diagonal: Annotated[
        FloatArray,
        "Shape (s, groups + residual variances). d of each group of cells: its residual + n * variance of the "
        "diagonal term; then the residual variances, which the contrasts within cells have.",
    ]
    spread: Annotated[FloatArray, "Shape (s, q). Diagonal of G: each column's variance."]
    inner: Annotated[FloatArray, "Shape (s, blocks, q, q). ``L = (I + F G)^-1``."]
    # Shapes (s, blocks, q, p) and (s, blocks, q, q). ``Z'V^-1X`` and ``Z'V^-1Z``.
    z_x: FloatArray
    z_z: FloatArray
    x_x: Annotated[FloatArray, "Shape (s, p, p). ``X'V^-1X``."]
    # Shapes (r, blocks, q), (r, p) and (r,). ``Z'V^-1y``, ``X'V^-1y`` and ``y'V^-1y``.
    z_y: FloatArray
    x_y: FloatArray
    y_y: FloatArray
    log_determinant: Annotated[FloatArray, "Shape (s,). log|V|."]

    @property
    def design(self) -> DesignProducts:
        """The design's part of the products."""
        return self.products.design

    @cached_property
    def basis_change(self) -> FloatArray:
        """T in ``V_i = sum_b T_ib B_b``, B being the column V_i, the diagonal V_i but the last, V; shape (s, k, k)."""
        at = self.design.positions
        t = np.zeros((*self.variances.shape, len(at) + 1))
        t[:, at, np.arange(len(at))] = 1.0
        t[:, -1, :-1], t[:, -1, -1] = -self.variances[:, at], 1.0
        t[:, -1] /= self.diagonal[:, -1:]
        return t

    def factors(self, power: int) -> FloatArray:
        """``E_i D^-power`` of every diagonal variance, shape (s, diagonal, groups + residual variances)."""
        return np.asarray(self.design.diagonal_factors / self.diagonal[:, None] ** power)

    @cached_property
    def projected(self) -> FloatArray:
        """``T = G Z'V^-1X``, with ``V^-1X = D^-1(X - Z T)``; shape (s, blocks, q, p)."""
        return np.asarray(self.spread[:, None, :, None] * self.z_x)

    @cached_property
    def squares(self) -> FloatArray:
        """``A_i = U'D^-1 V_i D^-1U`` for every diagonal variance, y's part nil; shape (s, diagonal, blocks, m, m)."""
        return self.design.weighted(self.factors(2))

    @cached_property
    def half(self) -> FloatArray:
        """``N_i = Z'D^-1 V_i V^-1X`` for every diagonal variance, shape (s, diagonal, blocks, q, p)."""
        x, z = self.design.x, self.design.z
        return np.asarray(self.squares[..., z, x] - self.squares[..., z, z] @ self.projected[:, None])

    @cached_property
    def z_vi_x(self) -> FloatArray:
        """``Z'V^-1 V_i V^-1X`` for every diagonal variance, shape (s, diagonal, blocks, q, p)."""
        return np.asarray(self.inner[:, None] @ self.half)

    @cached_property
    def x_vi_x(self) -> FloatArray:
        """``X'V^-1 V_i V^-1X`` for the column variances, then the diagonal ones, shape (s, k - 1, p, p)."""
        design, p = self.design, self.design.fixed
        result = np.empty((len(self.variances), len(design.positions), p, p))
        for i, (_, columns) in enumerate(design.column_terms):
            part = self.z_x[:, :, columns]
            part = part.reshape(len(result), part.shape[1] * part.shape[2], p)
            np.matmul(transpose(part), part, out=result[:, i])
        if len(design.diagonal_positions):
            a, t = self.squares, self.projected[:, None]
            outer = a[..., design.x, design.x] - a[..., design.x, design.z] @ t - transpose(t) @ self.half
            result[:, len(design.column_terms) :] = outer.sum(2)
        return result

    def weighted_second(self, w: FloatArray) -> FloatArray:
        """``sum_ij w_ij X'V^-1 V_i V^-1 V_j V^-1X`` for symmetric weights, shape (s, k - 1, k - 1) -> (s, p, p).

        Over the column variances, then the diagonal ones.
        """
        design, c, t = self.design, len(self.design.column_terms), transpose
        of_columns = design.column_term @ w[:, :c, :c] @ design.column_term.T
        total = t(self.z_x) @ ((of_columns[:, None] * self.z_z) @ self.z_x)
        if len(design.diagonal_positions):
            combined = combine(w[:, :, c:], self.z_vi_x)  # sum_j w_ij Z'V^-1 V_j V^-1X, j diagonal
            by_column = design.column_term.T[:, None, :, None] * combined[:, :c]
            mixed = t(self.z_x) @ by_column.sum(1)
            cubes = (design.diagonal_factors * (w[:, c:, c:] @ design.diagonal_factors)).sum(1) / self.diagonal**3
            a, right = design.weighted(cubes), self.projected
            middle = a[..., design.z, design.x] - a[..., design.z, design.z] @ right
            total += mixed + t(mixed)
            total += a[..., design.x, design.x] - a[..., design.x, design.z] @ right - t(right) @ middle
            total -= (t(self.half) @ (self.spread[:, None, None, :, None] * combined[:, c:])).sum(1)
        return np.asarray(total.sum(1))

    @cached_property
    def core(self) -> FloatArray:
        """``K = G (I + F G)^-1``, with ``V^-1 = D^-1 - D^-1 Z K Z'D^-1``; shape (s, blocks, q, q)."""
        return np.asarray(self.spread[:, None, :, None] * self.inner)


def solve(products: CrossProducts, variances: FloatArray) -> Solved:
    """Invert V at variances of shape (s, k); negative ones are allowed while V is positive definite."""
    design = products.design
    d, g = variances @ design.factors, variances[:, design.variance_of_column]
    valid = d.min(1) > EDGE
    d = np.where(valid[:, None], d, 1.0)
    weights = 1 / d
    weighted = design.weighted(weights)
    f, x_z, x_x = (weighted[..., i, j] for i, j in ((design.z, design.z), (design.x, design.z), (design.x, design.x)))
    if g.min(initial=0.0) < 0:
        valid &= _definite(f, g)
        g = np.where(valid[:, None], g, 0.0)
    middle = np.eye(g.shape[1]) + f * g[:, None, None]
    sign, log_middle = np.linalg.slogdet(middle)
    if not sign.all():  # at the very edge
        valid &= sign.all(1)
        middle = np.where(sign[..., None, None] == 0, np.eye(g.shape[1]), middle)
    inner = np.asarray(np.linalg.inv(middle), float)
    z_x = inner @ transpose(x_z)
    with_y = products.weighted_y(weights)
    y_z = g[:, None] * with_y[..., design.z]
    z_y = (inner @ with_y[..., design.z, None])[..., 0]
    y_y = with_y[..., design.fixed].sum(1) + (products.within * weights[:, -products.within.shape[1] :]).sum(1)
    return Solved(
        products=products,
        variances=variances,
        valid=valid,
        diagonal=d,
        spread=g,
        inner=inner,
        z_x=z_x,
        z_z=inner @ f,
        x_x=(x_x - (g[:, None, None] * x_z) @ z_x).sum(1),
        z_y=z_y,
        x_y=(with_y[..., design.x] - (y_z[:, :, None] @ z_x)[:, :, 0]).sum(1),
        y_y=y_y - (y_z * z_y).sum((1, 2)),
        log_determinant=np.log(d) @ design.contrasts + np.where(sign == 0, 0.0, log_middle).sum(1),
    )


def _definite(f: FloatArray, g: FloatArray) -> NDArray[np.bool_]:
    """Whether V is positive definite, given that D is; shape (s,).

    By Haynsworth's (1968) inertia formula it is where ``G^-1 + F`` has as many negative eigenvalues as G; both are
    scaled by the root of |G| here, and columns without a variance count as 1.
    """
    definite, negative = np.ones(len(g), bool), (g < 0).any(1)
    root, sign = np.sqrt(np.abs(g[negative]))[:, None], np.where(g[negative] < 0, -1.0, 1.0)
    scaled = root[..., :, None] * f[negative] * root[..., None, :] + sign[:, None, :, None] * np.eye(g.shape[1])
    below = (np.linalg.eigvalsh(scaled) < -EDGE).sum(2)
    definite[negative] = (below == (sign < 0).sum(1)[:, None]).all(1)
    return definite
