"""Residuals, leverage and the change that leaving a bucket out would make, without refitting."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.mixed.prediction import CellInverse

# A row whose P_ii is below this share of its V^-1_ii determines an effect alone: without it there is no estimate.
ALONE = 1e-9


@dataclass(frozen=True)
class RowInverse:
    """Rows of V^-1 by head, in the scale of the fit."""

    x: Annotated[FloatArray, "Shape (heads, p). ``V^-1 X``."]
    residual: Annotated[FloatArray, "Shape (heads,). ``P y``."]
    own: Annotated[FloatArray, "Shape (heads,). Diagonal of P."]


def row_inverse(
    cells: CellInverse, codes: IntArray, sizes: FloatArray, deviations: FloatArray, residual: FloatArray
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


def leave_one_out(phi: FloatArray, inverse: CellInverse | RowInverse) -> FloatArray:
    """Change of the fixed effects when one row (or cell) is left out, at the same variances; shape (rows, p).

    ``b_(i) - b = -Phi X'V^-1 d_i (d_i'P y) / (d_i'P d_i)``, the mean-shift form (Christensen, Pearson & Johnson 1992,
    Technometrics 34, 38-45). Missing where the rest no longer determines the effects.
    """
    alone = inverse.own <= ALONE * np.abs(inverse.own).max()
    shift = np.where(alone, np.nan, inverse.residual / np.where(alone, 1.0, inverse.own))
    return np.asarray(-(inverse.x @ phi) * shift[:, None])
