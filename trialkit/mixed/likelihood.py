"""Step 5a: criterion, score and information at given variances, a pure function of the cross-products.

Symbols are those of the literature: ``V_i`` the derivative of V by variance i, ``Phi = (X'V^-1X)^-1``,
``P = V^-1 - V^-1 X Phi X'V^-1``, ``r = y - X b``. Every array has the responses in front.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from trialkit.mixed.products import CrossProducts
from trialkit.mixed.woodbury import Solved, solve

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Evaluation:
    """The likelihood and its derivatives at one point for each response.

    Attributes
    ----------
    variances : ndarray, shape (r, k)
        Random terms in their order, then the residual variances.
    criterion : ndarray, shape (r,)
        -2 log likelihood (restricted or full), in the contrast-invariant form; infinite where V is not positive
        definite, and then nothing else means anything.
    score : ndarray, shape (r, k)
        Derivative of the log likelihood.
    expected, observed : ndarray, shape (r, k, k)
        Information about the variances.
    phi : ndarray, shape (r, p, p)
        ``(X'V^-1X)^-1`` in the orthogonal basis.
    coefficients : ndarray, shape (r, p)
        Generalised least squares in the orthogonal basis.
    x_vi_x : ndarray, shape (r, k, p, p)
        ``X'V^-1 V_i V^-1 X``, which is -P_i of Kenward & Roger (1997).
    x_vij_x : ndarray, shape (r, k, k, p, p)
        ``X'V^-1 V_i V^-1 V_j V^-1 X``, their Q_ij.
    """

    variances: FloatArray
    criterion: FloatArray
    score: FloatArray
    expected: FloatArray
    observed: FloatArray
    phi: FloatArray
    coefficients: FloatArray
    x_vi_x: FloatArray
    x_vij_x: FloatArray

    def take(self, which: NDArray[np.bool_]) -> Evaluation:
        """Keep some of the responses."""
        return Evaluation(**{field.name: getattr(self, field.name)[which] for field in fields(self)})

    def put(self, which: NDArray[np.bool_], other: Evaluation) -> None:
        """Overwrite the chosen responses, in the order of `other`, in place."""
        for field in fields(self):
            getattr(self, field.name)[which] = getattr(other, field.name)


def evaluate(products: CrossProducts, variances: FloatArray, *, restricted: bool) -> Evaluation:
    """Evaluate the likelihood and its derivatives at each response's variances, shape (r, k).

    ``score_i = (y'P V_i P y - tr(P V_i)) / 2``, expected information ``tr(P V_i P V_j) / 2`` (Patterson & Thompson
    1971), observed information ``y'P V_i P V_j P y - tr(P V_i P V_j) / 2``. Without `restricted`, V^-1 stands
    for P in the traces. The criterion is
    ``(N - p) log 2 pi + log|V| + log|X'V^-1X| - log|X'X| + y'P y``; in the orthogonal basis the fourth part is nil.
    """
    solved = solve(products, variances)
    p, terms = products.design.fixed, len(products.design.term_columns)
    whole = solved.solved[..., solved.w, solved.w].sum(1)
    sign, log_information = np.linalg.slogdet(whole[:, :p, :p])
    valid = solved.valid & (sign > 0)  # rounding may leave X'V^-1X singular where V all but is
    residuals = np.where(valid[:, None], variances[:, terms:], 1.0)
    phi = np.linalg.inv(np.where(valid[:, None, None], whole[:, :p, :p], np.eye(p)))
    coefficients = (phi @ whole[:, :p, p, None])[..., 0]
    c = np.concatenate([-coefficients, np.ones((len(phi), 1))], axis=1)  # [X y] c = r
    single = np.stack([derivative[..., solved.w, solved.w].sum(1) for derivative in solved.derivatives], axis=1)
    double, trace_two = _second_derivatives(solved)
    trace_one = np.stack([solved.trace(i) for i in range(variances.shape[1])], axis=1)
    x_vi_x, x_vij_x = single[..., :p, :p], double[..., :p, :p]

    quadratic = ((whole @ c[..., None])[..., 0] * c).sum(1) + (products.within / residuals).sum(1)
    criterion = products.design.heads.sum() * np.log(2 * np.pi) + solved.log_determinant + quadratic
    if restricted:
        phi_v = phi[:, None] @ x_vi_x
        flat, flat_t = (a.reshape(*a.shape[:2], p * p) for a in (phi_v, np.swapaxes(phi_v, -1, -2)))
        trace_one -= np.trace(phi_v, axis1=-2, axis2=-1)
        trace_two -= 2 * (phi[:, None, None] * x_vij_x).sum((-1, -2)) - flat @ np.swapaxes(flat_t, 1, 2)
        criterion += log_information - p * np.log(2 * np.pi)

    single_c = (single @ c[:, None, :, None])[..., 0]
    side = single_c[..., :p]  # X'V^-1 V_i V^-1 r
    quadratic_one = (single_c * c[:, None]).sum(2)
    quadratic_one[:, terms:] += products.within / residuals**2
    double_c = (double @ c[:, None, None, :, None])[..., 0]
    quadratic_two = (double_c * c[:, None, None]).sum(3) - side @ phi @ np.swapaxes(side, 1, 2)
    at = np.arange(terms, variances.shape[1])
    quadratic_two[:, at, at] += products.within / residuals**3
    return Evaluation(
        variances=variances,
        criterion=np.where(valid, criterion, np.inf),
        score=(quadratic_one - trace_one) / 2,
        expected=trace_two / 2,
        observed=quadratic_two - trace_two / 2,
        phi=phi,
        coefficients=coefficients,
        x_vi_x=x_vi_x,
        x_vij_x=x_vij_x,
    )


def _second_derivatives(solved: Solved) -> tuple[FloatArray, FloatArray]:
    (r, k), a = solved.variances.shape, solved.design.fixed + 1
    double, trace = np.empty((r, k, k, a, a)), np.empty((r, k, k))
    for i in range(k):
        for j in range(i, k):
            double[:, i, j], trace[:, i, j] = solved.second(i, j)
            double[:, j, i], trace[:, j, i] = np.swapaxes(double[:, i, j], 1, 2), trace[:, i, j]
    return double, trace
