"""The second algebra, step c: criterion, score and information at given covariance matrices, for one response.

What `trialkit.mixed.likelihood` does by the first. The parameters are each term's variances and covariances, then the
residual variances; they enter V linearly, ``V_i = Z E_i Z'``, so that the formulas are the same. Inside, parameters
belong to slopes centred and scaled (`inside`); the attributes that both algebras have are as the user knows them.

The average information ``y'P V_i P V_j P y / 2`` (Gilmour, Thompson & Cullis 1995, Biometrics 51, 1440-1450) needs a
few solutions, and no trace. The expected information is made only where it is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Annotated

import numpy as np

from trialkit.domain.arrays import FloatArray
from trialkit.mixed.absorbed_design import AbsorbedDesign
from trialkit.mixed.absorbed_inverse import SLICE, AbsorbedInverse, block_product, cross, invert
from trialkit.mixed.random_terms import covariance_matrix


@dataclass(frozen=True)
class CellResponse:
    """A response on its cells."""

    y: Annotated[FloatArray, "Shape (cells,). Cell means times the roots of the cells' sizes."]
    within: Annotated[FloatArray, "Shape (residual variances,). Sums of squares within cells."]


@dataclass(frozen=True)
class AbsorbedPoint:
    """The likelihood and its derivatives at one point; arrays that `Evaluation` has too have a first axis of 1."""

    design: AbsorbedDesign
    response: CellResponse
    restricted: bool
    inside: Annotated[FloatArray, "Shape (k,). Parameters, slopes centred and scaled."]
    solved: Annotated[AbsorbedSolved, "V inverted at the parameters."]
    criterion: Annotated[FloatArray, "Shape (1,). As of `Evaluation`."]
    phi: Annotated[FloatArray, "Shape (1, p, p). ``(X'V^-1X)^-1`` in the orthogonal basis."]
    coefficients: Annotated[FloatArray, "Shape (1, p). Generalised least squares in the orthogonal basis."]
    p_y: Annotated[FloatArray, "Shape (cells,). ``P y``."]

    @property
    def variances(self) -> FloatArray:
        """Parameters as the user knows them, shape (1, k)."""
        return (self.solved.back @ self.inside)[None]

    @property
    def expected(self) -> FloatArray:
        """Expected information about the parameters as the user knows them, shape (1, k, k)."""
        out = np.linalg.inv(self.solved.back)
        return (out.T @ self.expected_inside @ out)[None]

    @cached_property
    def level_effects(self) -> tuple[FloatArray, ...]:
        """``Z'P y`` of each term, shape (levels, parts)."""
        over = self.design.a.T @ self.p_y, self.design.b.T @ self.p_y
        return tuple(over[not place.absorbed][place.columns] for place in self.design.places)

    @cached_property
    def score_matrices(self) -> tuple[FloatArray, ...]:
        """Derivative of the log likelihood by each term's covariance matrix, shape (parts, parts)."""
        matrices = []
        for position, effects in enumerate(self.level_effects):
            matrices.append((effects.T @ effects - self.solved.shown(position, self._known)) / 2)
        return tuple(matrices)

    @cached_property
    def score(self) -> FloatArray:
        """Derivative of the log likelihood by the parameters inside, shape (k,)."""
        of_terms = [
            matrix[i, j] * (1 if i == j else 2)
            for place, matrix in zip(self.design.places, self.score_matrices, strict=True)
            for i, j in place.term.pairs
        ]
        return np.array([*of_terms, *((self._residual_squares - self._residual_traces) / 2)])

    @cached_property
    def average(self) -> FloatArray:
        """Average information about the parameters inside, shape (k, k)."""
        sides = np.column_stack([*self.solved.applied(self.level_effects), *self._by_residual])
        solved = self.solved.inverse.times(sides)
        side = self.design.x.T @ solved
        within = np.zeros(len(self.inside))
        within[self.solved.columns :] = self.response.within / self.solved.residual**3
        second = sides.T @ solved - side.T @ self.phi[0] @ side
        return np.asarray((second + second.T) / 4 + np.diag(within) / 2)

    @cached_property
    def expected_inside(self) -> FloatArray:
        """Expected information about the parameters inside, shape (k, k)."""
        c, theta = self.solved.columns, self.inside
        second = np.empty((len(theta), len(theta)))
        second[:c, :c] = self.solved.traces(self._known)
        if len(self.solved.residual) == 1:
            # The residual's V_i by P V P = P: V is known.
            first = self._column_traces
            second[c, :c] = second[:c, c] = (first - second[:c, :c] @ theta[:c]) / theta[c]
            total = self._freedom - 2 * theta[:c] @ first + theta[:c] @ second[:c, :c] @ theta[:c]
            second[c, c] = total / theta[c] ** 2
        else:
            second[c:] = self.solved.residual_traces(self._known)
            second[:c, c:] = second[c:, :c].T
        return (second + second.T) / 4

    @property
    def observed_inside(self) -> FloatArray:
        """Observed information about the parameters inside, shape (k, k)."""
        return 2 * self.average - self.expected_inside

    @property
    def _known(self) -> FloatArray:
        """Phi, or nil by full likelihood, where V^-1 stands for P in the traces."""
        return self.phi[0] if self.restricted else np.zeros_like(self.phi[0])

    @property
    def _freedom(self) -> float:
        return float(self.design.heads.sum()) - (self.design.fixed if self.restricted else 0)

    @cached_property
    def _column_traces(self) -> FloatArray:
        """``tr(P V_i)`` of the parameters of the random terms."""
        of_terms = []
        for position, place in enumerate(self.design.places):
            shown = self.solved.shown(position, self._known)
            of_terms += [shown[i, j] * (1 if i == j else 2) for i, j in place.term.pairs]
        return np.array(of_terms)

    @property
    def _residual_traces(self) -> FloatArray:
        if len(self.solved.residual) == 1:
            left = self._freedom - self.inside[: self.solved.columns] @ self._column_traces
            return np.array([left]) / self.solved.residual
        return np.bincount(self.design.residual, self.solved.own(self._known)) + (
            self.design.inner_heads / self.solved.residual
        )

    @property
    def _residual_squares(self) -> FloatArray:
        return np.bincount(self.design.residual, self.p_y**2) + self.response.within / self.solved.residual**2

    @property
    def _by_residual(self) -> list[FloatArray]:
        """``V_i P y`` of the residual variances."""
        return [np.where(self.design.residual == r, self.p_y, 0.0) for r in range(len(self.solved.residual))]


@dataclass(frozen=True)
class AbsorbedSolved:
    """V inverted, and what is asked of it whatever the response."""

    inverse: AbsorbedInverse
    residual: Annotated[FloatArray, "Shape (residual variances,)."]
    v_x: Annotated[FloatArray, "Shape (cells, p). ``V^-1X``."]

    @property
    def design(self) -> AbsorbedDesign:
        """The design."""
        return self.inverse.design

    @property
    def columns(self) -> int:
        """Number of parameters of the random terms."""
        return sum(len(place.term.pairs) for place in self.design.places)

    @cached_property
    def back(self) -> FloatArray:
        """Parameters as the user knows them from those inside, shape (k, k)."""
        back, start = np.eye(self.columns + len(self.residual)), 0
        for place in self.design.places:
            pairs = place.term.pairs
            for (i, j), (k, m) in product(pairs, pairs):
                value = place.back[i, k] * place.back[j, m]
                if k != m:
                    value += place.back[i, m] * place.back[j, k]
                back[start + pairs.index((i, j)), start + pairs.index((k, m))] = value
            start += len(pairs)
        return back

    @cached_property
    def z_x(self) -> tuple[FloatArray, ...]:
        """``Z'V^-1X`` of each term, shape (levels, parts, p)."""
        over = self.design.a.T @ self.v_x, self.design.b.T @ self.v_x
        return tuple(over[not place.absorbed][place.columns] for place in self.design.places)

    def shown(self, position: int, phi: FloatArray) -> FloatArray:
        """Sum over the levels of a term of their blocks of ``Z'P Z``, shape (parts, parts)."""
        z_x = self.z_x[position]
        flat, parts = z_x.transpose(1, 0, 2), z_x.shape[1]
        taken = (flat @ phi).reshape(parts, -1) @ flat.reshape(parts, -1).T
        return np.asarray(self._level_sums[position] - taken)

    @cached_property
    def _level_sums(self) -> tuple[FloatArray, ...]:
        return tuple(self.inverse.level_sums(position) for position in range(len(self.design.places)))

    def own(self, phi: FloatArray) -> FloatArray:
        """Diagonal of P, shape (cells,)."""
        return np.asarray(self._own_inverse - ((self.v_x @ phi) * self.v_x).sum(1))

    @cached_property
    def _own_inverse(self) -> FloatArray:
        return self.inverse.own()

    def applied(self, effects: tuple[FloatArray, ...]) -> list[FloatArray]:
        """``Z E_i w`` of each parameter of the terms, w by term of shape (levels, parts, ...) -> (cells, ...)."""
        columns = []
        for place, effect in zip(self.design.places, effects, strict=True):
            own = effect[place.term.codes]
            wide = own.ndim == 3
            for i, j in place.term.pairs:
                left, right = place.scaled[:, i], place.scaled[:, j]
                if wide:
                    left, right = left[:, None], right[:, None]
                columns.append(left * own[:, j] + (0 if i == j else right * own[:, i]))
        return columns

    def traces(self, phi: FloatArray) -> FloatArray:
        """``tr(P V_i P V_j)`` over the parameters of the random terms."""
        second = self._inverse_traces.copy()
        if phi.any():
            x_i = np.array([each @ phi for each in self.x_vi_x[0][: self.columns]])
            second += np.einsum("iab,jba->ij", x_i, x_i) - 2 * np.einsum(
                "ijab,ab->ij", self._x_vi_vj_x[: self.columns, : self.columns], phi
            )
        return second

    @cached_property
    def _inverse_traces(self) -> FloatArray:
        """``tr(V^-1 V_i V^-1 V_j)`` over the parameters of the random terms."""
        inverse, design = self.inverse, self.design
        owners = [position for position, place in enumerate(design.places) for _ in place.term.pairs]
        units = [_unit(len(place.back), i, j) for place in design.places for i, j in place.term.pairs]
        inside = [i for i, owner in enumerate(owners) if design.places[owner].absorbed]
        outside = [i for i in range(len(units)) if i not in inside]
        spread = {i: design.spread(self._alone(owners[i], units[i]), True) for i in inside}
        core = {i: design.spread_core(self._alone(owners[i], units[i])) for i in outside}
        second = np.zeros((len(units), len(units)))
        h, k = inverse.within, inverse.k
        by_h = {i: matrix @ h for i, matrix in spread.items()}
        for n, i in enumerate(inside):
            for j in inside[n:]:
                second[i, j] = np.vdot(by_h[i], by_h[j].transpose(0, 2, 1))
                if design.core:
                    between = block_product(by_h[i] @ spread[j], inverse.j)
                    second[i, j] -= 2 * np.vdot(k, cross(inverse.j, between))
        if design.core:
            shapes = {i: inverse.spread_j(matrix) for i, matrix in spread.items()}
            by_k = {i: k @ shape for i, shape in shapes.items()}
            for n, i in enumerate(inside):
                for j in inside[n:]:
                    second[i, j] += np.vdot(by_k[i], by_k[j].T)
                seen = shapes[i] @ inverse.left
                for j in outside:
                    second[min(i, j), max(i, j)] = (seen * (core[j] @ inverse.left.T).T).sum()
            by_core = {i: matrix @ inverse.core_inner for i, matrix in core.items()}
            for n, i in enumerate(outside):
                for j in outside[n:]:
                    second[i, j] = np.vdot(by_core[i], by_core[j].T)
        return np.asarray(np.triu(second) + np.triu(second, 1).T)

    def _alone(self, position: int, matrix: FloatArray) -> list[FloatArray]:
        """One term's matrix, nil for the others."""
        places = enumerate(self.design.places)
        return [matrix if i == position else np.zeros((place.parts, place.parts)) for i, place in places]

    @cached_property
    def x_vi_x(self) -> FloatArray:
        """``X'V^-1 V_i V^-1X`` of all parameters but the last residual variance, shape (1, k - 1, p, p)."""
        result = []
        for place, z_x in zip(self.design.places, self.z_x, strict=True):
            for i, j in place.term.pairs:
                both = z_x[:, i].T @ z_x[:, j]
                result.append(both if i == j else both + both.T)
        result += [side.T @ self.v_x for side in self._by_residual]
        return np.array(result)[None]

    @cached_property
    def _x_vi_vj_x(self) -> FloatArray:
        """``X'V^-1 V_i V^-1 V_j V^-1X`` over the same, shape (k - 1, k - 1, p, p)."""
        sides = [*self.applied(self.z_x), *self._by_residual]
        p = self.design.fixed
        result = np.empty((len(sides), len(sides), p, p))
        for j, side in enumerate(sides):
            solved = self.inverse.times(side)
            for i in range(j + 1):
                result[i, j] = sides[i].T @ solved
                result[j, i] = result[i, j].T
        return result

    @property
    def _by_residual(self) -> list[FloatArray]:
        """``V_i V^-1X`` of all residual variances but the last."""
        return [self.v_x * (self.design.residual == r)[:, None] for r in range(len(self.residual) - 1)]

    def weighted_second(self, w: FloatArray) -> FloatArray:
        """``sum_ij w_ij X'V^-1 V_i V^-1 V_j V^-1X``, shape (1, k - 1, k - 1) -> (1, p, p), as by the first algebra."""
        return np.asarray(np.einsum("ij,ijab->ab", w[0], self._x_vi_vj_x))[None]

    @property
    def basis_change(self) -> FloatArray:
        """T in ``V_i = sum_b T_ib B_b``: the user's V_i from those inside but the last, and V; shape (1, k, k)."""
        t = np.eye(len(self.back))
        t[-1, :-1], t[-1, -1] = -self.parameters[:-1], 1.0
        t[-1] /= self.residual[-1]
        return np.asarray(np.linalg.inv(self.back).T @ t, float)[None]

    @property
    def parameters(self) -> FloatArray:
        """Parameters inside, shape (k,)."""
        of_terms = [
            sigma[i, j]
            for place, sigma in zip(self.design.places, self.inverse.sigmas, strict=True)
            for i, j in place.term.pairs
        ]
        return np.array([*of_terms, *self.residual])

    def residual_traces(self, phi: FloatArray) -> FloatArray:
        """``tr(P V_r P V_j)`` of each residual variance with every parameter, from all of P by slices."""
        design, cells, several = self.design, len(self.v_x), len(self.residual)
        traces = np.zeros((several, self.columns + several))
        traces[:, self.columns :] = np.diag(design.inner_heads / self.residual**2)
        step = max(1, SLICE // cells)
        for start in range(0, cells, step):
            some = slice(start, min(start + step, cells))
            unit = np.zeros((cells, some.stop - start))
            unit[np.arange(start, some.stop), np.arange(some.stop - start)] = 1.0
            p = self.inverse.times(unit) - self.v_x @ (phi @ self.v_x[some].T)
            of = np.eye(several)[design.residual[some]]  # (slice, residual variances)
            over, parameter = (design.a.T @ p, design.b.T @ p), 0
            for place in design.places:
                h = over[not place.absorbed][place.columns]  # (levels, parts, slice)
                for i, j in place.term.pairs:
                    traces[:, parameter] += (1 if i == j else 2) * (h[:, i] * h[:, j]).sum(0) @ of
                    parameter += 1
            traces[:, parameter:] += of.T @ (p.T**2 @ np.eye(several)[design.residual])
        return traces


def evaluate_absorbed(
    design: AbsorbedDesign, response: CellResponse, inside: FloatArray, *, restricted: bool
) -> AbsorbedPoint:
    """Evaluate the likelihood at parameters inside; covariance matrices must be positive semidefinite.

    Raises
    ------
    numpy.linalg.LinAlgError
        If rounding leaves V or ``X'V^-1X`` singular.
    """
    sigmas = sigmas_of(design, inside)
    residual = inside[-len(design.heads) :]
    inverse = invert(design, sigmas, residual)
    both = inverse.times(np.column_stack([design.x, response.y]))
    v_x, v_y = both[:, :-1], both[:, -1]
    x_x = design.x.T @ v_x
    x_x = (x_x + x_x.T) / 2
    sign, log_information = np.linalg.slogdet(x_x)
    if sign <= 0:
        raise np.linalg.LinAlgError("X'V^-1X is singular")
    phi = np.asarray(np.linalg.inv(x_x), float)
    coefficients = phi @ (design.x.T @ v_y)
    p_y = v_y - v_x @ coefficients
    quadratic = float((response.y - design.x @ coefficients) @ p_y + (response.within / residual).sum())
    freedom = float(design.heads.sum()) - (design.fixed if restricted else 0)
    criterion = freedom * np.log(2 * np.pi) + inverse.log_determinant + quadratic
    criterion += float(design.inner_heads @ np.log(residual)) + (log_information if restricted else 0.0)
    return AbsorbedPoint(
        design=design,
        response=response,
        restricted=restricted,
        inside=inside,
        solved=AbsorbedSolved(inverse, residual, v_x),
        criterion=np.array([criterion]),
        phi=phi[None],
        coefficients=coefficients[None],
        p_y=p_y,
    )


def sigmas_of(design: AbsorbedDesign, inside: FloatArray) -> tuple[FloatArray, ...]:
    """Covariance matrices of the terms from the parameters inside."""
    sigmas, start = [], 0
    for place in design.places:
        end = start + len(place.term.pairs)
        sigmas.append(covariance_matrix(place.term, inside[start:end]))
        start = end
    return tuple(sigmas)


def _unit(parts: int, i: int, j: int) -> FloatArray:
    """E of a parameter: the derivative of a covariance matrix by it."""
    unit = np.zeros((parts, parts))
    unit[i, j] = unit[j, i] = 1.0
    return unit
