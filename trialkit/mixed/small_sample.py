"""Step 6: tests that stay honest in small trials (Kenward & Roger 1997; Fai & Cornelius 1996).

Every array has the responses in front.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import NDArray
from scipy.special import fdtrc

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.likelihood import Evaluation
from trialkit.mixed.model import Prepared
from trialkit.mixed.products import combine, flat, transpose

if TYPE_CHECKING:
    from trialkit.mixed.absorbed_likelihood import AbsorbedPoint


@dataclass(frozen=True)
class FTests:
    """For each response a test that several contrasts are all zero."""

    f: Annotated[FloatArray, "Shape (r,). F statistics, Kenward-Roger's already scaled."]
    numerator_df: int
    # Shape (r,).
    denominator_df: FloatArray
    p: FloatArray


@dataclass(frozen=True)
class SmallSample:
    """What the tests need, in the orthogonal basis."""

    coefficients: Annotated[FloatArray, "Shape (r, p). Of the response less its offset."]
    offset: Annotated[FloatArray, "Shape (r,). Constant taken off the response before any sum was formed."]
    constant: Annotated[FloatArray, "Shape (p,). Coefficients of a response that is 1 throughout."]
    phi: Annotated[FloatArray, "Shape (r, p, p). Covariance with the variances taken as known."]
    adjusted: Annotated[FloatArray, "Shape (r, p, p). Kenward & Roger's covariance Phi_A."]
    phi_p_phi: Annotated[FloatArray, "Shape (r, k, p, p). ``Phi P_i Phi``; the negative of ``dPhi / dvariance_i``."]
    w: Annotated[
        FloatArray,
        "Shape (r, k, k). Covariance of the variance estimates: inverse expected information over the free ones, nil "
        "for those at zero.",
    ]

    def estimate(self, contrasts: FloatArray) -> FloatArray:
        """Estimates of contrasts, shape (c, p) -> (r, c)."""
        return with_offset(contrasts, self.coefficients, self.offset, self.constant)

    def contrast_df(self, contrasts: FloatArray) -> FloatArray:
        """Degrees of freedom of single contrasts, shape (c, p) or (r, c, p) -> (r, c).

        ``2 (l'Phi l)^2 / sum_ij W_ij (l'Phi P_i Phi l)(l'Phi P_j Phi l)``: Satterthwaite with expected
        information, which is what Kenward & Roger's formulas give for one contrast.
        """
        variance = ((contrasts @ self.phi) * contrasts).sum(-1)
        each = contrasts if contrasts.ndim == 2 else contrasts[:, None]
        slope = ((each @ self.phi_p_phi) * each).sum(-1)  # (r, k, c)
        return np.asarray(2 * variance**2 / ((self.w @ slope) * slope).sum(1))

    def contrast_se(self, contrasts: FloatArray) -> FloatArray:
        """Kenward-Roger standard errors of single contrasts, shape (c, p) -> (r, c)."""
        variance = ((contrasts @ self.adjusted) * contrasts).sum(-1)
        return np.asarray(np.sqrt(np.where(variance >= 0, variance, np.nan)))

    def kenward_roger(self, contrasts: FloatArray) -> FTests:
        """Test that all contrasts, shape (l, p) of full row rank, are zero.

        Kenward & Roger (1997), Biometrics 53, 983-997: scaled F with their special-case formulas. Where scale and
        degrees of freedom are 0/0 (two numerator and two denominator d.f.) the ratio is taken as 1 and F is left
        unscaled, since the mean of F(2, 2) does not exist.
        """
        size = len(contrasts)
        inner = np.linalg.inv(contrasts @ self.phi @ contrasts.T)
        projected = inner[:, None] @ (contrasts @ self.phi_p_phi @ contrasts.T)  # (r, k, l, l)
        first = projected.trace(axis1=2, axis2=3)
        a1 = ((first[:, None] @ self.w)[:, 0] * first).sum(1)
        a2 = (self.w * (flat(projected) @ transpose(flat(transpose(projected))))).sum((1, 2))
        scale, df = scale_and_df(size, a1, a2)
        f = scale * self._wald(contrasts, self.adjusted)
        return FTests(f, size, df, f_tail(size, df, f))

    def satterthwaite(self, contrasts: FloatArray) -> FTests:
        """Test as `kenward_roger` does, by Fai & Cornelius (1996), J. Stat. Comput. Simul. 54, 363-378.

        Their d.f. depend on the basis in which the hypothesis is written.
        """
        size = len(contrasts)
        directions = np.linalg.eigh(contrasts @ self.phi @ contrasts.T)[1]
        each = self.contrast_df(np.swapaxes(directions, 1, 2) @ contrasts)
        df = np.array([_fai_cornelius(row) for row in each])
        f = self._wald(contrasts, self.phi)
        return FTests(f, size, df, f_tail(size, df, f))

    def _wald(self, contrasts: FloatArray, covariance: FloatArray) -> FloatArray:
        estimate = self.estimate(contrasts)
        solved = np.linalg.solve(contrasts @ covariance @ contrasts.T, estimate[..., None])[..., 0]
        return np.asarray((estimate * solved).sum(1) / len(contrasts))


def with_offset(
    contrasts: FloatArray, coefficients: FloatArray, offset: FloatArray, constant: FloatArray
) -> FloatArray:
    """Estimates of contrasts of responses less an offset, shape (c, p) -> (r, c); arguments as in `SmallSample`.

    The offset enters only where a contrast has one: a difference near 1e12 then keeps all its digits.
    """
    share = contrasts @ constant
    share[np.abs(share) < 1e-9] = 0.0
    return np.asarray(coefficients @ contrasts.T + offset[:, None] * share)


def f_tail(numerator_df: int, denominator_df: FloatArray, f: FloatArray) -> FloatArray:
    """Upper tail of F, elementwise."""
    return np.asarray(fdtrc(numerator_df, denominator_df, f))


def variance_covariance(
    point: Evaluation | AbsorbedPoint, free: NDArray[np.bool_], directions: FloatArray | None = None
) -> FloatArray:
    """Inverse of the expected information over the free variances, nil for those at zero; shape (r, k, k).

    With `directions`, of shape (k, d), over these.
    """
    if directions is not None:
        inner = np.linalg.inv(directions.T @ point.expected @ directions)
        return np.asarray(directions @ inner @ directions.T)
    both = free[:, :, None] & free[:, None, :]
    unit = np.eye(free.shape[1])
    return np.asarray(np.where(both, np.linalg.inv(np.where(both, point.expected, unit)), 0.0))


def small_sample(
    point: Evaluation | AbsorbedPoint, free: NDArray[np.bool_], prepared: Prepared, directions: FloatArray | None = None
) -> SmallSample:
    """Derive the Kenward-Roger quantities from restricted likelihoods at their maxima, in the responses' units.

    ``Phi_A = Phi + 2 Phi { sum_ij W_ij (Q_ij - P_i Phi P_j) } Phi`` (Kenward & Roger 1997, eq. 6; the second
    derivatives of V are nil). A variance at zero is no parameter: only `free` ones count, or `directions` where the
    covariance matrix of a term is singular.
    """
    scale, phi = prepared.scale, point.phi
    solved, w = point.solved, variance_covariance(point, free, directions)
    t, p = solved.basis_change, -solved.x_vi_x
    # Of the V_i in `solved` V itself is one, for which Q_ij - P_i Phi P_j is nil.
    w_b = (transpose(t) @ w @ t)[:, :-1, :-1]
    bias = solved.weighted_second(w_b) - (p @ phi[:, None] @ combine(w_b, p)).sum(1)
    adjusted = phi + phi @ (bias + transpose(bias)) @ phi
    phi_p_phi = combine(t, np.concatenate([phi[:, None] @ p @ phi[:, None], -phi[:, None]], axis=1))
    return SmallSample(
        coefficients=prepared.fitted + scale[:, None] * point.coefficients,
        offset=prepared.offset,
        constant=prepared.constant,
        phi=scale[:, None, None] ** 2 * phi,
        adjusted=scale[:, None, None] ** 2 * adjusted,
        phi_p_phi=phi_p_phi,  # Phi P_i Phi has no unit: P_i has that of 1 / Phi^2
        w=scale[:, None, None] ** 4 * w,
    )


def scale_and_df(size: int, a1: FloatArray, a2: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Scale of F and its denominator d.f. from Kenward & Roger's A_1 and A_2, for `size` contrasts."""
    b = (a1 + 6 * a2) / (2 * size)
    g = ((size + 1) * a1 - (size + 4) * a2) / ((size + 2) * a2)
    common = 3 * size + 2 * (1 - g)
    c1, c2, c3 = g / common, (size - g) / common, (size + 2 - g) / common
    spare, companion = 1 - a2 / size, 1 - c2 * b
    zero = (np.abs(spare) < 1e-9) & (np.abs(companion) < 1e-9)
    ratio = np.where(zero, 1.0, spare / np.where(zero, 1.0, companion))
    with np.errstate(divide="ignore"):  # a nil divisor stands for 4, or for infinitely many, degrees of freedom
        rho = ratio**2 * (1 + c1 * b) / (1 - c3 * b) / size
        df = 4 + (size + 2) / (size * rho - 1)
    two = np.abs(df - 2) < 1e-2
    return np.where(two, 1.0, spare / np.where(two, 1.0, 1 - 2 / df)), df


def _fai_cornelius(each: FloatArray) -> float:
    if np.ptp(each) < 1e-8 * each.max():
        return float(each[0])
    useful = each[each > 2]
    expectation = float((useful / (useful - 2)).sum())
    return 2 * expectation / (expectation - len(each)) if expectation > len(each) else 0.0
