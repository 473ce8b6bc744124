"""The tables a statistician wants: intervals before p-values, degrees of freedom beside every test."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from trialkit.pages.numerals import (
    ABSENT,
    chance_percent,
    difference_interval,
    fixed,
    interval,
    mean_beside,
    measure,
    p_value,
    percent,
    plain,
    signed,
)
from trialkit.pages.table import Row, Table, columns, make_table, text_column
from trialkit.report.reading import PART_WORDS, Json, Reading, is_analysed, mapping, rows, texts
from trialkit.words.treatments import level_label, treatment_label


@dataclass(frozen=True)
class ResponseTables:
    """Everything about one response for the fourth section, or the reason why there is nothing."""

    name: str
    title: str
    reason: str | None
    model: tuple[tuple[str, str], ...]
    statements: tuple[str, ...]
    tables: tuple[Table, ...]


def response_tables(reading: Reading) -> tuple[ResponseTables, ...]:
    """Tables of every response, in the order of the results."""
    responses = mapping(reading.results.get("responses"))
    return tuple(_response(reading, f"response-{i}", mapping(r)) for i, r in enumerate(responses.values(), 1))


def candidate_table(reading: Reading) -> Table | None:
    """Every candidate default: value, chances, expected loss."""
    unit = str(reading.decision.get("unit") or "")
    thresholds = mapping(reading.decision.get("thresholds"))
    heads = columns(
        "treatment",
        "yield of a planted head, g",
        "heads to the table",
        f"expected value, {unit}",
        "chance best",
        "chance better",
        "chance alike",
        f"expected loss, {unit}",
    )
    digits = 1 if unit.startswith("g ") else 2
    body = (
        Row(
            treatment_label(mapping(row.get("treatment")), reading.columns),
            (
                measure(row.get("yield_g")),
                percent(row.get("share_usable")),
                fixed(row.get("expected_value"), digits),
                chance_percent(row.get("probability_best")),
                chance_percent(row.get("probability_better")),
                chance_percent(row.get("probability_equivalent")),
                fixed(row.get("expected_loss"), digits),
            ),
            PART_WORDS[reading.part(row.get("treatment"))],
        )
        for row in reading.candidates
    )
    considered = all(row.get("eligible") for row in reading.candidates)
    passed_over = (
        "One without an expected loss was not considered: its records are much more, or much less, complete than the "
        "current practice's. "
    )
    note = (
        f"Better: worth at least {plain(thresholds.get('margin_g'))} g a planted head more than the current practice "
        f"{reading.decision.get('place')}. Alike: within {plain(thresholds.get('equivalence_margin_g'))} g of it. "
        "Expected loss: what choosing this one gives up, on average, against the one that is truly best. "
        f"{'' if considered else passed_over}From {plain(reading.decision.get('draws'), 6)} draws."
    )
    return make_table("candidates", "Candidates for the default", heads, body, note)


def _response(reading: Reading, name: str, response: Json) -> ResponseTables:
    label = str(response.get("label") or name)
    unit = str(response.get("unit") or "")
    of = f", {response['of']}" if response.get("of") else ""
    title = f"{label[:1].upper()}{label[1:]}, {unit}{of}"
    if not is_analysed(response):
        reason = str(response.get("reason") or "No reason was given.")
        return ResponseTables(name, title, reason, (), (), ())
    model = mapping(response.get("model"))
    made = tuple(table for table in _tables(reading, name, response, unit) if table)
    return ResponseTables(name, title, None, _model(model), texts(model, "statements"), made)


def _model(model: Json) -> tuple[tuple[str, str], ...]:
    settings = {
        "fixed part": model.get("formula"),
        "random terms": ", ".join(texts(model, "random")),
        "bounds of the variances": model.get("bounds"),
        "observations": plain(model.get("observations"), 9),
        "buckets": plain(model.get("buckets"), 9),
        "−2 log REML": fixed(model.get("criterion"), 2),
        "iterations": plain(model.get("iterations"), 9),
    }
    return tuple((name, str(value)) for name, value in settings.items() if value)


def _tables(reading: Reading, name: str, response: Json, unit: str) -> Iterator[Table | None]:
    yield _variances(name, response, unit)
    yield _tests(name, response)
    yield means_table(reading, f"{name}-means", response, unit)
    yield from _marginal_means(reading, name, response, unit)
    yield _comparisons(reading, name, response, unit)
    yield _pairs(reading, name, response, unit)


def _variances(name: str, response: Json, unit: str) -> Table | None:
    body = (
        Row(
            str(row.get("label") or row.get("term")),
            (
                str(row.get("statement") or fixed(row.get("sd"))),
                fixed(row.get("variance"), 2),
                str(row.get("term") or ABSENT),
            ),
        )
        for row in rows(response, "variances")
    )
    heads = (*columns("what varies", f"standard deviation, {unit}", f"variance, {unit}²"), text_column("term"))
    return make_table(f"{name}-variances", "Where the variation lies", heads, body)


def _tests(name: str, response: Json) -> Table | None:
    body = (
        Row(
            str(row.get("label") or row.get("term")),
            (
                fixed(row.get("f"), 2),
                plain(row.get("numerator_df")),
                fixed(row.get("denominator_df")),
                p_value(row.get("p")),
            ),
        )
        for row in rows(response, "tests")
    )
    heads = columns("effect", "F", "numerator d.f.", "denominator d.f.", "p")
    return make_table(f"{name}-tests", "F tests of the effects (Kenward–Roger)", heads, body)


def means_table(reading: Reading, name: str, response: Json, unit: str) -> Table | None:
    """Estimated mean of every combination with its interval."""
    body = (
        Row(
            treatment_label(mapping(row.get("treatment")), reading.columns),
            (*_estimate(row), plain(row.get("buckets"), 9), plain(row.get("heads"), 9)),
            PART_WORDS[reading.part(row.get("treatment"))],
        )
        for row in rows(response, "means")
    )
    heads = (*_estimate_columns("treatment", unit, reading), *columns("", "buckets", "heads")[1:])
    return make_table(name, "Means of every combination", heads, body)


def marginal_table(reading: Reading, name: str, response: Json, unit: str, column: str) -> Table | None:
    """Estimated mean of every level of one factor, the other factors' levels weighed alike."""
    body = (
        Row(level_label(column, row.get("level")), _estimate(row))
        for row in rows(response.get("marginal_means"), column)
    )
    return make_table(
        name,
        f"Means by {factor_label(reading, column)}, all else alike",
        _estimate_columns(factor_label(reading, column), unit, reading),
        body,
    )


def factor_label(reading: Reading, column: str) -> str:
    """Name of the factor in a column."""
    factors = rows(reading.design, "factors")
    return next((str(f.get("label") or column) for f in factors if f.get("column") == column), column)


def _marginal_means(reading: Reading, name: str, response: Json, unit: str) -> Iterator[Table | None]:
    if len(reading.columns) < 2:  # with one factor these are the means of every combination again
        return
    for i, column in enumerate(reading.columns, 1):
        yield marginal_table(reading, f"{name}-marginal-{i}", response, unit, column)


def _estimate_columns(first: str, unit: str, reading: Reading) -> tuple[Any, ...]:
    return columns(first, f"mean, {unit}", f"{percent(reading.confidence)} interval, {unit}", f"s.e., {unit}", "d.f.")


def _estimate(row: Json) -> tuple[str, ...]:
    return (
        mean_beside(row.get("mean"), row.get("lower"), row.get("upper")),
        interval(row.get("lower"), row.get("upper")),
        fixed(row.get("se")),
        fixed(row.get("df")),
    )


def _alike(row: Json, tested: bool) -> tuple[str, ...]:
    """Whether two one-sided tests call a treatment equivalent to the current practice, and their p."""
    found = mapping(row.get("equivalence"))
    if not tested:
        return ()
    return (f"{'yes' if found.get('equivalent') else 'not shown'} ({p_value(found.get('p'))})" if found else ABSENT,)


def _pairs(reading: Reading, name: str, response: Json, unit: str) -> Table | None:
    """Every pair of treatments, where they were asked for."""
    body = (
        Row(
            f"{treatment_label(mapping(row.get('first')), reading.columns)} less "
            f"{treatment_label(mapping(row.get('second')), reading.columns)}",
            (
                signed(row.get("difference")),
                difference_interval(row.get("lower"), row.get("upper")),
                fixed(row.get("se")),
                fixed(row.get("df")),
                p_value(row.get("p")),
            ),
        )
        for row in rows(response, "pairs")
    )
    heads = columns(
        "pair",
        f"difference, {unit}",
        f"{percent(reading.confidence)} interval, {unit}",
        f"s.e., {unit}",
        "d.f.",
        "p",
    )
    note = "Intervals and p values allow for all pairs (Tukey and Kramer)."
    return make_table(f"{name}-pairs", "Every pair of treatments", heads, body, note)


def _comparisons(reading: Reading, name: str, response: Json, unit: str) -> Table | None:
    tested = any(row.get("equivalence") for row in rows(response, "comparisons"))
    body = (
        Row(
            treatment_label(mapping(row.get("treatment")), reading.columns),
            (
                signed(row.get("difference")),
                difference_interval(row.get("lower"), row.get("upper")),
                fixed(row.get("se")),
                fixed(row.get("df")),
                p_value(row.get("p")),
                chance_percent(row.get("share_of_pairs")),
                *_alike(row, tested),
            ),
            PART_WORDS[reading.part(row.get("treatment"))],
        )
        for row in rows(response, "comparisons")
    )
    heads = columns(
        "treatment",
        f"difference, {unit}",
        f"{percent(reading.confidence)} interval, {unit}",
        f"s.e., {unit}",
        "d.f.",
        "p",
        "pairs ahead",
        *(("alike",) if tested else ()),
    )
    current = treatment_label(reading.current, reading.columns)
    caption = f"Difference from the current practice ({current})" if current else "Difference from the current practice"
    note = (
        "Intervals and p values allow for all comparisons (Dunnett). Pairs ahead: of pairs of buckets side by side, "
        "one with this treatment and one with the current practice, the share in which this one's mean is the higher."
    )
    if tested:
        note += (
            " Alike: two one-sided tests that the difference is within the protocol's margin of equivalence, each for "
            "itself (Schuirmann 1987)."
        )
    return make_table(f"{name}-comparisons", caption, heads, body, note)
