"""One response through the mixed model: variances, tests, means, comparisons with the current practice."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import ndtr

from trialkit.analysis.censored import CensoredFit, DaysNotBounded
from trialkit.analysis.checks import diagnose, model_checks
from trialkit.analysis.derived_model import DerivedModel
from trialkit.analysis.diagnostics import bucket_residuals, is_uneven, scale_of, site_spread
from trialkit.analysis.fitting import Fits, fit_days, fit_response
from trialkit.analysis.gardens import new_garden_limits
from trialkit.documents.findings import (
    BucketMean,
    Check,
    Comparison,
    Equivalence,
    FittedModel,
    LevelMean,
    Mean,
    Pair,
    ResponseResult,
    SiteMean,
    Test,
    Variance,
)
from trialkit.domain.rounding import TIE_DECIMALS
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit, MixedModelError, NotConverged, NotEstimable, NoVariation
from trialkit.mixed.comparisons import Adjustment
from trialkit.words.treatments import treatment_words

TOO_SMALL = "too small to measure"
AnyFit = MixedFit | CensoredFit


@dataclass(frozen=True)
class Question:
    """What is asked of a response.

    Attributes
    ----------
    response, label, unit, of : str
        Column of the data; its name and unit for people; which heads it is of.
    treatments : pandas.DataFrame
        The combinations of the protocol, varied columns only, in factorial order; index is the joint label.
    current : str
        Joint label of the current practice.
    confidence : float
    margin : float
        Difference that does not matter, in the response's unit: for tests of equivalence; nil where none is asked for.
    seed : int
        Of the band that residuals are set beside.
    all_pairs : bool
        Whether every pair of treatments is compared.
    checked : bool
        Whether the model is checked.
    in_short : bool
        Whether nothing is wanted but the comparisons, each by itself.
    """

    response: str
    label: str
    unit: str
    of: str
    treatments: pd.DataFrame
    current: str
    confidence: float
    margin: float = 0.0
    seed: int = 0
    all_pairs: bool = False
    checked: bool = True
    in_short: bool = False

    def treatment(self, label: str) -> Treatment:
        """Levels of a combination by column."""
        return Treatment.of(self.treatments.loc[label])


@dataclass(frozen=True)
class Answered:
    """A response with what its answer rests on.

    Attributes
    ----------
    result : ResponseResult
    rows : pandas.DataFrame
    model : DerivedModel or None
        None, as the fits are, where it was not analysed.
    fits : Fits or None
    """

    result: ResponseResult
    rows: pd.DataFrame
    model: DerivedModel | None = None
    fits: Fits | None = None


def not_analysed(question: Question, rows: pd.DataFrame, reason: str) -> Answered:
    """Return a response without an answer, and why."""
    return Answered(ResponseResult(question.label, question.unit, question.of, "not analysed", reason), rows)


def analyse_response(
    question: Question,
    heads: pd.DataFrame,
    model: DerivedModel,
    days_seed: int | None = None,
) -> Answered:
    """Fit and summarise one response.

    Parameters
    ----------
    question : Question
    heads : pandas.DataFrame
        One row a head that has the response, with bucket, site, block, treatment columns and the joint ``treatment``.
    model : DerivedModel
    days_seed : int, optional
        Of the draws between the visits, where the response is days and rows have ``lower`` and ``upper``.
    """
    if heads["treatment"].nunique() < 2:
        return not_analysed(question, heads, "Only one treatment has a harvested head, so there is nothing to compare.")
    try:
        if days_seed is None:
            fits = _fit_evenly(question.response, heads, model)
        else:
            fits = fit_days(question.response, heads, model, days_seed)
            heads = fits.rows
        if question.in_short:
            comparisons = _comparisons(question, fits.joint, heads)
            result = ResponseResult(
                question.label, question.unit, question.of, "analysed", None, comparisons=comparisons
            )
            return Answered(result, heads, fits.model, fits)
        return _summary(question, heads, fits)
    except MixedModelError as error:
        reason = f"{_in_plain_words(error, heads, question)} (For a statistician: {error})"
        return not_analysed(question, heads, reason)


def _fit_evenly(response: str, heads: pd.DataFrame, model: DerivedModel) -> Fits:
    """Fit a response; where like buckets vary too unlike from garden to garden, with a variance for each."""
    fits = fit_response(response, heads, model)
    if heads["site"].nunique() < 2 or not is_uneven(site_spread(bucket_residuals(heads, response))):
        return fits
    try:
        by_site = fit_response(response, heads, model.with_spread_by_site())
    except MixedModelError:
        return fits
    return by_site if by_site.settled else fits


def _in_plain_words(error: MixedModelError, heads: pd.DataFrame, question: Question) -> str:
    """Say what the engine's refusal means for the trial, and what would mend it."""
    if isinstance(error, DaysNotBounded) and error.term == "treatment":
        names = " and of ".join(treatment_words(question.treatment(level)) for level in error.levels)
        return (
            f"Every head of {names} {error.what}, so nobody knows how long it takes, and days are not compared. Look "
            "earlier, or go on longer, next time."
        )
    if heads.groupby("treatment", observed=True)["bucket"].nunique().max() < 2:
        return (
            "No treatment has more than one bucket with a record, so a difference between treatments cannot be told "
            "from one between buckets: each treatment needs two buckets or more."
        )
    if isinstance(error, NotConverged):
        return "The variation between gardens, blocks and buckets could not be estimated from these records."
    if isinstance(error, NoVariation):
        return "These records leave no variation to judge by: too few differ, or they follow the treatments exactly."
    return "The records cannot tell the treatments apart from the gardens, blocks or buckets that they stood in."


def _summary(question: Question, heads: pd.DataFrame, fits: Fits) -> Answered:
    model = fits.model
    effects = fits.crossed.anova().drop(index=list(model.nuisance))
    tests, comparisons = _tests(effects), _comparisons(question, fits.joint, heads)
    scale = scale_of(fits.joint) if isinstance(fits.joint, MixedFit) and question.checked else None
    checks: tuple[Check, ...] = ()
    if question.checked:
        error_df = _error_df(tests, comparisons)
        checks = model_checks(heads, question.response, question.unit, error_df, scale)
    result = ResponseResult(
        label=question.label,
        unit=question.unit,
        of=question.of,
        status="analysed",
        reason=None,
        model=_fitted_model(fits, heads, effects),
        variances=_variances(fits.crossed, model),
        tests=tests,
        means=_means(question, fits.joint, heads),
        marginal_means=_marginal_means(question, fits.crossed, model),
        comparisons=comparisons,
        buckets=_buckets(question, heads),
        site_means=_site_means(question, heads),
        checks=checks,
        diagnostics=diagnose(heads, question.response, scale, question.seed) if question.checked else None,
        pairs=_pairs(question, fits.joint) if question.all_pairs else (),
    )
    return Answered(result, heads, model, fits)


def _fitted_model(fits: Fits, heads: pd.DataFrame, effects: pd.DataFrame) -> FittedModel:
    fit = fits.crossed
    statements = [*fits.model.notes, *_missing_tests(fit, effects)]
    return FittedModel(
        formula=fit.formula,
        random=fits.model.random,
        bounds=fits.bounds,
        iterations=int(fit.record.iterations[0]),
        criterion=fit.criterion if math.isfinite(fit.criterion) else None,
        observations=fit.model.heads,
        buckets=heads["bucket"].nunique(),
        statements=tuple(statements),
    )


def _variances(fit: AnyFit, model: DerivedModel) -> tuple[Variance, ...]:
    return tuple(
        Variance(
            term=str(term),
            label=model.label(str(term)),
            variance=float(value),
            sd=float(np.sqrt(value)) if value > 0 else None,
            statement=None if value > 0 else TOO_SMALL,
        )
        for term, value in fit.variances.items()
    )


def _tests(table: pd.DataFrame) -> tuple[Test, ...]:
    table = table.dropna()
    return tuple(
        Test(
            term=str(term),
            label=_effect_label(str(term)),
            f=float(row["f"]),
            numerator_df=int(row["numerator_df"]),
            denominator_df=float(row["denominator_df"]),
            p=float(row["p"]),
        )
        for term, row in table.iterrows()
    )


def _missing_tests(fit: AnyFit, effects: pd.DataFrame) -> Iterator[str]:
    """Name the effects that missing combinations leave untested, in whole or in part."""
    factors = fit.model.fixed.factors
    for term, reached in effects["numerator_df"].items():
        full = math.prod(len(factors[column]) - 1 for column in str(term).split(":"))
        if reached < full:
            effect = _effect_label(str(term))
            tested = f"tested only in part ({reached:.0f} of {full} degrees of freedom)" if reached else "not tested"
            yield f"The effect of {effect} was {tested}: some combinations were never tried or all lost."


def _error_df(tests: Sequence[Test], comparisons: Sequence[Comparison]) -> tuple[str, float]:
    """Effect or comparison with the fewest degrees of freedom for error, which the trial knows least about."""
    found = [(test.label, test.denominator_df) for test in tests]
    found += [(f"{treatment_words(row.treatment)} against the current practice", row.df) for row in comparisons]
    return min(found, key=lambda one: round(one[1], TIE_DECIMALS))


def _effect_label(term: str) -> str:
    return " by ".join(column.removesuffix("_tsp") for column in term.split(":"))


def _means(question: Question, fit: AnyFit, heads: pd.DataFrame) -> tuple[Mean, ...]:
    counts = (
        _head_counts(heads).groupby("treatment", observed=True).agg(buckets=("bucket", "nunique"), heads=("n", "sum"))
    )
    table = fit.means("treatment", confidence=question.confidence)
    elsewhere = {}
    if isinstance(fit, MixedFit):
        gardens, columns = heads["site"].nunique(), list(question.treatments.columns)
        elsewhere = new_garden_limits(fit, columns, gardens, question.confidence)
    return tuple(
        Mean(
            treatment=question.treatment(str(label)),
            **_numbers(row, "mean", "se", "df", "lower", "upper"),
            buckets=int(counts.loc[label, "buckets"]),
            heads=int(counts.loc[label, "heads"]),
            new_garden=elsewhere.get(str(label)),
        )
        for label, row in table.iterrows()
    )


def _head_counts(rows: pd.DataFrame) -> pd.DataFrame:
    """Add ``n``, the heads that each row stands for: one, or the recorded heads of a bucket."""
    return rows.assign(n=rows.get("recorded", 1))


def _marginal_means(question: Question, fit: AnyFit, model: DerivedModel) -> dict[str, tuple[LevelMean, ...]]:
    result = {}
    for column in model.treatment:
        try:
            table = fit.means(column, confidence=question.confidence)
        except NotEstimable:
            continue
        result[column] = tuple(
            LevelMean(level=level, **_numbers(row, "mean", "se", "df", "lower", "upper"))
            for level, row in table[table["estimable"]].iterrows()
        )
    return result


def _comparisons(question: Question, fit: AnyFit, heads: pd.DataFrame) -> tuple[Comparison, ...]:
    if question.current not in fit.model.fixed.factors["treatment"]:
        return ()
    adjust: Adjustment = "none" if question.in_short else "dunnett"
    table = fit.compare("treatment", "versus", question.current, adjust, confidence=question.confidence)
    alike = None
    if question.margin > 0:
        alike = fit.equivalence(
            "treatment", question.margin, "versus", question.current, confidence=question.confidence
        )
    sd = _bucket_sd(fit, heads)
    return tuple(
        Comparison(
            treatment=question.treatment(str(label)),
            difference=float(row["estimate"]),
            **_numbers(row, "se", "df", "lower", "upper", "p"),
            share_of_pairs=share_of_pairs(float(row["estimate"]), sd),
            equivalence=None if alike is None else _equivalence(alike.loc[label]),
        )
        for label, row in table.iterrows()
    )


def _equivalence(row: pd.Series) -> Equivalence:
    return Equivalence(float(row["lower"]), float(row["upper"]), float(row["p"]), bool(row["equivalent"]))


def _pairs(question: Question, fit: AnyFit) -> tuple[Pair, ...]:
    """Every pair of treatments, with Tukey and Kramer's limits."""
    table = fit.compare("treatment", "all-pairs", confidence=question.confidence)
    return tuple(
        Pair(
            question.treatment(str(first)),
            question.treatment(str(second)),
            difference=float(row["estimate"]),
            **_numbers(row, "se", "df", "lower", "upper", "p"),
        )
        for (first, second), row in table.iterrows()
    )


def _bucket_sd(fit: AnyFit, heads: pd.DataFrame) -> float:
    """Standard deviation of the mean of a bucket among like buckets side by side, of the trial's usual size."""
    if "bucket" not in fit.names:
        residual = fit.variances.iloc[len(fit.model.terms) :]  # one, or one for each garden
        return math.sqrt(max(float(residual.mean()), 0.0))
    sizes = heads.groupby("bucket").size()
    return math.sqrt(max(fit.variances["bucket"] + fit.variances["residual"] * (1 / sizes).mean(), 0.0))


def share_of_pairs(difference: float, sd: float) -> float | None:
    """Share of pairs of buckets in which one treatment is ahead: the common language effect size.

    McGraw & Wong (1992), Psychol. Bull. 111, 361-365.

    Parameters
    ----------
    difference : float
        Of the treatments' means.
    sd : float
        Between buckets treated alike, in the same unit.

    Returns
    -------
    float or None
        None where buckets treated alike do not differ.
    """
    return float(ndtr(difference / sd / math.sqrt(2))) if sd > 0 else None


def _numbers(row: pd.Series, *columns: str) -> Mapping[str, float]:
    return {column: float(row[column]) for column in columns}


def _buckets(question: Question, heads: pd.DataFrame) -> tuple[BucketMean, ...]:
    grouped = _head_counts(heads).groupby(["bucket", "site", "block", "treatment"], observed=True, sort=True)
    table = grouped.agg(mean=(question.response, "mean"), count=("n", "sum"))
    treatments = {label: question.treatment(str(label)) for label in table.index.unique("treatment")}
    return tuple(
        BucketMean(str(bucket), str(site), str(block), treatments[label], float(mean), int(count))
        for (bucket, site, block, label), mean, count in table.itertuples()
    )


def _site_means(question: Question, heads: pd.DataFrame) -> tuple[SiteMean, ...]:
    by_bucket = heads.groupby(["site", "treatment", "bucket"], observed=True)[question.response].mean()
    grouped = by_bucket.groupby(["site", "treatment"], observed=True).agg(["mean", "size"])
    return tuple(
        SiteMean(str(site), question.treatment(str(label)), float(mean), int(size))
        for (site, label), mean, size in grouped.itertuples()
    )
