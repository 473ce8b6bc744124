"""Predicted random effects and simulated responses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.blocks import Blocks
from trialkit.mixed.coded_factors import CodedFactor
from trialkit.mixed.likelihood import Evaluation
from trialkit.mixed.woodbury import Solved


@dataclass(frozen=True)
class Predicted:
    """Predicted effects of one random term, each of shape (levels,), with their standard errors of prediction."""

    effect: FloatArray
    se: FloatArray


def predict_columns(point: Evaluation, solved: Solved, term: int, block: IntArray, column: IntArray) -> Predicted:
    """Best linear unbiased predictions of a term with columns in Z, for the first response.

    ``u = G Z'P y``; the variance of ``u_hat - u`` is the diagonal of ``G - G Z'P Z G``, which counts that the fixed
    effects were estimated (Henderson 1975, Biometrics 31, 423-447).

    `solved` is V inverted at the point's variances; block and column say where each level stands.
    """
    g, columns = point.variances[0, term], dict(solved.design.column_terms)[term]
    z_x, z_y = solved.z_x[0][:, columns], solved.z_y[0][:, columns]
    effect = g * (z_y - z_x @ point.coefficients[0])
    own = np.diagonal(solved.z_z[0][:, columns, columns], axis1=1, axis2=2) - ((z_x @ point.phi[0]) * z_x).sum(2)
    return Predicted(effect[block, column], np.sqrt(np.maximum(g - g**2 * own, 0.0))[block, column])


@dataclass(frozen=True)
class CellInverse:
    """Rows of V^-1, by cell of the scaled data, for the first response."""

    x: Annotated[FloatArray, "Shape (cells, p). ``V^-1 X``."]
    residual: Annotated[FloatArray, "Shape (cells,). ``V^-1 (y - X b)``, which is P y."]
    own: Annotated[FloatArray, "Shape (cells,). Diagonal of P."]


def cell_inverse(
    point: Evaluation, solved: Solved, blocks: Blocks, means: FloatArray, sizes: FloatArray
) -> CellInverse:
    """Solve for every cell, means in the scale of the fit: ``V^-1 U = D^-1 (U - Z K Z'D^-1 U)``."""
    p, at = solved.design.fixed, (blocks.cell_block, blocks.cell_row)
    u, z = solved.design.rows[at][:, : p + 1], solved.design.rows[at][:, p + 1 :]
    u[:, p] = means * np.sqrt(sizes)
    d = solved.diagonal[0, solved.design.member[at]]
    projected = np.concatenate([solved.projected[0], (solved.spread[0] * solved.z_y[0])[..., None]], axis=-1)
    inverse = (u - (z[:, None] @ projected[blocks.cell_block])[:, 0]) / d[:, None]
    x = inverse[:, :p]
    quadratic = ((z[:, None] @ solved.core[0][blocks.cell_block])[:, 0] * z).sum(1)
    own = 1 / d - quadratic / d**2 - ((x @ point.phi[0]) * x).sum(1)
    return CellInverse(x, inverse[:, p] - x @ point.coefficients[0], own)


def predict_diagonal(point: Evaluation, inverse: CellInverse, term: int, sizes: FloatArray) -> Predicted:
    """Predictions, by cell, of the term that stands on the diagonal (see `predict_columns`)."""
    g = point.variances[0, term]
    se = np.sqrt(np.maximum(g - g**2 * sizes * inverse.own, 0.0))
    return Predicted(g * np.sqrt(sizes) * inverse.residual, se)


def simulate_responses(
    fitted: FloatArray,
    terms: list[tuple[CodedFactor, float]],
    residual: FloatArray,
    rng: np.random.Generator,
    count: int,
) -> FloatArray:
    """Draw responses, shape (count, heads), from the model with fixed part `fitted`.

    Random terms are coded by head, with variances at zero or above; `residual` is the variance of each head.
    """
    responses: FloatArray = fitted + np.sqrt(residual) * rng.standard_normal((count, len(fitted)))
    for factor, variance in terms:
        effects = np.sqrt(variance) * rng.standard_normal((count, len(factor.levels)))
        responses += effects[:, factor.codes]
    return responses
