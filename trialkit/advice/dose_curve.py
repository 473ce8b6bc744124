"""A smooth curve over the strength of the solution: a straight line and penalised departures from it.

The departures are those of the cubic smoothing spline written as a mixed model (Verbyla, Cullis, Kenward & Welham 1999,
Applied Statistics 48, 269-311): a Gaussian process with the covariance of integrated Brownian motion, its straight
line taken out, so that the standard deviation of the departures is in grams and speaks of curvature only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trialkit.domain.arrays import FloatArray

SMALLEST_SHARE = 1e-8
"""Directions in which departures vary by less than this share of the largest are left out."""


@dataclass(frozen=True)
class DoseScale:
    """The range of strengths tried, brought to a scale of unit variance.

    Attributes
    ----------
    low, high : float
        Least and greatest strength tried, in the unit of the records (mg/L of nitrogen, or teaspoons).
    """

    low: float
    high: float

    def line(self, dose: FloatArray) -> FloatArray:
        """Strengths centred and scaled, so that a slope of 1 means a standard deviation of 1 over the range."""
        return np.asarray((self._unit(dose) - 0.5) * np.sqrt(12.0))

    def covariance(self, one: FloatArray, other: FloatArray) -> FloatArray:
        """Covariance of the departures from the line, shape (one, other); its mean over the range is 1."""
        s, t = self._unit(one), self._unit(other)
        return np.asarray(_bent(s, t) / _MEAN_VARIANCE)

    def _unit(self, dose: FloatArray) -> FloatArray:
        return np.asarray((np.asarray(dose, float) - self.low) / (self.high - self.low))


def basis(scale: DoseScale, dose: FloatArray, share: float = SMALLEST_SHARE) -> FloatArray:
    """Columns whose independent standard normal weights give departures of that covariance, shape (doses, columns).

    Parameters
    ----------
    dose : ndarray, shape (doses,)
        All strengths that will be asked about: those tried and those that could be recommended.
    share : float
        Directions with less than this share of the largest variance are left out.
    """
    value, vector = np.linalg.eigh(scale.covariance(dose, dose))
    kept = value > share * value[-1]
    columns = vector[:, kept][:, ::-1] * np.sqrt(value[kept])[::-1]
    largest = np.abs(columns).argmax(0)
    return np.asarray(columns * np.sign(columns[largest, range(columns.shape[1])]))


def _integrated(s: FloatArray, t: FloatArray) -> FloatArray:
    """Covariance of integrated Brownian motion (Wahba 1990, Spline models for observational data, section 1.5)."""
    low, high = np.minimum(s[:, None], t[None, :]), np.maximum(s[:, None], t[None, :])
    return np.asarray(low**2 * (3 * high - low) / 6)


_TO_LINE = np.array([[4.0, -6.0], [-6.0, 12.0]])
"""From a curve's integral, and its integral times the strength, to the straight line through it over the range."""
_WITHIN = np.array([[1 / 20, 13 / 360], [13 / 360, 11 / 420]])
"""Covariance of the two integrals of the process."""
_MEAN_VARIANCE = 1 / 420


def _with_integrals(t: FloatArray) -> FloatArray:
    """Covariance of the two integrals with the process at `t`, shape (2, len(t))."""
    return np.vstack([((1 - t) ** 4 - 1) / 24 + t / 6, t**2 / 6 - t**3 / 12 + t**5 / 120])


def _bent(s: FloatArray, t: FloatArray) -> FloatArray:
    """What is left of the process when the straight line through it is taken out."""
    ours, theirs = (np.column_stack([np.ones(len(x)), x]) @ _TO_LINE for x in (s, t))
    across = ours @ _with_integrals(t) + _with_integrals(s).T @ theirs.T
    return np.asarray(_integrated(s, t) - across + ours @ _WITHIN @ theirs.T)
