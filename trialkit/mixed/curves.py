"""Dose curves: each is linear once one shape is fixed, so that shape is profiled over the model's full likelihood."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.mixed.errors import FormulaError
from trialkit.mixed.fixed import independent_columns
from trialkit.mixed.likelihood import Evaluation, evaluate
from trialkit.mixed.model import Model, Prepared, build_model, prepare, starting_variances
from trialkit.mixed.scoring import maximise, refuse_confounded, require_converged

FloatArray = NDArray[np.float64]

Curve = Literal["linear", "quadratic", "linear-plateau", "quadratic-plateau", "asymptotic"]
CURVES: tuple[Curve, ...] = get_args(Curve)
FEWEST_DOSES = 4
"""With three, a plateau cannot be told from a curve: every curve with a shape goes through all three means."""

# Shapes first looked at, so that the best of several valleys is found; the best is then refined.
GRID = 17
# A plateau reached at so many times the highest dose is, within the range tried, none.
FURTHEST_JOIN = 3.0
# The slowest asymptotic rate looked at, over the highest dose, is straight within the range. The fastest leaves this
# share of the gain at the second dose, counted from the lowest; and at the lowest not less than rounding can bear.
SLOWEST = 0.05
LEFT_AT_SECOND = 1e-3
LEFT_AT_LOWEST = 1e-9
SHAPE_TOLERANCE = 1e-8


def curve_basis(curve: Curve, doses: FloatArray, shape: float | None = None) -> FloatArray:
    """Columns of a curve besides its constant.

    Parameters
    ----------
    curve : {"linear", "quadratic", "linear-plateau", "quadratic-plateau", "asymptotic"}
        ``d``; ``d, d^2``; ``min(d, c)``; ``m - m^2 / (2 c)`` with ``m = min(d, c)``; ``1 - exp(-c d)`` (Mitscherlich).
    doses : ndarray, shape (n,)
    shape : float, optional
        c: the dose at which a plateau is reached, or the asymptotic rate for each unit of dose.

    Returns
    -------
    ndarray, shape (n, 1), or (n, 2) for the quadratic

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
    if doses.nunique() < FEWEST_DOSES:
        raise FormulaError(f"Only {doses.nunique()} doses were tried: curves need {FEWEST_DOSES} or more.")
    as_factor = data.assign(**{dose: pd.Categorical(doses)})
    model, response = build_model(as_factor, f"{formula} + {dose}", random)
    profile = _Profile(model, response, dose)
    return tuple(_fit_curve(profile, curve, confidence) for curve in curves)


@dataclass(frozen=True)
class _Point:
    """The likelihood at one shape, maximised over everything else."""

    criterion: float
    point: Evaluation
    prepared: Prepared
    triangle: FloatArray


@dataclass(frozen=True)
class _Profile:
    """A model with the dose as a factor; every curve is a part of what that factor spans."""

    model: Model
    response: FloatArray
    dose: str

    @property
    def doses(self) -> FloatArray:
        """Dose of each distinct row of the fixed part."""
        levels = np.array(self.model.fixed.factors[self.dose], float)
        return np.asarray(levels[self.model.fixed.codes[self.dose]])

    @property
    def rest(self) -> tuple[list[str], FloatArray]:
        """Columns of the fixed part besides the dose."""
        fixed = self.model.fixed
        of_dose = fixed.slices[fixed.formula.terms.index((self.dose,))]
        others = [i for i in range(len(fixed.names)) if not of_dose.start <= i < of_dose.stop]
        kept = [others[i] for i in independent_columns(fixed.coding.matrix[:, others])]
        return [fixed.names[i] for i in kept], fixed.coding.matrix[:, kept]

    def at(self, curve: Curve, shape: float | None, start: FloatArray | None = None) -> _Point:
        """Maximise the full likelihood of a curve at a shape, from variances already near."""
        fixed, model = self.model.fixed, self.model
        columns = np.column_stack([self.rest[1], curve_basis(curve, self.doses, shape)])
        root = np.sqrt(np.bincount(model.fixed_row, model.cells.sizes))[:, None]
        basis, triangle = np.linalg.qr(root * columns)
        part = replace(model, fixed=replace(fixed, orthogonal=basis / root))
        prepared = prepare(part, self.response[None])
        products = part.cross_products(prepared)
        first = starting_variances(part)[None] if start is None else start / prepared.scale[0] ** 2
        if start is None:
            refuse_confounded(evaluate(products, first, restricted=True), model.variance_names)
        point, record = maximise(evaluate(products, first, restricted=False), restricted=False, bounded=True)
        require_converged(point, record)
        criterion = float(point.criterion[0] + 2 * model.heads * np.log(prepared.scale[0]))
        return _Point(criterion, point, prepared, triangle)


def _fit_curve(profile: _Profile, curve: Curve, confidence: float) -> CurveFit:
    searched = shapes_searched(curve, profile.doses)
    if searched is None:
        return _curve_fit(profile, curve, None, profile.at(curve, None), (None, None), at_end=False)
    shape, criterion = _best_shape(profile, curve, searched)
    found = profile.at(curve, shape)
    limits = _limits(criterion, shape, found.criterion, searched, confidence)
    at_end = min(abs(shape - end) for end in searched) <= 1e-6 * (searched[1] - searched[0])
    return _curve_fit(profile, curve, shape, found, limits, at_end=at_end)


def _best_shape(
    profile: _Profile, curve: Curve, searched: tuple[float, float]
) -> tuple[float, Callable[[float], float]]:
    """Shape of greatest likelihood, and the criterion as a function of the shape."""
    from scipy.optimize import minimize_scalar

    start = profile.at(curve, searched[0]).point
    near = np.asarray(start.variances) * _scale(profile, curve, searched[0]) ** 2
    near = np.maximum(near, 1e-3 * near.max())  # a variance that was nil here may not be nil elsewhere

    def criterion(shape: float) -> float:
        return profile.at(curve, shape, near).criterion

    grid = np.geomspace(*searched, GRID) if curve == "asymptotic" else np.linspace(*searched, GRID)
    grid = np.unique(np.concatenate([grid, _inside(np.unique(profile.doses), searched)]))
    values = np.array([criterion(shape) for shape in grid])
    best = int(values.argmin())
    around = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]
    tolerance = SHAPE_TOLERANCE * (around[1] - around[0])
    refined = minimize_scalar(criterion, bounds=around, method="bounded", options={"xatol": tolerance})
    return (float(refined.x) if refined.fun < values[best] else float(grid[best])), criterion


def _scale(profile: _Profile, curve: Curve, shape: float) -> float:
    return float(profile.at(curve, shape).prepared.scale[0])


def _inside(doses: FloatArray, searched: tuple[float, float]) -> FloatArray:
    """Doses at which a plateau may begin: the likelihood has kinks there."""
    return doses[(doses > searched[0]) & (doses < searched[1])]


def _limits(
    criterion: Callable[[float], float], shape: float, least: float, searched: tuple[float, float], confidence: float
) -> tuple[float | None, float | None]:
    """Shapes at which the profile rises by the chi-square quantile; None where it does not before an end."""
    from scipy.optimize import brentq
    from scipy.special import chdtri

    rise = float(chdtri(1, 1 - confidence))

    def above(at: float) -> float:
        return criterion(at) - least - rise

    limits: list[float | None] = []
    xtol = 1e-9 * (searched[1] - searched[0])
    for end in searched:
        reached = abs(end - shape) > 0 and above(end) > 0
        limits.append(float(brentq(above, *sorted((end, shape)), xtol=xtol, rtol=1e-9)) if reached else None)
    return limits[0], limits[1]


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
        variances=pd.Series(found.point.variances[0] * scale**2, index=list(profile.model.variance_names)),
        minus_2_log_likelihood=found.criterion,
    )
