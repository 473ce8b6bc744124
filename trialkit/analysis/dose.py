"""Dose response: five curves weighed against each other, and the dose that is enough, within the range tried."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit._percent import in_percent
from trialkit.analysis.derived_model import DerivedModel
from trialkit.analysis.dose_draws import (
    DoseMeans,
    DrawnCurves,
    dose_of_greatest_return,
    dose_reaching,
    draw_curves,
)
from trialkit.documents.findings import DoseAnswer, DoseCurve, DoseGroup, DosePoint, RecommendedDose, Test
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit, MixedModelError, fit_curves, fit_mixed
from trialkit.mixed.curves import FEWEST_DOSES, Curve, CurveFit
from trialkit.words.measures import spoons, teaspoons
from trialkit.words.phrases import number, p_value

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
    response, unit : str
        Column of the data, and its unit for people.
    share : float
        Of the attainable gain, that the recommended dose is to reach.
    confidence : float
    worth, cost_tsp : float or None
        Worth of a unit of the response and cost of a teaspoon of nutrient; None where no net return can be reckoned.
    seed : int
    """

    response: str
    unit: str
    share: float
    confidence: float
    worth: float | None
    cost_tsp: float | None
    seed: int


ModelOf = Callable[[pd.DataFrame, Sequence[str]], DerivedModel]


def dose_response(
    question: DoseQuestion, rows: pd.DataFrame, factors: Sequence[str], tests: Sequence[Test], model_of: ModelOf
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
    tests : sequence of Test
        Of the effects of the factors.
    model_of : callable
        Derives the model of some of the rows and factors from how the trial was randomised.
    """
    doses = tuple(sorted(float(dose) for dose in rows[DOSE].unique()))
    of_dose = tuple(test for test in tests if DOSE in test.term.split(":"))
    if len(doses) < FEWEST_DOSES:
        return DoseAnswer("not fitted", too_few(doses), doses, question.share, (), of_dose, "", ())
    apart = _apart(of_dose)
    try:
        groups = tuple(_groups(question, rows, factors, apart, model_of))
    except MixedModelError as error:
        reason = f"The records cannot tell the curves apart. (For a statistician: {error})"
        return DoseAnswer("not fitted", reason, doses, question.share, (), of_dose, "", ())
    return DoseAnswer("fitted", None, doses, question.share, apart, of_dose, _differ(of_dose, apart), groups)


def too_few(doses: Sequence[float]) -> str:
    """What fewer than four doses can't tell."""
    tried = f"{', '.join(spoons(dose) for dose in doses[:-1])} and {teaspoons(doses[-1])}"
    if len(doses) == 2:
        return (
            f"Only two doses were tried, {tried}: they tell which of the two is better, but nothing of the doses "
            "between them or beyond."
        )
    return (
        f"Only three doses were tried, {tried}: a plateau cannot be told from a curve, so no dose is recommended but "
        f"one of those tried. {FEWEST_DOSES} doses or more could tell."
    )


def _apart(tests: Sequence[Test]) -> tuple[str, ...]:
    """Factors whose levels respond differently to the dose."""
    pairs = {test.term: test.p for test in tests if test.term.count(":") == 1}
    return tuple(column for term, p in pairs.items() if p < DIFFER_P for column in term.split(":") if column != DOSE)


def _differ(tests: Sequence[Test], apart: Sequence[str]) -> str:
    """Say for each other factor whether its levels need curves of their own."""
    said = []
    for test in tests:
        if test.term.count(":") != 1:
            continue
        (other,) = (column for column in test.term.split(":") if column != DOSE)
        name = other.removesuffix("_tsp")
        if other in apart:
            said.append(f"The response to the dose differs by {name} ({p_value(test.p)}): each has its own curve.")
        else:
            said.append(
                f"No difference between the responses of each {name} to the dose was shown ({p_value(test.p)}): one "
                "curve serves all."
            )
    return " ".join(said)


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
        if kept[DOSE].nunique() >= FEWEST_DOSES:
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
        statements=tuple(_statements(question, curves, found, fits, recommended, float(test["p"]))),
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


def _gain(curves: DrawnCurves, question: DoseQuestion) -> tuple[float, float, float]:
    """Attainable gain over the lowest dose: estimate and limits."""
    tail = (1 - question.confidence) / 2
    gains = curves.drawn.max(1) - curves.drawn[:, 0]
    low, high = np.quantile(gains, [tail, 1 - tail])
    return float((curves.averaged - curves.averaged[0]).max()), float(low), float(high)


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
    basis: str, estimate: np.ndarray, drawn: np.ndarray, question: DoseQuestion, found: DoseMeans
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


def _statements(
    question: DoseQuestion,
    curves: DrawnCurves,
    found: DoseMeans,
    fits: Sequence[CurveFit],
    recommended: Sequence[RecommendedDose],
    p: float,
) -> Iterator[str]:
    """Say what the curves tell, and what they don't."""
    estimate, low, high = _gain(curves, question)
    lowest, highest = found.doses[0], found.doses[-1]
    if not recommended:
        yield (
            f"No effect of the dose was shown between {spoons(lowest)} and {teaspoons(highest)} ({p_value(p)}), so the "
            "curve recommends none: as far as this trial can tell, the lowest serves as well."
        )
        return
    for dose in recommended:
        why = (
            f"the smallest that reaches {in_percent(question.share)} of the gain that can be had"
            if dose.basis == "share of gain"
            else "the one of greatest return after the cost of the nutrient"
        )
        yield (
            f"The curve recommends {teaspoons(dose.spoons_tsp)} a bucket, {why} within the range tried "
            f"({number(question.confidence * 100)} % interval {number(dose.lower_tsp, 2)} to "
            f"{number(dose.upper_tsp, 2)} teaspoons)."
        )
        if dose.reaches_highest:
            yield "The interval reaches the highest dose tried: whether more would be better still is not known."
        if dose.reaches_lowest:
            yield "The interval reaches the lowest dose tried: whether less would do is not known."
    yield (
        f"From {teaspoons(lowest)} to the best dose the gain is {number(estimate)} {question.unit} "
        f"({number(low)} to {number(high)})."
    )
    best = max(fits, key=lambda fit: -fit.minus_2_log_likelihood)
    if best.curve == "linear" or all(fit.at_end for fit in fits if fit.shape is not None):
        yield "No levelling off was seen within the range tried."
