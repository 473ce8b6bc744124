"""Predicted random effects and simulated responses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.mixed.blocks import Blocks
from trialkit.mixed.factors import Factor, IntArray
from trialkit.mixed.likelihood import Evaluation

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Predicted:
    """Predicted effects of one random term, each of shape (levels,), with their standard errors of prediction."""

    effect: FloatArray
    se: FloatArray


def predict_columns(point: Evaluation, term: int, block: IntArray, column: IntArray) -> Predicted:
    """Best linear unbiased predictions of a term with columns in Z.

    ``u = G Z'P y``; the variance of ``u_hat - u`` is the diagonal of ``G - G Z'P Z G``, which counts that the fixed
    effects were estimated (Henderson 1975, Biometrics 31, 423-447).

    Parameters
    ----------
    point : Evaluation
    term : int
        Position of the term.
    block, column : ndarray of int, shape (levels,)
        Where each level stands.
    """
    solved, p, g = point.solved, point.solved.products.fixed, point.variances[term]
    columns = solved.columns(term)
    assert columns is not None
    z_x, z_y = solved.solved[:, columns, :p], solved.solved[:, columns, p]
    effect = g * (z_y - z_x @ point.coefficients)
    own = np.diagonal(solved.solved[:, columns, columns], axis1=1, axis2=2) - ((z_x @ point.phi) * z_x).sum(2)
    return Predicted(effect[block, column], np.sqrt(np.maximum(g - g**2 * own, 0.0))[block, column])


def predict_diagonal(point: Evaluation, term: int, rows: FloatArray, blocks: Blocks, sizes: FloatArray) -> Predicted:
    """Predictions, by cell, of the term that stands on the diagonal (see `predict_columns`).

    Parameters
    ----------
    rows : ndarray, shape (blocks, rows, m)
        The scaled rows of U.
    sizes : ndarray, shape (cells,)
    """
    solved, p, g = point.solved, point.solved.products.fixed, point.variances[term]
    u = rows[blocks.cell_block, blocks.cell_row]
    d = point.variances[-1] + sizes * g
    z = u[:, p + 1 :]
    # One row of V^-1 U for each cell: D^-1 (U - Z K Z'D^-1 U).
    projected = np.einsum("cq,cqa->ca", z, solved.projector[blocks.cell_block][:, :, : p + 1])
    inverse = (u[:, : p + 1] - projected) / d[:, None]
    residual = inverse[:, p] - inverse[:, :p] @ point.coefficients
    core = np.einsum("cq,cqr,cr->c", z, solved.core[blocks.cell_block], z)
    own = 1 / d - core / d**2 - ((inverse[:, :p] @ point.phi) * inverse[:, :p]).sum(1)
    return Predicted(g * np.sqrt(sizes) * residual, np.sqrt(np.maximum(g - g**2 * sizes * own, 0.0)))


def simulate_responses(
    fitted: FloatArray, terms: list[tuple[Factor, float]], residual: float, rng: np.random.Generator, count: int
) -> FloatArray:
    """Draw responses, shape (count, heads), from the model with fixed part `fitted`.

    Parameters
    ----------
    fitted : ndarray, shape (heads,)
    terms : list of (Factor, variance)
        Random terms coded by head; variances at zero or above.
    residual : float
        Residual variance.
    """
    responses: FloatArray = fitted + np.sqrt(residual) * rng.standard_normal((count, len(fitted)))
    for factor, variance in terms:
        effects = np.sqrt(variance) * rng.standard_normal((count, len(factor.levels)))
        responses += effects[:, factor.codes]
    return responses
