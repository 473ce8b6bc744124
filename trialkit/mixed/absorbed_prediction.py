"""The second algebra, step e: predicted levels and slopes, and rows of V^-1 (see `trialkit.mixed.prediction`)."""

from __future__ import annotations

import numpy as np

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.absorbed_likelihood import AbsorbedPoint
from trialkit.mixed.prediction import RowInverse


def predict_parts(point: AbsorbedPoint, position: int) -> tuple[FloatArray, FloatArray]:
    """Best linear unbiased predictions of a term's parts, and their standard errors, shape (levels, parts).

    ``u = Sigma (Z'P y)`` of each level; the covariance of ``u_hat - u`` is ``Sigma - Sigma (Z'P Z) Sigma``.
    """
    place, solved = point.design.places[position], point.solved
    sigma, z_x = solved.inverse.sigmas[position], solved.z_x[position]
    shown = solved.inverse.level_blocks(position) - (z_x @ point.phi[0]) @ z_x.transpose(0, 2, 1)
    error = place.back @ (sigma - sigma @ shown @ sigma) @ place.back.T
    variance = np.diagonal(error, axis1=1, axis2=2)
    return point.level_effects[position] @ sigma @ place.back.T, np.sqrt(np.maximum(variance, 0.0))


def absorbed_cell_inverse(point: AbsorbedPoint) -> RowInverse:
    """Rows of V^-1 by cell."""
    return RowInverse(point.solved.v_x, point.p_y, point.solved.own(point.phi[0]))
