"""Dose response: five curves weighed against each other, and the dose that is enough, within the range tried."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.analysis.derived_model import DerivedModel
from trialkit.analysis.draws import symmetric_root
from trialkit.documents.findings import (
    DoseAnswer,
    DoseBasis,
    DoseCurve,
    DoseGroup,
    DosePoint,
    EffectTest,
    Interval,
    RecommendedDose,
)
from trialkit.domain.thresholds import FEWEST_CURVE_DOSES
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit, MixedModelError, fit_curves, fit_mixed
from trialkit.mixed.curves import Curve, CurveFit, curve_basis, shapes_searched

FloatArray = NDArray[np.float64]

DRAWS = 4_000
SHAPES = 121
DOSES = 241
"""Doses at which a curve is read, evenly over the range tried."""
DOSE = "dose_tsp"
DIFFER_P = 0.05
"""Below this p the curves of a factor's levels are fitted apart (common practice, no source)."""
QUARTER = 0.25
POINTS = 25


@dataclass(frozen=True)
class DoseQuestion:
    """What is asked of the doses.

    Attributes
    ----------
    response : str
        Column of the data.
    share : float
        Of the attainable gain, that the recommended dose is to reach.
    confidence : float
    worth, cost_tsp : float or None
        Worth of a unit of the response and cost of a teaspoon of nutrient; None where no net return can be calculated.
    seed : int
    """

    response: str
    share: float
    confidence: float
    worth: float | None
    cost_tsp: float | None
    seed: int


ModelOf = Callable[[pd.DataFrame, Sequence[str]], DerivedModel]


def dose_response(
    question: DoseQuestion, rows: pd.DataFrame, factors: Sequence[str], tests: Sequence[EffectTest], model_of: ModelOf
) -> DoseAnswer:
    """Fit dose curves to a response and say which dose is enough.

    One curve for all, or one for each level of the factors whose levels respond differently to the dose
    (Kenward-Roger's F test of the interaction, which depends on no curve); those are fitted to their own rows, with
    variances of their own.

    Parameters
    ----------
    question : DoseQuestion
    rows : pandas.DataFrame
        One row a head or a bucket: what the response was fitted to.
    factors : sequence of str
        Columns of the varied factors, the dose among them.
    tests : sequence of EffectTest
        Of the effects of the factors.
    model_of : callable
        Derives the model of some of the rows and factors from how the trial was randomised.
    """
    doses = tuple(sorted(float(dose) for dose in rows[DOSE].unique()))
    of_dose = tuple(test for test in tests if DOSE in test.term.split(":"))
    if len(doses) < FEWEST_CURVE_DOSES:
        return DoseAnswer("not fitted", "too_few_doses", None, doses, question.share, (), of_dose, ())
    apart = _apart(of_dose)
    try:
        groups = tuple(_groups(question, rows, factors, apart, model_of))
    except MixedModelError as error:
        return DoseAnswer("not fitted", "not_told_apart", str(error), doses, question.share, (), of_dose, ())
    return DoseAnswer("fitted", None, None, doses, question.share, apart, of_dose, groups)


def _apart(tests: Sequence[EffectTest]) -> tuple[str, ...]:
    """Factors whose levels respond differently to the dose."""
    pairs = {test.term: test.p for test in tests if test.term.count(":") == 1}
    return tuple(column for term, p in pairs.items() if p < DIFFER_P for column in term.split(":") if column != DOSE)


def _groups(
    question: DoseQuestion, rows: pd.DataFrame, factors: Sequence[str], apart: Sequence[str], model_of: ModelOf
) -> Iterator[DoseGroup]:
    if not apart:
        yield _group(question, rows, [f for f in factors if f != DOSE], Treatment(), model_of)
        return
    for levels, some in rows.groupby(list(apart), observed=True, sort=True):
        treatment = dict(zip(apart, levels if isinstance(levels, tuple) else (levels,), strict=True))
        kept = some.copy()
        for column in kept.select_dtypes("category"):
            kept[column] = kept[column].cat.remove_unused_categories()
        others = [f for f in factors if f != DOSE and f not in apart and kept[f].nunique() > 1]
        if kept[DOSE].nunique() >= FEWEST_CURVE_DOSES:
            yield _group(question, kept, others, Treatment.of(treatment), model_of)


def _group(
    question: DoseQuestion, rows: pd.DataFrame, others: Sequence[str], treatment: Treatment, model_of: ModelOf
) -> DoseGroup:
    """Fit the curves of one group of rows and read the recommended doses off them."""
    model = model_of(rows, [*others, DOSE])
    rest = " + ".join([*model.nuisance, *(["*".join(others)] if others else [])]) or "1"
    fit = _additive(rows, question.response, rest, model)
    fits = fit_curves(rows, f"{question.response} ~ {rest}", DOSE, model.random, confidence=question.confidence)
    weights = akaike_weights(fits, rows["bucket"].nunique())
    found = dose_means(fit)
    curves = draw_curves(found, weights, question.seed)
    test = fit.anova().loc[DOSE]
    shown = bool(test["p"] < 1 - question.confidence)
    recommended = tuple(_recommended(question, curves, found)) if shown else ()
    return DoseGroup(
        treatment=treatment,
        curves=tuple(_curve(one, weights[one.curve], rows["bucket"].nunique()) for one in fits),
        points=tuple(_points(question, curves)),
        gain=_gain(curves, question),
        p=float(test["p"]),
        recommended=recommended,
        levels_off=_levels_off(fits),
    )


def _additive(rows: pd.DataFrame, response: str, rest: str, model: DerivedModel) -> MixedFit:
    """Dose as a factor beside the rest, without interactions: variances that no curve has to answer for."""
    formula = f"{response} ~ {rest} + {DOSE}"
    try:
        return fit_mixed(rows, formula, model.random, bounds="strata")
    except MixedModelError:
        return fit_mixed(rows, formula, model.random)


def dose_means(fit: MixedFit) -> DoseMeans:
    """Means of the doses with their covariance, from a fit with the dose as a factor."""
    table = fit.means(DOSE)
    levels = list(table.index)
    df = fit.compare(DOSE, adjust="none")["df"].min()
    return DoseMeans(
        np.array([float(level) for level in levels]),
        table["mean"].to_numpy(float),
        fit.mean_covariance(DOSE).loc[levels, levels].to_numpy(float),
        float(df),
    )


def akaike_weights(fits: Sequence[CurveFit], buckets: int) -> dict[Curve, float]:
    """Weights from Akaike's criterion with its small-sample term, n being the buckets; they add up to 1."""
    criteria = np.array([fit.aicc(buckets) for fit in fits])
    if not np.isfinite(criteria).any():
        criteria = np.array([fit.minus_2_log_likelihood for fit in fits])
    raw = np.exp(-(criteria - criteria.min()) / 2)
    return {fit.curve: float(weight) for fit, weight in zip(fits, raw / raw.sum(), strict=True)}


def _curve(fit: CurveFit, weight: float, buckets: int) -> DoseCurve:
    aicc = fit.aicc(buckets)
    return DoseCurve(fit.curve, weight, aicc, fit.shape, fit.shape_lower, fit.shape_upper, fit.at_end)


def _points(question: DoseQuestion, curves: DrawnCurves) -> Iterator[DosePoint]:
    tail = (1 - question.confidence) / 2
    lower, upper = np.quantile(curves.drawn, [tail, 1 - tail], axis=0)
    for i in np.linspace(0, len(curves.grid) - 1, POINTS).round().astype(int):
        yield DosePoint(float(curves.grid[i]), float(curves.averaged[i]), float(lower[i]), float(upper[i]))


def _gain(curves: DrawnCurves, question: DoseQuestion) -> Interval:
    """Attainable gain over the lowest dose: estimate and limits."""
    tail = (1 - question.confidence) / 2
    gains = curves.drawn.max(1) - curves.drawn[:, 0]
    low, high = np.quantile(gains, [tail, 1 - tail])
    return Interval(float((curves.averaged - curves.averaged[0]).max()), float(low), float(high))


def _recommended(question: DoseQuestion, curves: DrawnCurves, found: DoseMeans) -> Iterator[RecommendedDose]:
    one = curves.averaged[None]
    yield _with_limits(
        "share of gain",
        dose_reaching(one, curves.grid, question.share),
        dose_reaching(curves.drawn, curves.grid, question.share),
        question,
        found,
    )
    if question.worth is not None and question.cost_tsp is not None:
        price = question.worth, question.cost_tsp
        yield _with_limits(
            "net return",
            dose_of_greatest_return(one, curves.grid, *price),
            dose_of_greatest_return(curves.drawn, curves.grid, *price),
            question,
            found,
        )


def _with_limits(
    basis: DoseBasis, estimate: np.ndarray, drawn: np.ndarray, question: DoseQuestion, found: DoseMeans
) -> RecommendedDose:
    tail = (1 - question.confidence) / 2
    lower, upper = np.quantile(drawn, [tail, 1 - tail])
    lowest, highest = found.doses[0], found.doses[-1]
    dose, step = float(estimate[0]), (highest - lowest) / 240
    return RecommendedDose(
        basis=basis,
        dose_tsp=dose,
        lower_tsp=float(lower),
        upper_tsp=float(upper),
        spoons_tsp=float(min(np.ceil((dose - 1e-9) / QUARTER) * QUARTER, highest)),
        reaches_lowest=bool(lower <= lowest + step),
        reaches_highest=bool(upper >= highest - step),
    )


def _levels_off(fits: Sequence[CurveFit]) -> bool:
    """Whether the most likely curve bends, and some curve's shape lies within those looked at."""
    best = max(fits, key=lambda fit: -fit.minus_2_log_likelihood)
    return best.curve != "linear" and not all(fit.at_end for fit in fits if fit.shape is not None)


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
