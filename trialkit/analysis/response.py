"""One response through the mixed model: variances, tests, means, comparisons with the current practice."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import pandas as pd
from scipy.special import ndtr

from trialkit.analysis.checks import (
    bucket_residuals,
    diagnose,
    is_uneven,
    model_checks,
    replication_check,
    scale_of,
    site_spread,
)
from trialkit.analysis.derived_model import DerivedModel
from trialkit.analysis.fitting import Fits, fit_days, fit_response
from trialkit.analysis.gardens import new_garden_limits
from trialkit.analysis.own_days import own_days
from trialkit.documents.findings import (
    BucketMean,
    Check,
    Comparison,
    EffectTest,
    Equivalence,
    FittedModel,
    LevelMean,
    Mean,
    NotAnalysed,
    Pair,
    PartlyTested,
    ReplicationCheck,
    ResponseName,
    ResponseResult,
    SiteMean,
    Variance,
)
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit, MixedModelError, NotConverged, NotEstimable, NoVariation
from trialkit.mixed.censored import CensoredFit, DaysNotBounded
from trialkit.mixed.comparisons import Adjustment

AnyFit = MixedFit | CensoredFit


@dataclass(frozen=True)
class Question:
    """What is asked of a response."""

    # Column of the data, and its unit.
    response: ResponseName
    unit: str
    treatments: Annotated[
        pd.DataFrame,
        "The combinations of the protocol, varied columns only, in factorial order; index is the joint label.",
    ]
    current: Annotated[str, "Joint label of the current practice."]
    confidence: float
    margin: Annotated[
        float,
        "Difference that does not matter, in the response's unit: for tests of equivalence; nil where none is asked "
        "for.",
    ] = 0.0
    seed: Annotated[int, "Of the band that residuals are set beside."] = 0
    all_pairs: Annotated[bool, "Whether every pair of treatments is compared."] = False
    checked: Annotated[bool, "Whether the model is checked."] = True
    in_short: Annotated[bool, "Whether nothing is wanted but the comparisons, each by itself."] = False

    def treatment(self, label: str) -> Treatment:
        """Levels of a combination by column."""
        return Treatment.of(self.treatments.loc[label])


@dataclass(frozen=True)
class Answered:
    """A response with what its answer rests on."""

    result: ResponseResult
    rows: pd.DataFrame
    model: Annotated[DerivedModel | None, "None, as the fits are, where it was not analysed."] = None
    fits: Fits | None = None


def not_analysed(question: Question, rows: pd.DataFrame, why: NotAnalysed) -> Answered:
    """Return a response without an answer, and why."""
    return Answered(ResponseResult(question.response, question.unit, "not analysed", why), rows)


def analyse_response(
    question: Question,
    heads: pd.DataFrame,
    model: DerivedModel,
    days_seed: int | None = None,
) -> Answered:
    """Fit and summarise one response.

    Heads have the response, bucket, site, block, treatment columns and the joint ``treatment``. The seed is that of the
    draws between visits, where the response is days and rows have ``lower`` and ``upper``.
    """
    if heads["treatment"].nunique() < 2:
        return not_analysed(question, heads, NotAnalysed("one_treatment"))
    own = None
    try:
        if days_seed is None:
            fits = _fit_evenly(question.response, heads, model)
        else:
            fits = fit_days(question.response, heads, model, days_seed)
            own = _own_days(heads, fits) if question.response == "days" else None
            heads = fits.rows
        if question.in_short:
            comparisons = _comparisons(question, fits.joint, heads)
            result = ResponseResult(question.response, question.unit, "analysed", None, comparisons=comparisons)
            return Answered(result, heads, fits.model, fits)
        return _summary(question, heads, fits, own)
    except MixedModelError as error:
        return not_analysed(question, heads, _why(error, heads, question))


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


def _why(error: MixedModelError, heads: pd.DataFrame, question: Question) -> NotAnalysed:
    """What the engine's refusal means for the trial."""
    if isinstance(error, DaysNotBounded) and error.term == "treatment":
        treatments = tuple(question.treatment(level) for level in error.levels)
        return NotAnalysed("never_ready" if error.late else "ready_at_once", treatments, str(error))
    if heads.groupby("treatment", observed=True)["bucket"].nunique().max() < 2:
        return NotAnalysed("one_bucket_each", technical=str(error))
    if isinstance(error, NotConverged):
        return NotAnalysed("not_settled", technical=str(error))
    return NotAnalysed("no_variation" if isinstance(error, NoVariation) else "confounded", technical=str(error))


def _own_days(heads: pd.DataFrame, fits: Fits) -> pd.DataFrame:
    if isinstance(fits.joint, CensoredFit):
        return own_days(fits.rows, fits.joint.days)
    return own_days(heads, heads["upper"].to_numpy(float)[None])


def _summary(question: Question, heads: pd.DataFrame, fits: Fits, own: pd.DataFrame | None) -> Answered:
    model = fits.model
    effects = fits.crossed.anova().drop(index=list(model.nuisance))
    tests, comparisons = _tests(effects), _comparisons(question, fits.joint, heads)
    scale = scale_of(fits.joint) if isinstance(fits.joint, MixedFit) and question.checked else None
    checks: tuple[Check, ...] = ()
    if question.checked:
        checks = model_checks(heads, question.response, _replication(tests, comparisons), scale)
    result = ResponseResult(
        name=question.response,
        unit=question.unit,
        status="analysed",
        not_analysed=None,
        model=_fitted_model(fits, heads, effects),
        variances=_variances(fits.crossed),
        tests=tests,
        means=_means(question, fits.joint, heads),
        marginal_means=_marginal_means(question, fits.crossed, model),
        comparisons=comparisons,
        buckets=_buckets(question, heads, own),
        site_means=_site_means(question, heads),
        checks=checks,
        diagnostics=diagnose(heads, question.response, scale, question.seed) if question.checked else None,
        pairs=_pairs(question, fits.joint) if question.all_pairs else (),
    )
    return Answered(result, heads, model, fits)


def _fitted_model(fits: Fits, heads: pd.DataFrame, effects: pd.DataFrame) -> FittedModel:
    fit = fits.crossed
    return FittedModel(
        formula=fit.formula,
        random=fits.model.random,
        residual=fits.model.residual,
        bounds=fits.bounds,
        iterations=int(fit.record.iterations[0]),
        criterion=fit.criterion if math.isfinite(fit.criterion) else None,
        observations=fit.model.heads,
        buckets=heads["bucket"].nunique(),
        notes=fits.model.notes,
        partly_tested=tuple(_partly_tested(fit, effects)),
    )


def _variances(fit: AnyFit) -> tuple[Variance, ...]:
    return tuple(
        Variance(term=str(term), variance=float(value), sd=float(np.sqrt(value)) if value > 0 else None)
        for term, value in fit.variances.items()
    )


def _tests(table: pd.DataFrame) -> tuple[EffectTest, ...]:
    table = table.dropna()
    return tuple(
        EffectTest(
            term=str(term),
            f=float(row["f"]),
            numerator_df=int(row["numerator_df"]),
            denominator_df=float(row["denominator_df"]),
            p=float(row["p"]),
        )
        for term, row in table.iterrows()
    )


def _partly_tested(fit: AnyFit, effects: pd.DataFrame) -> Iterator[PartlyTested]:
    """Effects that missing combinations leave untested, in whole or in part."""
    factors = fit.model.fixed.factors
    for term, reached in effects["numerator_df"].items():
        full = math.prod(len(factors[column]) - 1 for column in str(term).split(":"))
        if reached < full:
            yield PartlyTested(str(term), int(reached), full)


def _replication(tests: Sequence[EffectTest], comparisons: Sequence[Comparison]) -> ReplicationCheck | None:
    effects: dict[str | Treatment, float] = {test.term: test.denominator_df for test in tests}
    return replication_check(effects | {row.treatment: row.df for row in comparisons})


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
            probability_of_superiority=probability_of_superiority(float(row["estimate"]), sd),
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


def probability_of_superiority(difference: float, sd: float) -> float | None:
    """Share of pairs of buckets in which one treatment is ahead: the common language effect size.

    McGraw & Wong (1992), Psychol. Bull. 111, 361-365.

    Of the means' difference and the standard deviation between buckets treated alike, in one unit; None where they do
    not differ.
    """
    return float(ndtr(difference / sd / math.sqrt(2))) if sd > 0 else None


def _numbers(row: pd.Series, *columns: str) -> Mapping[str, float]:
    return {column: float(row[column]) for column in columns}


def _buckets(question: Question, heads: pd.DataFrame, own: pd.DataFrame | None) -> tuple[BucketMean, ...]:
    told = {} if own is None else {str(bucket): (mean, se) for bucket, mean, se in own.itertuples()}
    grouped = _head_counts(heads).groupby(["bucket", "site", "block", "treatment"], observed=True, sort=True)
    table = grouped.agg(mean=(question.response, "mean"), count=("n", "sum"))
    treatments = {label: question.treatment(str(label)) for label in table.index.unique("treatment")}
    return tuple(
        BucketMean(
            str(bucket), str(site), str(block), treatments[label], float(mean), int(count), *told.get(str(bucket), ())
        )
        for (bucket, site, block, label), mean, count in table.itertuples()
    )


def _site_means(question: Question, heads: pd.DataFrame) -> tuple[SiteMean, ...]:
    by_bucket = heads.groupby(["site", "treatment", "bucket"], observed=True)[question.response].mean()
    grouped = by_bucket.groupby(["site", "treatment"], observed=True).agg(["mean", "size"])
    return tuple(
        SiteMean(str(site), question.treatment(str(label)), float(mean), int(size))
        for (site, label), mean, size in grouped.itertuples()
    )
