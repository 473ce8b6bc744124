"""The tables a statistician wants: intervals before p-values, degrees of freedom beside every test."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from trialkit.documents.decision import Decision
from trialkit.documents.findings import Comparison, FittedModel, LevelMean, Mean, ResponseResult
from trialkit.pages.head_weights import amount, gain_cells, in_unit
from trialkit.pages.numerals import (
    ABSENT,
    chance_percent,
    difference_interval,
    interval,
    p_value,
    percent,
    plain,
    signed,
    told,
    whole_percent,
)
from trialkit.pages.table import Column, Row, Table, columns, make_table, text_column
from trialkit.report.reading import PART_WORDS, Reading
from trialkit.words.decision_words import MONEY, after_costs
from trialkit.words.factor_words import FACTOR_LABELS, effect_label
from trialkit.words.measures import Sentence, joined, least_weight
from trialkit.words.model_words import SPREAD_WORDS, TOO_SMALL, model_sentences, variance_label
from trialkit.words.response_words import RESPONSE_HEADS, RESPONSE_LABELS, not_analysed_sentence

WHY_THEY_DIFFER = (
    "An estimate differs from its raw mean, because luck lifts the highest raw means. The fewer buckets a treatment "
    "has, the more its estimate goes by its cultivar, dose and acid elsewhere. It is an average over gardens and "
    "seasons."
)
"""Raw means and estimates."""


@dataclass(frozen=True)
class ResponseTables:
    """Everything about one response for the statistician, or the reason why there is nothing."""

    name: str
    title: str
    reason: Sentence | None
    model: tuple[tuple[str, str], ...]
    statements: tuple[str, ...]
    tables: tuple[Table, ...]


def response_tables(reading: Reading) -> tuple[ResponseTables, ...]:
    """Tables of every response, in the order of the results."""
    responses = reading.results.responses.values()
    return tuple(_response(reading, f"response-{i}", response) for i, response in enumerate(responses, 1))


def candidate_table(reading: Reading) -> Table | None:
    """Every candidate default: raw mean and estimate, gain, chances, what it would give up, buckets."""
    decision = reading.decision
    if decision is None:
        return None
    thresholds, in_grams = decision.thresholds, decision.unit == "g per transplanted head"
    measures = reading.design.measures
    value = () if in_grams else ("value a bucket",)

    def weight(heading: str) -> Sentence:
        return in_unit(heading.format, "g", measures)

    heads = columns(
        "treatment",
        weight("raw mean, {} per transplanted head"),
        weight("estimate, {}"),
        "marketable",
        weight("gain, {}"),
        weight(f"{percent(thresholds.confidence)} interval, {{}}"),
        *value,
        "chance better",
        "chance near best",
        weight("given up, {}") if in_grams else "given up a bucket",
        "buckets",
    )
    body = (
        Row(
            reading.label(row.treatment),
            (
                amount(row.raw_yield_g, "g", measures),
                amount(row.yield_g, "g", measures),
                whole_percent(row.share_usable),
                *gain_cells(row.gain, measures),
                *(() if in_grams else (told(row.expected_value, "money"),)),
                chance_percent(row.probability_better),
                chance_percent(row.probability_near_best),
                (
                    amount(row.expected_loss, "g", measures, finer=True)
                    if in_grams
                    else told(row.expected_loss, "money")
                ),
                plain(row.stood.buckets, 9),
            ),
            PART_WORDS[reading.part(row.treatment)],
        )
        for row in decision.candidates
    )
    note = reading.said(
        lambda system: [_candidate_note(decision, least_weight(thresholds.margin_g, system), in_grams=in_grams)]
    )[0]
    return make_table("candidates", "Every treatment that could be the default", heads, body, note)


def _candidate_note(decision: Decision, near: str, *, in_grams: bool) -> str:
    return (
        "The raw mean is that of the buckets as recorded. The estimate, the marketable share, the gain and the chances "
        f"come from one model of all records. {WHY_THEY_DIFFER} Better is better than the current practice"
        f"{after_costs(decision)}, in a new garden and season. Near best is within {near} of the best that was tried, "
        "or of a dose between, on average over gardens and seasons. Given up is how much less a treatment yields, on "
        f"average, than whatever is truly the best. {'' if in_grams else f'Values are {MONEY}. '}All this comes from "
        f"{plain(decision.draws, 6)} draws."
    )


def spread_table(reading: Reading) -> Table | None:
    """Standard deviations of the model behind the decision, with their limits."""
    decision = reading.decision
    if decision is None:
        return None
    body = (
        Row(
            SPREAD_WORDS[one.of], (told(one.sd_g, "g", finer=True), interval(one.lower_g, one.upper_g, "g", finer=True))
        )
        for one in decision.spreads
    )
    heads = columns("what varies", "standard deviation, g", f"{percent(decision.thresholds.confidence)} interval, g")
    note = (
        "These are of the weight of a marketable head, averaged over what records and half-normal priors leave open. "
        "Where one trial cannot tell, as of seasons, they are the prior's. All averages are worth "
        f"{plain(decision.effective_points)} equally weighted sets of standard deviations."
    )
    return make_table("spreads", "How much things vary, by the model behind the decision", heads, body, note)


def _response(reading: Reading, name: str, response: ResponseResult) -> ResponseTables:
    label = RESPONSE_LABELS[response.name]
    title = f"{label[:1].upper()}{label[1:]}, {response.unit}, {RESPONSE_HEADS[response.name]}"
    model = response.model
    if model is None:
        why = response.not_analysed
        reason = reading.said(lambda system: [not_analysed_sentence(why, system)])[0] if why else None
        return ResponseTables(name, title, reason, (), (), ())
    made = tuple(table for table in _tables(reading, name, response, model) if table)
    return ResponseTables(name, title, None, _model(model), model_sentences(model), made)


def _model(model: FittedModel) -> tuple[tuple[str, str], ...]:
    settings = {
        "fixed part": model.formula,
        "random terms": ", ".join(model.random),
        "bounds of the variances": model.bounds,
        "observations": plain(model.observations, 9),
        "buckets": plain(model.buckets, 9),
        "−2 log REML": told(model.criterion, "log-likelihood"),
        "iterations": plain(model.iterations, 9),
    }
    return tuple((name, value) for name, value in settings.items() if value)


def _tables(reading: Reading, name: str, response: ResponseResult, model: FittedModel) -> Iterator[Table | None]:
    yield _variances(name, response, model)
    yield _tests(name, response)
    yield means_table(reading, f"{name}-means", response)
    yield from _marginal_means(reading, name, response)
    yield _comparisons(reading, name, response)
    yield _pairs(reading, name, response)


def _variances(name: str, response: ResponseResult, model: FittedModel) -> Table | None:
    body = (
        Row(
            variance_label(row.term, model.residual),
            (
                TOO_SMALL if row.sd is None else told(row.sd, response.unit, finer=True),
                told(row.variance, "variance"),
                row.term,
            ),
        )
        for row in response.variances
    )
    unit = response.unit
    heads = (*columns("what varies", f"standard deviation, {unit}", f"variance, {unit}²"), text_column("term"))
    return make_table(f"{name}-variances", "Where the variation lies", heads, body)


def _tests(name: str, response: ResponseResult) -> Table | None:
    body = (
        Row(
            effect_label(row.term),
            (
                told(row.f, "F"),
                plain(row.numerator_df),
                told(row.denominator_df, "d.f."),
                p_value(row.p),
            ),
        )
        for row in response.tests
    )
    heads = columns("effect", "F", "numerator d.f.", "denominator d.f.", "p")
    return make_table(f"{name}-tests", "F tests of the effects (Kenward–Roger)", heads, body)


def means_table(reading: Reading, name: str, response: ResponseResult) -> Table | None:
    """Estimated mean of every combination with its interval."""
    body = (
        Row(
            reading.label(row.treatment),
            (*_estimate(row, response.unit), plain(row.buckets, 9), plain(row.heads, 9)),
            PART_WORDS[reading.part(row.treatment)],
        )
        for row in response.means
    )
    heads = (*_estimate_columns("treatment", response.unit, reading), *columns("", "buckets", "heads")[1:])
    return make_table(name, "Means of every combination", heads, body)


def marginal_table(reading: Reading, name: str, response: ResponseResult, column: str) -> Table | None:
    """Estimated mean of every level of one factor, the other factors' levels weighed alike."""
    label = factor_label(reading, column)
    body = (
        Row(reading.level_label(column, row.level), _estimate(row, response.unit))
        for row in level_means(response, column)
    )
    heads = _estimate_columns(label, response.unit, reading)
    return make_table(name, f"Means by {label}, averaged over the other factors", heads, body)


def level_means(response: ResponseResult, column: str) -> tuple[LevelMean, ...]:
    """Marginal means of a factor's levels."""
    return (response.marginal_means or {}).get(column, ())


def factor_label(reading: Reading, column: str) -> str:
    """Name of the factor in a column."""
    return next(FACTOR_LABELS[factor.name] for factor in reading.design.factors if factor.column == column)


def _marginal_means(reading: Reading, name: str, response: ResponseResult) -> Iterator[Table | None]:
    if len(reading.columns) < 2:  # with one factor these are the means of every combination again
        return
    for i, column in enumerate(reading.columns, 1):
        yield marginal_table(reading, f"{name}-marginal-{i}", response, column)


def _estimate_columns(first: str, unit: str, reading: Reading) -> tuple[Column, ...]:
    return columns(first, f"mean, {unit}", f"{percent(reading.confidence)} interval, {unit}", f"s.e., {unit}", "d.f.")


def _estimate(row: Mean | LevelMean, unit: str) -> tuple[str, ...]:
    return (
        told(row.mean, unit, finer=True),
        interval(row.lower, row.upper, unit, finer=True),
        told(row.se, unit, finer=True),
        told(row.df, "d.f."),
    )


def _alike(row: Comparison) -> str:
    """Whether two one-sided tests call a treatment equivalent to the current practice, and their p."""
    found = row.equivalence
    return f"{'yes' if found.equivalent else 'not shown'} ({p_value(found.p)})" if found else ABSENT


def _pairs(reading: Reading, name: str, response: ResponseResult) -> Table | None:
    """Every pair of treatments, where they were asked for."""
    unit = response.unit
    body = (
        Row(
            joined(reading.label(row.first), " less ", reading.label(row.second)),
            (
                signed(row.difference, unit, finer=True),
                difference_interval(row.lower, row.upper, unit, finer=True),
                told(row.se, unit, finer=True),
                told(row.df, "d.f."),
                p_value(row.p),
            ),
        )
        for row in response.pairs
    )
    heads = columns(
        "pair",
        f"difference, {response.unit}",
        f"{percent(reading.confidence)} interval, {response.unit}",
        f"s.e., {response.unit}",
        "d.f.",
        "p",
    )
    note = "Intervals and p values allow for all pairs (Tukey and Kramer)."
    return make_table(f"{name}-pairs", "Every pair of treatments", heads, body, note)


def _comparisons(reading: Reading, name: str, response: ResponseResult) -> Table | None:
    unit, tested = response.unit, any(row.equivalence for row in response.comparisons)
    body = (
        Row(
            reading.label(row.treatment),
            (
                signed(row.difference, unit, finer=True),
                difference_interval(row.lower, row.upper, unit, finer=True),
                told(row.se, unit, finer=True),
                told(row.df, "d.f."),
                p_value(row.p),
                chance_percent(row.probability_of_superiority),
                *((_alike(row),) if tested else ()),
            ),
            PART_WORDS[reading.part(row.treatment)],
        )
        for row in response.comparisons
    )
    heads = columns(
        "treatment",
        f"difference, {response.unit}",
        f"{percent(reading.confidence)} interval, {response.unit}",
        f"s.e., {response.unit}",
        "d.f.",
        "p",
        "superiority",
        *(("alike",) if tested else ()),
    )
    caption: str | Sentence = "Difference from the current practice"
    if reading.current:
        caption = joined(f"{caption}, ", reading.label(reading.current))
    note = (
        "Intervals and p values allow for all comparisons (Dunnett). Superiority is how "
        "often a bucket of this treatment has a higher mean than one of the current practice beside it."
    )
    if tested:
        note += (
            " Alike is by two one-sided tests that the difference is within the protocol's margin of equivalence "
            "(Schuirmann 1987). Each stands by itself."
        )
    return make_table(f"{name}-comparisons", caption, heads, body, note)
