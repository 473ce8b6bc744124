"""Predictions for new rows by the mixed-model equations, and how far they may lie from the truth.

A new row is ``t = x'b + z'u``. Its best linear unbiased prediction is ``a'y``, with a prediction error of variance
``a'V a - 2 a'Z G z + z'G z`` (Henderson 1975, Biometrics 31, 423-447). With ``F = Z'R^-1 Z``, which is sparse, all
follows from solutions of ``(I + F G) q = z``, also where G is singular, or negative with V positive definite.

As a is the best choice, the variance's derivative by each parameter is that with a held; with it the degrees of freedom
are Satterthwaite's. What the estimated parameters add to the variance, and what its estimate falls short of by their
estimation, are alike (Kackar & Harville 1984; Harville & Jeske 1992, J. Am. Stat. Assoc. 87, 724-731); of a row without
random effects all three are Kenward and Roger's (1997).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.likelihood import Evaluation
from trialkit.mixed.model import Model
from trialkit.mixed.random_terms import covariance_matrix

if TYPE_CHECKING:
    from scipy.sparse import csr_array

    from trialkit.mixed.absorbed_likelihood import AbsorbedPoint

# Rows of one pass: arrays of about this many elements.
PASS_ELEMENTS = 1_000_000


@dataclass(frozen=True)
class NewRows:
    """New rows as the equations need them."""

    x: Annotated[FloatArray, "Shape (n, p). Fixed part, in the orthogonal basis."]
    levels: Annotated[tuple[IntArray | None, ...], "For each random term the level of each row, -1 for one never seen."]
    parts: Annotated[tuple[FloatArray, ...], "For each random term, shape (n, parts): what its level and slopes take."]
    residual: Annotated[IntArray | None, "Shape (n,). Residual variance that counts in full, if one does."]

    def take(self, rows: slice) -> NewRows:
        """Keep some of the rows."""
        return NewRows(
            self.x[rows],
            tuple(None if each is None else each[rows] for each in self.levels),
            tuple(each[rows] for each in self.parts),
            None if self.residual is None else self.residual[rows],
        )


@dataclass(frozen=True)
class PredictionError:
    """Of each new row, in squared units of the fit's scale."""

    # Shape (n,). Variance of the prediction error with the parameters as known; then allowing for their estimation.
    plain: FloatArray
    adjusted: FloatArray
    df: Annotated[FloatArray, "Shape (n,). Satterthwaite's degrees of freedom."]


@dataclass(frozen=True)
class MixedModelEquations:
    """The equations of a fitted model, in the scale of its fit."""

    model: Model
    point: Evaluation | AbsorbedPoint

    @cached_property
    def _z(self) -> csr_array:
        """Z by cell, shape (cells, q): a term's levels one after the other, each with its parts."""
        from scipy.sparse import csr_array, hstack

        blocks = [self._columns(i, term.codes, term.columns) for i, term in enumerate(self.model.terms)]
        return csr_array(hstack(blocks)) if blocks else csr_array((len(self.model.cells.sizes), 0))

    @cached_property
    def _g(self) -> csr_array:
        """Covariance of the random effects, shape (q, q)."""
        from scipy.sparse import block_diag, csr_array, eye_array, kron

        each = [kron(eye_array(len(term.levels)), matrix) for term, matrix in self._matrices()]
        return csr_array(block_diag(each)) if each else csr_array((0, 0))

    def _matrices(self) -> list[tuple[Any, FloatArray]]:
        theta = self.point.variances[0]
        slices = zip(self.model.terms, self.model.parameter_slices, strict=True)
        return [(term, covariance_matrix(term, theta[where])) for term, where in slices]

    @cached_property
    def _residual_variances(self) -> FloatArray:
        return np.asarray(self.point.variances[0, -len(self.model.residual.levels) :])

    @cached_property
    def _x(self) -> FloatArray:
        return self.model.fixed.orthogonal[self.model.fixed_row]

    @cached_property
    def _weights(self) -> FloatArray:
        """Weight of each cell, ``n / variance``, under each residual variance, shape (residual variances, cells)."""
        of = self.model.residual.codes == np.arange(len(self._residual_variances))[:, None]
        return np.asarray(of * self.model.cells.sizes / self._residual_variances[:, None])

    @cached_property
    def _products(self) -> list[tuple[csr_array, FloatArray, FloatArray]]:
        """``Z'R^-1 Z``, ``Z'R^-1 X`` and ``X'R^-1 X`` over the cells of each residual variance."""
        from scipy.sparse import csr_array, diags_array

        products = []
        for weights in self._weights:
            weighted = diags_array(weights) @ self._z
            right = weights[:, None] * self._x
            products.append((csr_array(self._z.T @ weighted), self._z.T @ right, self._x.T @ right))
        return products

    @cached_property
    def _factored(self) -> Any:
        from scipy.sparse import csc_array, eye_array
        from scipy.sparse.linalg import splu

        f = sum((f for f, _, _ in self._products[1:]), self._products[0][0])
        return splu(csc_array(eye_array(self._z.shape[1]) + f @ self._g), permc_spec="MMD_AT_PLUS_A")

    def _solve(self, right: FloatArray) -> FloatArray:
        """``(I + F G)^-1`` times columns."""
        return np.asarray(self._factored.solve(right)) if len(right) else right

    @cached_property
    def _z_x(self) -> FloatArray:
        """``Z'R^-1 X``, shape (q, p)."""
        return np.asarray(sum(s for _, s, _ in self._products))

    @cached_property
    def _absorbed(self) -> FloatArray:
        """``G Z'V^-1 X``, shape (q, p)."""
        return np.asarray(self._g @ self._solve(self._z_x))

    def effects(self, means: FloatArray) -> FloatArray:
        """Predicted random effects, shape (q,), from cell means in the scale of the fit."""
        left = self._weights.sum(0) * (means - self._x @ self.point.coefficients[0])
        return np.asarray(self._g @ self._solve(self._z.T @ left))

    def random_part(self, new: NewRows, effects: FloatArray) -> FloatArray:
        """``z'u`` of new rows, shape (n,)."""
        return np.asarray(self._known(new) @ effects)

    def errors(self, new: NewRows, covariance: FloatArray) -> PredictionError:
        """How far predictions may lie from the truth; `covariance` is that of the parameters, shape (k, k)."""
        step = max(1, PASS_ELEMENTS // max(1, self._z.shape[1]))
        starts = range(0, max(1, len(new.x)), step)
        passes = [self._errors(new.take(slice(at, at + step)), covariance) for at in starts]
        return PredictionError(*map(np.concatenate, zip(*passes, strict=True)))

    def _errors(self, new: NewRows, covariance: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        known, phi = self._known(new).toarray().T, self.point.phi[0]
        told = self._g @ self._solve(known)
        left = new.x - told.T @ self._z_x
        fixed = left @ phi
        plain = (known * told).sum(0) + (left * fixed).sum(1)
        # The weights of the cell means are R^-1 (Z random + X fixed).
        random, fixed = told - self._absorbed @ fixed.T, fixed.T
        z_weights = [f @ random + s @ fixed for f, s, _ in self._products]
        slopes, shifts = self._by_term(np.asarray(sum(z_weights)) - known)
        of_residuals = []
        for (_, s, x_x), z_weight, variance in zip(self._products, z_weights, self._residual_variances, strict=True):
            x_weight = s.T @ random + x_x @ fixed
            slopes.append(((random * z_weight).sum(0) + (fixed * x_weight).sum(0)) / variance)
            of_residuals.append((z_weight / variance, x_weight / variance))
        added = self._second(shifts, of_residuals, slopes[len(shifts) :], covariance)
        slope = np.array(slopes) + self._unseen(new)
        plain = plain + self.point.variances[0] @ self._unseen(new)
        with np.errstate(divide="ignore", invalid="ignore"):
            df = 2 * plain**2 / np.einsum("in,ij,jn->n", slope, covariance, slope)
        return plain, plain + added, df

    def _by_term(self, apart: FloatArray) -> tuple[list[FloatArray], list[FloatArray]]:
        """Derivatives of the variance by the terms' parameters, and ``y`` in ``V_i a - Z G_i z = Z y``.

        `apart` is ``Z'a - z``, shape (q, n).
        """
        slopes, shifts, start = [], [], 0
        for term in self.model.terms:
            size = len(term.levels) * len(term.parts)
            own = apart[start : start + size].reshape(len(term.levels), len(term.parts), -1)
            for i, j in term.pairs:
                shift = np.zeros_like(apart)
                placed = shift[start : start + size].reshape(own.shape)
                placed[:, i], placed[:, j] = own[:, j], own[:, i]
                slopes.append((own[:, i] * own[:, j]).sum(0) * (1 if i == j else 2))
                shifts.append(shift)
            start += size
        return slopes, shifts

    def _second(
        self,
        shifts: Sequence[FloatArray],
        of_residuals: Sequence[tuple[FloatArray, FloatArray]],
        residual_slopes: Sequence[FloatArray],
        covariance: FloatArray,
    ) -> FloatArray:
        """``2 sum_ij W_ij s_i'P s_j`` with ``s_i = V_i a - Z G_i z``, shape (n,)."""
        f = sum((f for f, _, _ in self._products[1:]), self._products[0][0])
        z_s = [*(f @ shift for shift in shifts), *(z for z, _ in of_residuals)]  # Z'R^-1 s
        x_s = [*(self._z_x.T @ shift for shift in shifts), *(x for _, x in of_residuals)]
        solved = [self._solve(each) for each in z_s]
        x_v_s = [x - self._absorbed.T @ z for x, z in zip(x_s, z_s, strict=True)]
        total = np.zeros(z_s[-1].shape[1])
        for i in range(len(z_s)):
            for j in range(len(z_s)):
                if i < len(shifts):
                    between = (shifts[i] * solved[j]).sum(0)
                elif j < len(shifts):
                    between = (shifts[j] * solved[i]).sum(0)
                else:
                    at = i - len(shifts)
                    own = residual_slopes[at] / self._residual_variances[at] if i == j else 0.0
                    between = own - (z_s[i] * (self._g @ solved[j])).sum(0)
                between = between - (x_v_s[i] * (self.point.phi[0] @ x_v_s[j])).sum(0)
                total += 2 * covariance[i, j] * between
        return total

    def _unseen(self, new: NewRows) -> FloatArray:
        """What levels never seen, and a new head, add to the derivatives of the variance, shape (k, n)."""
        slope = np.zeros((self.point.variances.shape[1], len(new.x)))
        for term, where, levels, parts in zip(
            self.model.terms, self.model.parameter_slices, new.levels, new.parts, strict=True
        ):
            if levels is None:
                continue
            values = np.where((levels < 0)[:, None], parts, 0.0)
            slope[where] = [values[:, i] * values[:, j] * (1 if i == j else 2) for i, j in term.pairs]
        if new.residual is not None:
            slope[len(slope) - len(self._residual_variances) + new.residual, np.arange(len(new.x))] += 1
        return slope

    def _known(self, new: NewRows) -> csr_array:
        """Z of new rows: nil for levels never seen, and for terms that do not count."""
        from scipy.sparse import csr_array, hstack

        blocks = []
        for i, (levels, parts) in enumerate(zip(new.levels, new.parts, strict=True)):
            seen = np.zeros(len(new.x), bool) if levels is None else levels >= 0
            codes = np.zeros(len(new.x), np.intp) if levels is None else np.maximum(levels, 0)
            blocks.append(self._columns(i, codes, np.where(seen[:, None], parts, 0.0)))
        return csr_array(hstack(blocks)) if blocks else csr_array((len(new.x), 0))

    def _columns(self, position: int, codes: IntArray, parts: FloatArray) -> csr_array:
        """Columns of a term, shape (n, levels * parts)."""
        from scipy.sparse import csr_array

        n, count = parts.shape
        rows, at = np.repeat(np.arange(n), count), (codes[:, None] * count + np.arange(count)).ravel()
        width = len(self.model.terms[position].levels) * count
        return csr_array((parts.ravel(), (rows, at)), shape=(n, width))
