"""From dose means to a recommended dose: curves averaged by weight, and draws refitted to carry the uncertainty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.analysis.draws import symmetric_root
from trialkit.mixed.curves import Curve, curve_basis, shapes_searched

FloatArray = NDArray[np.float64]

DRAWS = 4_000
SHAPES = 121
DOSES = 241
"""Doses at which a curve is read, evenly over the range tried."""


@dataclass(frozen=True)
class DoseMeans:
    """Means of the doses tried, with their joint covariance.

    Attributes
    ----------
    doses : ndarray, shape (k,)
        Teaspoons a bucket, rising.
    means : ndarray, shape (k,)
        In the response's unit, all other factors averaged over.
    covariance : ndarray, shape (k, k)
        Kenward and Roger's.
    df : float
        Smallest degrees of freedom of a difference between two doses.
    """

    doses: FloatArray
    means: FloatArray
    covariance: FloatArray
    df: float

    @property
    def grid(self) -> FloatArray:
        """Doses at which curves are read, shape (DOSES,)."""
        return np.linspace(self.doses[0], self.doses[-1], DOSES)


@dataclass(frozen=True)
class DrawnCurves:
    """The averaged curve and curves drawn around it, at the doses of a grid.

    Attributes
    ----------
    grid : ndarray, shape (DOSES,)
    averaged : ndarray, shape (DOSES,)
        Weighted average of the curves, each fitted to the means.
    drawn : ndarray, shape (n, DOSES)
        Each a curve of one kind, refitted to a draw of the means; kinds appear as often as they weigh.
    """

    grid: FloatArray
    averaged: FloatArray
    drawn: FloatArray


def draw_curves(found: DoseMeans, weights: Mapping[Curve, float], seed: int) -> DrawnCurves:
    """Average the curves, and refit them to draws of the means.

    Joint t draws of the means, as for the decision, each with its mirror image; a curve is fitted to each by
    generalised least squares with its shape free, so that the draws carry the uncertainty of shape and kind as well (a
    parametric bootstrap; model averaging: Burnham & Anderson 2002, Model Selection and Multimodel Inference, ch. 4,
    from memory).

    Parameters
    ----------
    found : DoseMeans
    weights : mapping of str to float
        Of each curve; they add up to 1.
    seed : int
    """
    rng, half = np.random.Generator(np.random.PCG64(seed)), DRAWS // 2
    root = symmetric_root(found.covariance)
    errors = np.sqrt(found.df / rng.chisquare(found.df, half))[:, None] * (
        rng.standard_normal((half, len(found.means))) @ root.T
    )
    means = found.means + np.concatenate([errors, -errors])
    counts = _shared_out(weights, DRAWS)
    order = rng.permutation(DRAWS)
    averaged, drawn, start = np.zeros(DOSES), [], 0
    for curve, weight in weights.items():
        some = means[order[start : start + counts[curve]]]
        curves = _refitted(found, curve, np.vstack([found.means, some]))
        averaged = averaged + weight * curves[0]
        drawn.append(curves[1:])
        start += counts[curve]
    return DrawnCurves(found.grid, averaged, np.concatenate(drawn))


def _shared_out(weights: Mapping[Curve, float], total: int) -> dict[Curve, int]:
    """Draws that each curve gets: the largest remainders make them add up."""
    exact = {curve: weight * total for curve, weight in weights.items()}
    counts = {curve: int(share) for curve, share in exact.items()}
    by_remainder = sorted(exact, key=lambda curve: counts[curve] - exact[curve])
    for curve in by_remainder[: total - sum(counts.values())]:
        counts[curve] += 1
    return counts


def _refitted(found: DoseMeans, curve: Curve, means: FloatArray) -> FloatArray:
    """Curves fitted to means, shape (n, k), by generalised least squares at the best of many shapes; (n, DOSES)."""
    searched = shapes_searched(curve, found.doses)
    if searched is None:
        shapes: list[float | None] = [None]
    elif curve == "asymptotic":
        shapes = [float(c) for c in np.geomspace(*searched, SHAPES)]
    else:
        shapes = [float(c) for c in np.linspace(*searched, SHAPES)]
    precision = np.linalg.inv(found.covariance)
    coefficients, distances = [], []
    for shape in shapes:
        x = _with_intercept(curve_basis(curve, found.doses, shape))
        fitted = means @ np.linalg.solve(x.T @ precision @ x, x.T @ precision).T
        left = means - fitted @ x.T
        coefficients.append(fitted)
        distances.append(((left @ precision) * left).sum(1))
    nearest = np.argmin(distances, axis=0)
    curves = np.empty((len(means), DOSES))
    for i in np.unique(nearest):
        on_grid = _with_intercept(curve_basis(curve, found.grid, shapes[i]))
        curves[nearest == i] = coefficients[i][nearest == i] @ on_grid.T
    return curves


def _with_intercept(columns: FloatArray) -> FloatArray:
    return np.column_stack([np.ones(len(columns)), columns])


def dose_reaching(curves: FloatArray, grid: FloatArray, share: float) -> FloatArray:
    """Smallest dose at which each curve, shape (n, DOSES), has a share of its greatest gain over the lowest dose."""
    gain = curves - curves[:, :1]
    enough = gain >= share * gain.max(1, keepdims=True) - 1e-9 * np.abs(gain).max(1, keepdims=True)
    return np.asarray(grid[enough.argmax(1)])


def dose_of_greatest_return(curves: FloatArray, grid: FloatArray, worth: float, cost: float) -> FloatArray:
    """Dose at which each curve, worth so much a unit, is worth most after its cost for each unit of dose."""
    return np.asarray(grid[(worth * curves - cost * grid).argmax(1)])
