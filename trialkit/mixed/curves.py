"""Dose curves: each is linear once one shape is fixed, so that shape is profiled over the model's full likelihood."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, get_args

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray
from trialkit.domain.thresholds import FEWEST_CURVE_DOSES
from trialkit.mixed.fixed import independent_columns
from trialkit.mixed.likelihood import Evaluation
from trialkit.mixed.model import Model, Prepared, build_model, prepare
from trialkit.mixed.products import CrossProducts
from trialkit.mixed.refusals import FormulaError, NotConverged
from trialkit.mixed.scoring import estimate
from trialkit.mixed.woodbury import solve

Curve = Literal["linear", "quadratic", "linear-plateau", "quadratic-plateau", "asymptotic"]
CURVES: tuple[Curve, ...] = get_args(Curve)

# Shapes first looked at with the variances held, so that the best of several valleys is found.
GRID = 101
# A valley this much less deep than the deepest, with the variances held, may yet be deepest without.
DEEP = 4.0
# A plateau reached at so many times the highest dose is, within the range tried, none.
FURTHEST_JOIN = 3.0
# The slowest asymptotic rate looked at, over the highest dose, is straight within the range. The fastest leaves this
# share of the gain at the second dose, counted from the lowest; and at the lowest not less than rounding can bear.
SLOWEST = 0.05
LEFT_AT_SECOND = 1e-3
LEFT_AT_LOWEST = 1e-9
# Of the range searched.
SHAPE_TOLERANCE = 1e-8
LIMIT_TOLERANCE = 1e-6
MOST_TURNS = 100


def curve_basis(curve: Curve, doses: FloatArray, shape: float | None = None) -> FloatArray:
    """Columns of a curve besides its constant.

    In the order of `CURVES`: ``d``; ``d, d^2``; ``min(d, c)``; ``m - m^2 / (2 c)`` with ``m = min(d, c)``; ``1 -
    exp(-c d)`` (Mitscherlich). The shape c is the dose at which a plateau is reached, or the asymptotic rate for each
    unit of dose.

    Examples
    --------
    >>> curve_basis("linear-plateau", np.array([2.0, 4.0, 6.0]), 5.0).ravel()
    array([2., 4., 5.])
    """
    d = np.asarray(doses, float)
    if curve == "linear":
        return d[:, None]
    if curve == "quadratic":
        return np.column_stack([d, d**2])
    assert shape is not None
    if curve == "asymptotic":
        return np.asarray(-np.expm1(-shape * d)[:, None])
    m = np.minimum(d, shape)
    return np.asarray(m[:, None]) if curve == "linear-plateau" else np.asarray((m - m**2 / (2 * shape))[:, None])


def shapes_searched(curve: Curve, doses: FloatArray) -> tuple[float, float] | None:
    """Range of the shapes looked at, given the doses tried; None for a curve without a shape.

    Below the second lowest dose a plateau cannot be told from a step between the lowest two.
    """
    tried = np.unique(np.asarray(doses, float))
    if curve == "asymptotic":
        fastest = -np.log(LEFT_AT_SECOND) / (tried[1] - tried[0])
        if tried[0] > 0:
            fastest = min(fastest, -np.log(LEFT_AT_LOWEST) / tried[0])
        return SLOWEST / float(tried[-1]), float(fastest)
    if curve in ("linear", "quadratic"):
        return None
    return float(tried[1]), float(tried[-1]) * (1.0 if curve == "linear-plateau" else FURTHEST_JOIN)


@dataclass(frozen=True)
class CurveFit:
    """A dose curve at its shape of greatest likelihood.

    Attributes
    ----------
    curve : str
    shape : float or None
        c of `curve_basis`; None for a curve without one.
    shape_lower, shape_upper : float or None
        Profile-likelihood limits; None where the interval reaches the end of the range searched.
    at_end : bool
        Whether the shape itself lies at an end of that range: the data do not determine it.
    coefficients : pandas.Series
        Of the fixed part besides the dose, then ``dose1`` (and ``dose2``) for the columns of `curve_basis`.
    variances : pandas.Series
    minus_2_log_likelihood : float
        Full likelihood.

    Examples
    --------
    >>> import pandas as pd
    >>> tried = pd.DataFrame({"dose": [1.0, 2, 3, 4], "weight_g": [10.0, 13, 15, 18]})
    >>> fit, = fit_curves(tried, "weight_g ~ 1", "dose", curves=["linear"])
    >>> fit.curve, fit.shape, fit.parameters
    ('linear', None, 3)
    """

    curve: Curve
    shape: float | None
    shape_lower: float | None
    shape_upper: float | None
    at_end: bool
    coefficients: pd.Series
    variances: pd.Series
    minus_2_log_likelihood: float

    @property
    def parameters(self) -> int:
        """Fixed effects, shape and variances."""
        return len(self.coefficients) + (self.shape is not None) + len(self.variances)

    def aicc(self, n: int) -> float:
        """Akaike's criterion with the small-sample term of Hurvich & Tsai (1989, Biometrika 76, 297-307).

        Parameters
        ----------
        n : int
            Number of independent units: buckets.

        Returns
        -------
        float
            Infinite where there are too few units for so many parameters.
        """
        k = self.parameters
        spare = n - k - 1
        return self.minus_2_log_likelihood + 2 * k + 2 * k * (k + 1) / spare if spare > 0 else np.inf


def fit_curves(
    data: pd.DataFrame,
    formula: str,
    dose: str,
    random: Sequence[str] = (),
    *,
    curves: Sequence[Curve] = CURVES,
    confidence: float = 0.95,
) -> tuple[CurveFit, ...]:
    """Fit dose curves by full likelihood, each at its best shape.

    Variances are held at zero or above and estimated anew at every shape.

    Parameters
    ----------
    data : pandas.DataFrame
        One row a head.
    formula : str
        Response and fixed part besides the dose, such as ``"weight_g ~ cultivar"``.
    dose : str
        Column of doses: numbers, or categories of numbers.
    random : sequence of str
        Random terms, as for `trialkit.mixed.fit_mixed`.
    curves : sequence of str
    confidence : float
        Of the interval of the shape.

    Returns
    -------
    tuple of CurveFit
        In the order of `curves`.

    Raises
    ------
    FormulaError
        If the doses are not numbers, or fewer than four were tried.
    MixedModelError
        As from `fit_mixed`.

    Examples
    --------
    >>> import pandas as pd
    >>> tried = pd.DataFrame({"dose": [0.0, 1, 2, 3, 4] * 2, "weight_g": [10, 21, 29, 31, 30, 11, 19, 31, 30, 31.0]})
    >>> fit, = fit_curves(tried, "weight_g ~ 1", "dose", curves=["linear-plateau"])
    >>> round(fit.shape, 3), fit.coefficients.round(2).to_dict()
    (2.06, {'Intercept': 10.42, 'dose1': 9.75})
    """
    doses = pd.to_numeric(data[dose].astype(object), errors="coerce").astype(float)
    if doses.isna().any():
        raise FormulaError(f"The doses in {dose!r} must all be numbers.")
    if doses.nunique() < FEWEST_CURVE_DOSES:
        raise FormulaError(f"Only {doses.nunique()} doses were tried: curves need {FEWEST_CURVE_DOSES} or more.")
    as_factor = data.assign(**{dose: pd.Categorical(doses)})
    model, response = build_model(as_factor, f"{formula} + {dose}", random)
    profile = _Profile(model, response, dose)
    near = profile.line.variances
    near = np.maximum(near, 1e-3 * near.max())  # a variance that is nil beside a line may not be nil elsewhere
    return tuple(_fit_curve(profile, curve, near, confidence) for curve in curves)


@dataclass(frozen=True)
class _Point:
    """The likelihood at one shape, maximised over everything else."""

    criterion: float
    point: Evaluation
    prepared: Prepared
    basis: FloatArray
    triangle: FloatArray

    @property
    def variances(self) -> FloatArray:
        """In the units of the data, shape (k,)."""
        return np.asarray(self.point.variances[0] * self.prepared.scale[0] ** 2)


@dataclass(frozen=True)
class _Profile:
    """A model with the dose as a factor; every curve is a part of what that factor spans."""

    model: Model
    response: FloatArray
    dose: str

    @cached_property
    def doses(self) -> FloatArray:
        """Dose of each distinct row of the fixed part."""
        levels = np.array(self.model.fixed.factors[self.dose], float)
        return np.asarray(levels[self.model.fixed.codes[self.dose]])

    @cached_property
    def rest(self) -> tuple[list[str], FloatArray]:
        """Columns of the fixed part besides the dose."""
        fixed = self.model.fixed
        of_dose = fixed.slices[fixed.formula.terms.index((self.dose,))]
        others = [i for i in range(len(fixed.names)) if not of_dose.start <= i < of_dose.stop]
        kept = [others[i] for i in independent_columns(fixed.coding.matrix[:, others])]
        return [fixed.names[i] for i in kept], fixed.coding.matrix[:, kept]

    @cached_property
    def root(self) -> FloatArray:
        """Root of how many heads each distinct row of the fixed part has, shape (rows, 1)."""
        return np.asarray(np.sqrt(np.bincount(self.model.fixed_row, self.model.cells.sizes))[:, None])

    @cached_property
    def line(self) -> _Point:
        """The straight line, from which the other curves start."""
        return self.at("linear", None)

    @cached_property
    def whole(self) -> tuple[CrossProducts, FloatArray]:
        """The response beside the dose as a factor: products of what a line leaves, and coefficients of the line.

        Both are in units of the line's residuals. A constant that every curve has is left out: its digits would be lost
        again.
        """
        prepared, basis = self.line.prepared, self.in_whole(self.line.basis)
        rest, constant = self.in_whole(self.rest[1]), basis @ prepared.constant
        apart = constant - rest @ np.linalg.lstsq(rest, constant)[0]
        fitted = basis @ prepared.fitted[0] + prepared.offset[0] * apart
        return self.model.cross_products(prepared), fitted / prepared.scale[0]

    def in_whole(self, columns: FloatArray) -> FloatArray:
        """Columns over the distinct rows, (rows, n), in the orthonormal basis of the model: (p, n)."""
        return np.asarray((self.root * self.model.fixed.orthogonal).T @ (self.root * columns))

    def at(self, curve: Curve, shape: float | None, start: FloatArray | None = None) -> _Point:
        """Maximise the full likelihood of a curve at a shape, from variances already near."""
        fixed, model = self.model.fixed, self.model
        columns = np.column_stack([self.rest[1], curve_basis(curve, self.doses, shape)])
        basis, triangle = np.linalg.qr(self.root * columns)
        part = replace(model, fixed=replace(fixed, orthogonal=basis / self.root))
        prepared = prepare(part, self.response[None])
        scaled = None if start is None else start[None] / prepared.scale[0] ** 2
        point, _ = estimate(part, prepared, restricted=False, bounded=True, start=scaled)
        criterion = float(point.criterion[0] + 2 * model.heads * np.log(prepared.scale[0]))
        return _Point(criterion, point, prepared, part.fixed.orthogonal, triangle)

    def held(self, curve: Curve, variances: FloatArray) -> Callable[[FloatArray], FloatArray]:
        """-2 log likelihood of a curve at many shapes, (n,) -> (n,), with the variances held.

        With u the coefficients of the dose as a factor by generalised least squares, times the root of their
        information, a curve's sum of squares is that of the factor and what of u lies outside the curve's columns,
        which cost next to nothing.
        """
        products, fitted = self.whole
        scale, heads = float(self.line.prepared.scale[0]), self.model.heads
        solved = solve(products, variances[None] / scale**2)
        root = np.linalg.cholesky(solved.x_x[0]).T
        more = np.linalg.solve(solved.x_x[0], solved.x_y[0])
        rest = np.linalg.qr(root @ self.in_whole(self.rest[1]))[0]
        u = root @ (fitted + more)
        outside = u - rest @ (rest.T @ u)
        nearest = float(solved.y_y[0] - solved.x_y[0] @ more + solved.log_determinant[0])
        least = nearest + heads * (np.log(2 * np.pi) + 2 * np.log(scale))

        def criterion(shapes: FloatArray) -> FloatArray:
            columns = np.column_stack([curve_basis(curve, self.doses, shape) for shape in shapes])
            column = root @ self.in_whole(columns)
            column -= rest @ (rest.T @ column)
            left = outside[:, None] - column * (outside @ column / (column**2).sum(0))
            return np.asarray(least + (left**2).sum(0))

        return criterion


def _fit_curve(profile: _Profile, curve: Curve, near: FloatArray, confidence: float) -> CurveFit:
    searched = shapes_searched(curve, profile.doses)
    if searched is None:
        return _curve_fit(profile, curve, None, profile.at(curve, None), (None, None), at_end=False)
    grid = np.geomspace(*searched, GRID) if curve == "asymptotic" else np.linspace(*searched, GRID)
    # Doses at which a plateau may begin are among them: the likelihood has kinks there.
    grid = np.unique(
        np.concatenate([grid, profile.doses[(profile.doses > searched[0]) & (profile.doses < searched[1])]])
    )
    shape, found = _best_shape(profile, curve, grid, near)
    limits = _limits(profile, curve, grid, shape, found, confidence)
    at_end = min(abs(shape - end) for end in searched) <= 1e-6 * (searched[1] - searched[0])
    return _curve_fit(profile, curve, shape, found, limits, at_end=at_end)


def _best_shape(profile: _Profile, curve: Curve, grid: FloatArray, near: FloatArray) -> tuple[float, _Point]:
    """Shape of greatest likelihood, and the likelihood there.

    Shape and variances are sought in turn, each with the other held, from every valley that may be the deepest. Neither
    step raises the criterion, and a few are enough: the information about one says next to nothing of the other.
    """
    values = profile.held(curve, near)(grid)
    beside = np.concatenate([[np.inf], values, [np.inf]])
    valleys = (values <= beside[:-2]) & (values <= beside[2:]) & (values <= values.min() + DEEP)
    descended = [_descend(profile, curve, grid, float(shape), near) for shape in grid[valleys]]
    return min(descended, key=lambda found: found[1].criterion)


def _descend(profile: _Profile, curve: Curve, grid: FloatArray, shape: float, near: FloatArray) -> tuple[float, _Point]:
    """Seek shape and variances in turn from the valley about a shape."""
    from scipy.optimize import minimize_scalar

    tolerance = SHAPE_TOLERANCE * (grid[-1] - grid[0])
    found, variances = None, near
    for _ in range(MOST_TURNS):
        criterion = profile.held(curve, variances)
        nearest = int(np.abs(grid - shape).argmin())
        around = grid[max(nearest - 1, 0)], grid[min(nearest + 1, len(grid) - 1)]
        refined = minimize_scalar(
            lambda at: float(criterion(np.array([at]))[0]),  # noqa: B023
            bounds=around,
            method="bounded",
            options={"xatol": tolerance / 4},
        )
        moved = float(refined.x) if refined.fun < criterion(np.array([shape]))[0] else shape
        if found is not None and abs(moved - shape) <= tolerance:
            return shape, found
        shape = moved
        found = profile.at(curve, shape, variances)
        variances = found.variances
    raise NotConverged(f"The shape of the {curve} curve did not settle in {MOST_TURNS} steps.")


def _limits(
    profile: _Profile, curve: Curve, grid: FloatArray, shape: float, found: _Point, confidence: float
) -> tuple[float | None, float | None]:
    """Outermost shapes at which the profile has risen by the chi-square quantile; None where not before an end."""
    from scipy.special import chdtri

    level = found.criterion + float(chdtri(1, 1 - confidence))
    below = profile.held(curve, found.variances)(grid) <= level
    known = np.append(grid[below], shape)
    lower = _limit(profile, curve, grid[::-1], float(known.min()), found, level)
    return lower, _limit(profile, curve, grid, float(known.max()), found, level)


def _limit(
    profile: _Profile, curve: Curve, outwards: FloatArray, inside: float, found: _Point, level: float
) -> float | None:
    """Where the profile passes a level on the way out along the grid from a shape that is below it.

    With variances held the criterion is nowhere below the profile, and touches it at the shape that they belong to:
    where it passes the level, the profile has not yet, and steps grow shorter as fast as Newton's do.
    """
    from scipy.optimize import brentq

    end, tolerance = outwards[-1], LIMIT_TOLERANCE * abs(outwards[-1] - outwards[0])
    variances = found.variances
    for _ in range(MOST_TURNS):
        if inside == end:
            return None
        criterion = profile.held(curve, variances)
        ahead = outwards[np.sign(end - inside) * (outwards - inside) > 0]
        above = criterion(ahead) > level
        if not above.any():
            return None
        first = int(above.argmax())
        within, beyond = float(ahead[first - 1]) if first else inside, float(ahead[first])

        def rise(at: float) -> float:
            return float(criterion(np.array([at]))[0]) - level  # noqa: B023

        if rise(within) >= 0:
            return within  # rounding: it is there already
        passed = float(brentq(rise, *sorted((within, beyond)), xtol=tolerance / 4))
        if abs(passed - inside) <= tolerance:
            return passed
        inside = passed
        variances = profile.at(curve, inside, variances).variances
    raise NotConverged(f"A limit of the shape of the {curve} curve did not settle in {MOST_TURNS} steps.")


def _curve_fit(
    profile: _Profile,
    curve: Curve,
    shape: float | None,
    found: _Point,
    limits: tuple[float | None, float | None],
    *,
    at_end: bool,
) -> CurveFit:
    prepared = found.prepared
    scale = float(prepared.scale[0])
    in_basis = prepared.fitted[0] + scale * found.point.coefficients[0] + prepared.offset[0] * prepared.constant
    names = [*profile.rest[0], *(f"dose{i + 1}" for i in range(curve_basis(curve, profile.doses, shape).shape[1]))]
    return CurveFit(
        curve=curve,
        shape=shape,
        shape_lower=limits[0],
        shape_upper=limits[1],
        at_end=at_end,
        coefficients=pd.Series(np.linalg.solve(found.triangle, in_basis), index=names, name="estimate"),
        variances=pd.Series(found.variances, index=list(profile.model.variance_names)),
        minus_2_log_likelihood=found.criterion,
    )
