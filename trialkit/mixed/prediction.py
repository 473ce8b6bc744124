"""Step 8: predicted random effects, residuals, leverage and what leaving a row out would change, without refitting."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.blocks import Blocks
from trialkit.mixed.likelihood import Evaluation

# A row whose P_ii is below this share of its V^-1_ii determines an effect alone: without it there is no estimate.
ALONE = 1e-9


def predict_columns(point: Evaluation, term: int, block: IntArray, column: IntArray) -> tuple[FloatArray, FloatArray]:
    """Best linear unbiased predictions of a term with columns in Z, and their standard errors, for the first response.

    ``u = G Z'P y``; the variance of ``u_hat - u`` is the diagonal of ``G - G Z'P Z G``, which counts that the fixed
    effects were estimated (Henderson 1975, Biometrics 31, 423-447).

    Block and column say where each level stands.
    """
    solved = point.solved
    g, columns = point.variances[0, term], dict(solved.design.column_terms)[term]
    z_x, z_y = solved.z_x[0][:, columns], solved.z_y[0][:, columns]
    effect = g * (z_y - z_x @ point.coefficients[0])
    own = np.diagonal(solved.z_z[0][:, columns, columns], axis1=1, axis2=2) - ((z_x @ point.phi[0]) * z_x).sum(2)
    return effect[block, column], np.sqrt(np.maximum(g - g**2 * own, 0.0))[block, column]


@dataclass(frozen=True)
class RowInverse:
    """Rows of V^-1, by cell or by head, in the scale of the fit, for the first response."""

    x: Annotated[FloatArray, "Shape (rows, p). ``V^-1 X``."]
    residual: Annotated[FloatArray, "Shape (rows,). ``V^-1 (y - X b)``, which is P y."]
    own: Annotated[FloatArray, "Shape (rows,). Diagonal of P."]


def cell_inverse(point: Evaluation, blocks: Blocks, means: FloatArray, sizes: FloatArray) -> RowInverse:
    """Solve for every cell, means in the scale of the fit: ``V^-1 U = D^-1 (U - Z K Z'D^-1 U)``."""
    solved = point.solved
    p, at = solved.design.fixed, (blocks.cell_block, blocks.cell_row)
    u, z = solved.design.rows[at][:, : p + 1], solved.design.rows[at][:, p + 1 :]
    u[:, p] = means * np.sqrt(sizes)
    d = solved.diagonal[0, solved.design.member[at]]
    projected = np.concatenate([solved.projected[0], (solved.spread[0] * solved.z_y[0])[..., None]], axis=-1)
    inverse = (u - (z[:, None] @ projected[blocks.cell_block])[:, 0]) / d[:, None]
    x = inverse[:, :p]
    quadratic = ((z[:, None] @ solved.core[0][blocks.cell_block])[:, 0] * z).sum(1)
    own = 1 / d - quadratic / d**2 - ((x @ point.phi[0]) * x).sum(1)
    return RowInverse(x, inverse[:, p] - x @ point.coefficients[0], own)


def predict_diagonal(
    point: Evaluation, inverse: RowInverse, term: int, sizes: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Predictions, by cell, of the term that stands on the diagonal (see `predict_columns`)."""
    g = point.variances[0, term]
    se = np.sqrt(np.maximum(g - g**2 * sizes * inverse.own, 0.0))
    return g * np.sqrt(sizes) * inverse.residual, se


def head_inverse(
    cells: RowInverse, codes: IntArray, sizes: FloatArray, deviations: FloatArray, residual: FloatArray
) -> RowInverse:
    """Spread the rows of V^-1 from cells to heads.

    A head is its cell's mean and its deviation from it; the two are orthogonal, and deviations have the residual
    variance alone.

    `codes` has the cell of each head; deviations and residual variances, one a head, are in the scale of the fit.
    """
    size = sizes[codes]
    return RowInverse(
        x=cells.x[codes] / np.sqrt(size)[:, None],
        residual=cells.residual[codes] / np.sqrt(size) + deviations / residual,
        own=cells.own[codes] / size + (1 - 1 / size) / residual,
    )


def leave_one_out(phi: FloatArray, inverse: RowInverse) -> FloatArray:
    """Change of the fixed effects when one row (or cell) is left out, at the same variances; shape (rows, p).

    ``b_(i) - b = -Phi X'V^-1 d_i (d_i'P y) / (d_i'P d_i)``, the mean-shift form (Christensen, Pearson & Johnson 1992,
    Technometrics 34, 38-45). Missing where the rest no longer determines the effects.
    """
    alone = inverse.own <= ALONE * np.abs(inverse.own).max()
    shift = np.where(alone, np.nan, inverse.residual / np.where(alone, 1.0, inverse.own))
    return np.asarray(-(inverse.x @ phi) * shift[:, None])
