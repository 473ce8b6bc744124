"""Step 6: tests that stay honest in small trials (Kenward & Roger 1997; Fai & Cornelius 1996)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from trialkit.mixed.likelihood import Evaluation
from trialkit.mixed.model import Prepared

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class FTest:
    """A test that several contrasts are all zero.

    Attributes
    ----------
    f : float
        F statistic, Kenward-Roger's already scaled.
    numerator_df, denominator_df : float
    p : float
    """

    f: float
    numerator_df: int
    denominator_df: float
    p: float


@dataclass(frozen=True)
class SmallSample:
    """What the tests need, in the orthogonal basis and over the free variances only.

    Attributes
    ----------
    coefficients : ndarray, shape (p,)
        Of the response less its offset.
    offset : float
        Constant taken off the response before any sum was formed.
    constant : ndarray, shape (p,)
        Coefficients of a response that is 1 throughout.
    phi : ndarray, shape (p, p)
        Covariance with the variances taken as known.
    adjusted : ndarray, shape (p, p)
        Kenward & Roger's covariance Phi_A.
    phi_p_phi : ndarray, shape (k, p, p)
        ``Phi P_i Phi``; the negative of ``dPhi / dvariance_i``.
    w : ndarray, shape (k, k)
        Covariance of the variance estimates: inverse of the expected information.
    """

    coefficients: FloatArray
    offset: float
    constant: FloatArray
    phi: FloatArray
    adjusted: FloatArray
    phi_p_phi: FloatArray
    w: FloatArray

    def estimate(self, contrasts: FloatArray) -> FloatArray:
        """Estimates of contrasts, shape (c, p) -> (c,).

        The offset enters only where a contrast has one: a difference near 1e12 then keeps all its digits.
        """
        share = contrasts @ self.constant
        share[np.abs(share) < 1e-9] = 0.0
        return np.asarray(contrasts @ self.coefficients + self.offset * share)

    def contrast_df(self, contrasts: FloatArray) -> FloatArray:
        """Degrees of freedom of single contrasts, shape (c, p) -> (c,).

        ``2 (l'Phi l)^2 / sum_ij W_ij (l'Phi P_i Phi l)(l'Phi P_j Phi l)``: Satterthwaite with expected
        information, which is what Kenward & Roger's formulas give for one contrast.
        """
        variance = ((contrasts @ self.phi) * contrasts).sum(1)
        slope = ((contrasts @ self.phi_p_phi) * contrasts).sum(2)  # (k, c)
        return np.asarray(2 * variance**2 / ((self.w @ slope) * slope).sum(0))

    def contrast_se(self, contrasts: FloatArray) -> FloatArray:
        """Kenward-Roger standard errors of single contrasts, shape (c, p) -> (c,)."""
        return np.asarray(np.sqrt(((contrasts @ self.adjusted) * contrasts).sum(1)))

    def kenward_roger(self, contrasts: FloatArray) -> FTest:
        """Test that all contrasts, shape (l, p) of full row rank, are zero.

        Kenward & Roger (1997), Biometrics 53, 983-997: scaled F with their special-case formulas. Where scale and
        degrees of freedom are 0/0 (two numerator and two denominator d.f.) the ratio is taken as 1 and F is left
        unscaled, since the mean of F(2, 2) does not exist.
        """
        size = len(contrasts)
        inner = np.linalg.inv(contrasts @ self.phi @ contrasts.T)
        projected = inner @ (contrasts @ self.phi_p_phi @ contrasts.T)  # (k, l, l)
        first = np.trace(projected, axis1=1, axis2=2)
        a1 = float(first @ self.w @ first)
        a2 = float(np.einsum("ij,iab,jba->", self.w, projected, projected))
        scale, df = _scale_and_df(size, a1, a2)
        f = scale * self._wald(contrasts, self.adjusted)
        return FTest(f, size, df, float(fdtrc(size, df, f)))

    def satterthwaite(self, contrasts: FloatArray) -> FTest:
        """Test as `kenward_roger` does, by Fai & Cornelius (1996), J. Stat. Comput. Simul. 54, 363-378."""
        size = len(contrasts)
        _, directions = np.linalg.eigh(contrasts @ self.phi @ contrasts.T)
        each = self.contrast_df(directions.T @ contrasts)
        df = _fai_cornelius(each)
        f = self._wald(contrasts, self.phi)
        return FTest(f, size, df, float(fdtrc(size, df, f)))

    def _wald(self, contrasts: FloatArray, covariance: FloatArray) -> float:
        estimate = self.estimate(contrasts)
        return float(estimate @ np.linalg.solve(contrasts @ covariance @ contrasts.T, estimate)) / len(contrasts)


def small_sample(point: Evaluation, free: NDArray[np.bool_], prepared: Prepared) -> SmallSample:
    """Derive the Kenward-Roger quantities from a restricted likelihood at its maximum, in the response's units.

    ``Phi_A = Phi + 2 Phi { sum_ij W_ij (Q_ij - P_i Phi P_j) } Phi`` (Kenward & Roger 1997, eq. 6; the second
    derivatives of V are nil). A variance at zero is no parameter: only `free` ones count.
    """
    squared = prepared.scale**2
    w = np.asarray(np.linalg.inv(point.expected[np.ix_(free, free)]), float)
    p = -point.x_vi_x[free]
    q = point.x_vij_x[np.ix_(free, free)]
    weighted = np.tensordot(w, p, 1)
    bias = np.tensordot(w, q, 2) - (p @ point.phi @ weighted).sum(0)
    adjusted = np.asarray(point.phi + point.phi @ (bias + bias.T) @ point.phi, float)
    return SmallSample(
        coefficients=prepared.fitted + prepared.scale * point.coefficients,
        offset=prepared.offset,
        constant=prepared.constant,
        phi=squared * point.phi,
        adjusted=squared * adjusted,
        phi_p_phi=point.phi @ p @ point.phi,  # Phi P_i Phi has no unit: P_i has that of 1 / Phi^2
        w=squared**2 * w,
    )


def _scale_and_df(size: int, a1: float, a2: float) -> tuple[float, float]:
    b = (a1 + 6 * a2) / (2 * size)
    g = ((size + 1) * a1 - (size + 4) * a2) / ((size + 2) * a2)
    common = 3 * size + 2 * (1 - g)
    c1, c2, c3 = g / common, (size - g) / common, (size + 2 - g) / common
    ratio = _ratio(1 - a2 / size, 1 - c2 * b)
    rho = ratio**2 * (1 + c1 * b) / (1 - c3 * b) / size
    df = 4 + (size + 2) / (size * rho - 1)
    scale = 1.0 if abs(df - 2) < 1e-2 else df * (1 - a2 / size) / (df - 2)
    return float(scale), float(df)


def _ratio(numerator: float, denominator: float) -> float:
    return 1.0 if abs(numerator) < 1e-9 and abs(denominator) < 1e-9 else numerator / denominator


def _fai_cornelius(each: FloatArray) -> float:
    if np.ptp(each) < 1e-8 * each.max():
        return float(each[0])
    useful = each[each > 2]
    expectation = float((useful / (useful - 2)).sum())
    return 2 * expectation / (expectation - len(each)) if expectation > len(each) else 0.0
