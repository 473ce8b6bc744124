"""A straight line by ordinary least squares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class StraightLine:
    """Slope of a line with its standard error, and the p value that there is none, on ``df`` degrees of freedom."""

    slope: float
    se: float
    p: float
    df: int


def straight_line(x: FloatArray, y: FloatArray) -> StraightLine:
    """Fit a line through three points or more, not all at the same x.

    Examples
    --------
    >>> straight_line(np.array([1.0, 2, 3, 4]), np.array([2.0, 1, 4, 3])).slope
    0.6
    """
    df, apart = len(x) - 2, x - x.mean()
    squares = float(apart @ apart)
    slope = float(apart @ y) / squares
    left = y - y.mean() - slope * apart
    se = float(np.sqrt(left @ left / df / squares))
    t = slope / se if se else np.inf * np.sign(slope)
    return StraightLine(slope, se, float(2 * stdtr(df, -abs(t))), df)
