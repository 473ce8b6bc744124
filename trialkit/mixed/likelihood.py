"""Step 5a: criterion, score and information at given variances, a pure function of the cross-products.

Symbols are those of the literature: ``V_i`` the derivative of V by variance i, ``Phi = (X'V^-1X)^-1``,
``P = V^-1 - V^-1 X Phi X'V^-1``, ``r = y - X b``. Every array has the responses in front. First and second
derivatives are made for the column V_i, the diagonal ones and V (see `trialkit.mixed.woodbury`), then for every V_i.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Annotated

import numpy as np
from numpy.typing import NDArray

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.products import CrossProducts, combine, flat, transpose
from trialkit.mixed.woodbury import Solved, solve

Pair = tuple[FloatArray, FloatArray]


@dataclass(frozen=True)
class Evaluation:
    """The likelihood and its derivatives at one point for each response."""

    products: Annotated[CrossProducts, "Whose likelihood it is."]
    variances: Annotated[FloatArray, "Shape (r, k). Random terms in their order, then the residual variances."]
    criterion: Annotated[
        FloatArray,
        "Shape (r,). -2 log likelihood (restricted or full), in the contrast-invariant form; infinite where V is not "
        "positive definite, and then nothing else means anything.",
    ]
    score: Annotated[FloatArray, "Shape (r, k). Derivative of the log likelihood."]
    # Shape (r, k, k). Information about the variances.
    expected: FloatArray
    observed: FloatArray
    phi: Annotated[FloatArray, "Shape (r, p, p). ``(X'V^-1X)^-1`` in the orthogonal basis."]
    coefficients: Annotated[FloatArray, "Shape (r, p). Generalised least squares in the orthogonal basis."]
    kept: Annotated[Solved | None, "What it was evaluated from, as long as no response is left out."] = None

    @property
    def solved(self) -> Solved:
        """V inverted at the variances, each response's own or shared."""
        return self.kept or solve(self.products, self.variances)

    @cached_property
    def score_sd(self) -> FloatArray:
        """Standard deviation of each score, from the expected information; shape (r, k)."""
        return np.asarray(np.sqrt(np.abs(np.diagonal(self.expected, axis1=1, axis2=2))))

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Evaluation:
        """Keep some of the responses."""
        values = {name: getattr(self, name)[which] for name in VALUES}
        return replace(self, products=self.products.take(which), kept=None, **values)


VALUES = tuple(field.name for field in fields(Evaluation) if field.name not in ("products", "kept"))


def joined(parts: Sequence[tuple[NDArray[np.intp], Evaluation]], products: CrossProducts) -> Evaluation:
    """Put evaluations of some of the responses together: each part with its responses' places among `products`."""
    parts = [(rows, part) for rows, part in parts if len(rows)]
    if len(parts) == 1:
        return parts[0][1]
    order = np.argsort(np.concatenate([rows for rows, _ in parts]))
    values = {name: np.concatenate([getattr(part, name) for _, part in parts])[order] for name in VALUES}
    return replace(parts[0][1], products=products, kept=None, **values)


def evaluate(products: CrossProducts, variances: FloatArray, *, restricted: bool) -> Evaluation:
    """Evaluate the likelihood and its derivatives at each response's variances, shape (r, k), or shared, (1, k).

    ``score_i = (y'P V_i P y - tr(P V_i)) / 2``, expected information ``tr(P V_i P V_j) / 2`` (Patterson & Thompson
    1971), observed information ``y'P V_i P V_j P y - tr(P V_i P V_j) / 2``. Without `restricted`, V^-1 stands
    for P in the traces. The criterion is
    ``(N - p) log 2 pi + log|V| + log|X'V^-1X| - log|X'X| + y'P y``; in the orthogonal basis the fourth part is nil.
    """
    solved, design = solve(products, variances), products.design
    sign, log_information = np.linalg.slogdet(solved.x_x)
    valid = solved.valid & (sign > 0)  # rounding may leave X'V^-1X singular where V all but is
    x_x = solved.x_x if valid.all() else np.where(valid[:, None, None], solved.x_x, np.eye(design.fixed))
    phi = np.asarray(np.linalg.inv(x_x), float)
    coefficients = (phi @ solved.x_y[..., None])[..., 0]
    quadratic = solved.y_y - (solved.x_y * coefficients).sum(1)
    freedom = float(design.heads.sum()) - (design.fixed if restricted else 0)

    first, second = _with_v(
        _traces(solved, phi, restricted=restricted), _quadratics(solved, phi, coefficients), freedom, quadratic
    )
    t = solved.basis_change[:, None]
    first, second = (t @ first[..., None])[..., 0], t @ second @ transpose(t)
    criterion = freedom * np.log(2 * np.pi) + solved.log_determinant + quadratic
    if restricted:
        criterion += log_information
    return Evaluation(
        products=products,
        variances=_spread(variances, len(first)),
        criterion=np.where(valid, criterion, np.inf),
        score=(first[:, 1] - first[:, 0]) / 2,
        expected=second[:, 0] / 2,
        observed=second[:, 1] - second[:, 0] / 2,
        phi=_spread(phi, len(first)),
        coefficients=coefficients,
        kept=solved,
    )


def _with_v(traces: Pair, quadratics: Pair, freedom: float, quadratic: FloatArray) -> Pair:
    """Traces and quadratics of the V_i, stacked, and of V, known as ``P V P = P``; shapes (r, 2, k), (r, 2, k, k)."""
    r, k = quadratics[0].shape
    first, second = np.empty((r, 2, k + 1)), np.empty((r, 2, k + 1, k + 1))
    first[:, 0, :k], first[:, 1, :k], first[:, 0, k], first[:, 1, k] = traces[0], quadratics[0], freedom, quadratic
    second[:, 0, :k, :k], second[:, 1, :k, :k] = traces[1], quadratics[1]
    second[..., k, :] = second[..., :, k] = first
    return first, second


def _traces(solved: Solved, phi: FloatArray, *, restricted: bool) -> Pair:
    """``tr(P V_i)`` and ``tr(P V_i P V_j)`` over the column, then the diagonal variances.

    From ``tr(P V_i P V_j) = tr(V^-1 V_i (V^-1 - 2 V^-1 X Phi X'V^-1) V_j) + tr(Phi X'V^-1 V_i V^-1 X Phi X'V^-1 V_j
    V^-1 X)``, the first part block by block. By full likelihood V^-1 stands for P, as if Phi were nil.
    """
    e, known = solved.design.column_term, phi if restricted else np.zeros_like(phi)
    z_x_phi = solved.z_x @ known[:, None]
    shown = solved.z_z - z_x_phi @ transpose(solved.z_x)  # Z'P Z within blocks
    first = np.diagonal(shown, axis1=2, axis2=3).sum(1) @ e
    second = e.T @ (solved.z_z * (2 * shown - solved.z_z)).sum(1) @ e
    if len(solved.design.diagonal_positions):
        first, second = _bordered(first, second, *_diagonal_traces(solved, known, z_x_phi))
    if restricted:
        phi_v = phi[:, None] @ solved.x_vi_x
        second += flat(phi_v) @ transpose(flat(transpose(phi_v)))
    return first, second


def _diagonal_traces(solved: Solved, phi: FloatArray, z_x_phi: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The share of the diagonal variances in `_traces`: alone, with each column variance, with each other."""
    design, z, g = solved.design, solved.design.z, solved.spread[:, None, None, :, None]
    factors = solved.factors(1)
    group = design.paired(_inverse_within(solved, phi, z_x_phi)) / solved.diagonal
    first = factors @ design.contrasts - (factors @ group[..., None])[..., 0]

    inner_a = solved.inner[:, None] @ solved.squares[..., z, z]
    between = (inner_a * solved.inner[:, None]).sum((2, 4)) - 2 * (solved.z_vi_x * z_x_phi[:, None]).sum((2, 4))
    second = (factors * (design.contrasts - 2 * group)[:, None]) @ transpose(factors)
    second += flat(g * inner_a) @ transpose(flat(transpose(g * inner_a)))
    second += 2 * flat(solved.half @ phi[:, None, None]) @ transpose(flat(g * solved.z_vi_x))
    return first, between @ design.column_term, second


def _inverse_within(solved: Solved, phi: FloatArray, z_x_phi: FloatArray) -> FloatArray:
    """M in ``P = D^-1 - D^-1 U M U'D^-1``, its part within blocks; shape (s, blocks, m, m)."""
    design, t_phi = solved.design, solved.spread[:, None, :, None] * z_x_phi
    m = np.zeros((len(solved.variances), *design.grams.shape[1:]))
    m[..., design.x, design.x] = phi[:, None]
    m[..., design.z, design.x] = -t_phi
    m[..., design.x, design.z] = -transpose(t_phi)
    m[..., design.z, design.z] = solved.core + t_phi @ transpose(solved.projected)
    return m


def _quadratics(solved: Solved, phi: FloatArray, coefficients: FloatArray) -> Pair:
    """``y'P V_i P y`` and ``y'P V_i P V_j P y`` over the column, then the diagonal variances."""
    e = solved.design.column_term
    z_r = solved.z_y - (solved.z_x @ coefficients[:, None, :, None])[..., 0]  # Z'P y
    by_term = e.T * z_r[:, :, None]  # (r, blocks, terms, q)
    side = (by_term @ solved.z_x).sum(1)  # X'V^-1 V_i P y
    first = (z_r**2).sum(1) @ e
    second = (by_term @ solved.z_z @ transpose(by_term)).sum(1)
    if len(solved.design.diagonal_positions):
        more, diagonal_side = _diagonal_quadratics(solved, coefficients, z_r)
        first, second = _bordered(first, second, *more)
        side = np.concatenate([side, diagonal_side], axis=1)
    return first, second - side @ phi @ transpose(side)


def _diagonal_quadratics(
    solved: Solved, coefficients: FloatArray, z_r: FloatArray
) -> tuple[tuple[FloatArray, FloatArray, FloatArray], FloatArray]:
    """The share of the diagonal variances in `_quadratics`, V^-1 for the inner P, and their ``X'V^-1 V_i P y``.

    ``P y = V^-1 r = D^-1 U c`` with ``c = (-b, 1, -G Z'P y)``.
    """
    design, products, g = solved.design, solved.products, solved.spread[:, None]
    c = np.empty((*z_r.shape[:2], design.grams.shape[-1]))
    c[..., design.x], c[..., design.fixed], c[..., design.z] = -coefficients[:, None], 1.0, -g * z_r
    by_group = np.moveaxis(design.grams @ np.moveaxis(c, 0, 2), 3, 0) + products.with_y  # U_g'U_g c
    squares = (c[:, None] * (by_group + products.with_y)).sum((2, 3)) - products.with_y[..., design.fixed].sum(2)
    squares = np.concatenate([squares, products.within], axis=1) / solved.diagonal**2

    factors = solved.factors(1)
    half = combine(solved.factors(2)[..., : by_group.shape[1]], by_group)
    z, x = half[..., design.z], half[..., design.x]  # [Z X]'D^-1 V_i P y
    z_i = (solved.inner[:, None] @ z[..., None])[..., 0]  # Z'V^-1 V_i P y
    side = (x - ((g[:, None] * z)[..., None, :] @ solved.z_x[:, None])[..., 0, :]).sum(2)
    first = (design.diagonal_factors @ squares[..., None])[..., 0]
    between = (z_i * z_r[:, None]).sum(2) @ design.column_term
    second = (factors * squares[:, None]) @ design.diagonal_factors.T
    second = second - flat(z) @ transpose(flat(g[:, None] * z_i))
    return (first, between, second), side


def _bordered(first: FloatArray, second: FloatArray, more: FloatArray, between: FloatArray, corner: FloatArray) -> Pair:
    """Join (n, k) with (n, l), and (n, k, k) with (n, l, k) and (n, l, l)."""
    k = first.shape[1]
    whole = np.empty((len(first), k + more.shape[1], k + more.shape[1]))
    whole[:, :k, :k], whole[:, k:, k:] = second, corner
    whole[:, k:, :k], whole[:, :k, k:] = between, transpose(between)
    return np.concatenate([first, more], axis=1), whole


def _spread(a: FloatArray, responses: int) -> FloatArray:
    """What all responses share, once for each."""
    return a if len(a) == responses else np.broadcast_to(a, (responses, *a.shape[1:]))
