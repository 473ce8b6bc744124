"""Step 5a: criterion, score and information at given variances, a pure function of the cross-products.

Symbols are those of the literature: ``V_i`` the derivative of V by variance i, ``Phi = (X'V^-1X)^-1``,
``P = V^-1 - V^-1 X Phi X'V^-1``, ``r = y - X b``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.mixed.products import CrossProducts
from trialkit.mixed.woodbury import Solved, solve

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Evaluation:
    """The likelihood and its derivatives at one point.

    Attributes
    ----------
    solved : Solved
        V inverted at the variances.
    criterion : float
        -2 log likelihood (restricted or full), in the contrast-invariant form.
    score : ndarray, shape (k,)
        Derivative of the log likelihood.
    expected, observed : ndarray, shape (k, k)
        Information about the variances.
    phi : ndarray, shape (p, p)
        ``(X'V^-1X)^-1`` in the orthogonal basis.
    coefficients : ndarray, shape (p,)
        Generalised least squares in the orthogonal basis.
    x_vi_x : ndarray, shape (k, p, p)
        ``X'V^-1 V_i V^-1 X``, which is -P_i of Kenward & Roger (1997).
    x_vij_x : ndarray, shape (k, k, p, p)
        ``X'V^-1 V_i V^-1 V_j V^-1 X``, their Q_ij.
    """

    solved: Solved
    criterion: float
    score: FloatArray
    expected: FloatArray
    observed: FloatArray
    phi: FloatArray
    coefficients: FloatArray
    x_vi_x: FloatArray
    x_vij_x: FloatArray

    @property
    def variances(self) -> FloatArray:
        """Variances at which this was evaluated, shape (k,), the residual last."""
        return self.solved.variances


def evaluate(products: CrossProducts, variances: FloatArray, *, restricted: bool) -> Evaluation | None:
    """Evaluate the likelihood and its derivatives; None where V is not positive definite.

    ``score_i = (y'P V_i P y - tr(P V_i)) / 2``, expected information ``tr(P V_i P V_j) / 2`` (Patterson & Thompson
    1971), observed information ``y'P V_i P V_j P y - tr(P V_i P V_j) / 2``. Without `restricted`, V^-1 stands
    for P in the traces. The criterion is
    ``(N - p) log 2 pi + log|V| + log|X'V^-1X| - log|X'X| + y'P y``; in the orthogonal basis the fourth part is nil.
    """
    solved = solve(products, variances)
    if solved is None:
        return None
    p = products.fixed
    w = slice(0, p + 1)
    whole = solved.solved[:, w, w].sum(0)
    phi = np.linalg.inv(whole[:p, :p])
    coefficients = phi @ whole[:p, p]
    c = np.append(-coefficients, 1.0)  # [X y] c = r
    single = np.array([derivative[:, w, w].sum(0) for derivative in solved.derivatives])
    double, trace_two = _second_derivatives(solved)
    trace_one = np.array([solved.trace(i) for i in range(len(variances))])
    x_vi_x, x_vij_x = single[:, :p, :p], double[:, :, :p, :p]

    quadratic = c @ whole @ c + products.within / variances[-1]
    criterion = products.heads * np.log(2 * np.pi) + solved.log_determinant + quadratic
    if restricted:
        phi_v = phi @ x_vi_x
        trace_one -= np.trace(phi_v, axis1=1, axis2=2)
        trace_two -= 2 * np.einsum("ab,ijba->ij", phi, x_vij_x) - np.einsum("iab,jba->ij", phi_v, phi_v)
        criterion -= p * np.log(2 * np.pi) + np.linalg.slogdet(phi)[1]

    side = (single @ c)[:, :p]  # X'V^-1 V_i V^-1 r
    quadratic_one = c @ (single @ c).T
    quadratic_one[-1] += products.within / variances[-1] ** 2
    quadratic_two = double @ c @ c - side @ phi @ side.T
    quadratic_two[-1, -1] += products.within / variances[-1] ** 3
    return Evaluation(
        solved=solved,
        criterion=float(criterion),
        score=(quadratic_one - trace_one) / 2,
        expected=trace_two / 2,
        observed=quadratic_two - trace_two / 2,
        phi=phi,
        coefficients=coefficients,
        x_vi_x=x_vi_x,
        x_vij_x=x_vij_x,
    )


def _second_derivatives(solved: Solved) -> tuple[FloatArray, FloatArray]:
    k, a = len(solved.variances), solved.products.fixed + 1
    double, trace = np.empty((k, k, a, a)), np.empty((k, k))
    for i in range(k):
        for j in range(i, k):
            double[i, j], trace[i, j] = solved.second(i, j)
            double[j, i], trace[j, i] = double[i, j].T, trace[i, j]
    return double, trace
