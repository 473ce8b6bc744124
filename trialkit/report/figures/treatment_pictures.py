"""The first picture: every treatment's mean with its interval, over the raw buckets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

from trialkit.documents.findings import ResponseResult
from trialkit.domain.treatment import Treatment
from trialkit.pages.numerals import difference_interval, fixed, measure, more_or_less, percent, plain, with_interval
from trialkit.pages.table import Column, Row, Table, make_table, text_column
from trialkit.report.figures.interval_rows import MOST_ROWS, IntervalRow, draw_rows, probes
from trialkit.report.figures.marks import PART_NAMES
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.report.reading import Reading, comparison_of
from trialkit.report.tables import means_table
from trialkit.words.measures import Sentence, joined, kitchen_words
from trialkit.words.phrases import count
from trialkit.words.response_words import RESPONSE_LABELS
from trialkit.words.treatment_names import treatment_label

NAME = "treatments"


def treatments_picture(reading: Reading, response: ResponseResult) -> Picture:
    """Draw means and intervals."""
    rows = treatment_rows(reading, response)
    shown, unit = rows[:MOST_ROWS], response.unit
    reference, label = practice_line(rows), RESPONSE_LABELS[response.name]
    finding = _finding(reading, response)
    return drawn_picture(
        NAME,
        finding,
        _how_to_read(reading, response, len(rows) - len(shown)),
        f"Chart of {label} by treatment, {len(rows)} means with {percent(reading.confidence)} intervals over "
        f"the raw buckets. {kitchen_words(finding)} {_extremes(reading, response)}",
        lambda is_narrow: draw_rows(shown, label, unit, reference, is_narrow),
        (means_table(reading, f"{NAME}-means", response), bucket_table(reading, response)),
        probes(shown, unit),
    )


def practice_line(rows: tuple[IntervalRow, ...]) -> tuple[float, str] | None:
    """Mean of the current practice, to compare all rows with."""
    return next(((row.mean, "current practice") for row in rows if row.part in ("current", "kept")), None)


def treatment_rows(reading: Reading, response: ResponseResult) -> tuple[IntervalRow, ...]:
    """Rows in factorial order, under the first factor's levels where more than one was varied."""
    buckets, seen = bucket_values(response), bucket_words(reading, response)
    is_grouped = len(reading.columns) > 1
    others = reading.columns[1:] if is_grouped else reading.columns
    return tuple(
        IntervalRow(
            reading.label(row.treatment, reading.columns[:1]) if is_grouped else "",
            reading.label(row.treatment, others),
            row.mean,
            row.lower,
            row.upper,
            buckets.get(row.treatment, ()),
            reading.part(row.treatment),
            seen.get(row.treatment, ""),
        )
        for row in response.means
    )


def bucket_words(reading: Reading, response: ResponseResult) -> Mapping[Treatment, str]:
    """Raw bucket means by treatment, in words: garden by garden."""
    found: dict[Treatment, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for bucket in response.buckets:
        found[bucket.treatment][reading.site_names[bucket.site]].append(bucket.mean)
    return {treatment: _bucket_words(gardens, response.unit) for treatment, gardens in found.items()}


def _bucket_words(gardens: Mapping[str, list[float]], unit: str) -> str:
    total = sum(len(values) for values in gardens.values())
    each = "; ".join(f"{name} {', '.join(fixed(v, 0) for v in sorted(values))}" for name, values in gardens.items())
    return f"{count(total, 'bucket')}, {unit}: {each}."


def bucket_values(response: ResponseResult) -> Mapping[Treatment, tuple[float, ...]]:
    """Raw bucket means by treatment."""
    values: dict[Treatment, list[float]] = defaultdict(list)
    for bucket in response.buckets:
        values[bucket.treatment].append(bucket.mean)
    return {treatment: tuple(found) for treatment, found in values.items()}


def bucket_table(reading: Reading, response: ResponseResult) -> Table | None:
    """Every bucket's mean as drawn."""
    body = (
        Row(
            row.bucket,
            (
                row.site,
                row.block,
                reading.label(row.treatment),
                fixed(row.mean),
                plain(row.heads, 9),
            ),
        )
        for row in response.buckets
    )
    words = (text_column("bucket"), text_column("garden"), text_column("block"), text_column("treatment"))
    heads = (*words, Column(f"mean, {response.unit}"), Column("heads"))
    return make_table(f"{NAME}-buckets", "The raw buckets", heads, body)


def _finding(reading: Reading, response: ResponseResult) -> str | Sentence:
    """Say what the picture shows: the recommended treatment, or the best alternative, against the current practice."""
    row, unit = comparison_of(response, reading.rival), response.unit
    if row is None:
        best = max(response.means, key=lambda one: one.mean)
        return joined(reading.label(best.treatment), f" has the highest mean, {measure(best.mean)} {unit}.")
    who = "The best alternative" if reading.is_kept else "The recommended treatment"
    return (
        f"{who} gave {more_or_less(row.difference, unit)} the current practice "
        f"({percent(reading.confidence)} interval {difference_interval(row.lower, row.upper)} {unit})."
    )


def _extremes(reading: Reading, response: ResponseResult) -> str:
    ranked = sorted(response.means, key=lambda row: row.mean)
    words = [
        f"{treatment_label(row.treatment, reading.columns)}, "
        f"{with_interval(row.mean, row.lower, row.upper, response.unit)}"
        for row in (ranked[-1], ranked[0])
    ]
    return f"Highest: {words[0]}. Lowest: {words[1]}."


def _how_to_read(reading: Reading, response: ResponseResult, left_out: int) -> str:
    parts = {reading.part(row.treatment) for row in response.means}
    names = "; ".join(words for part, words in PART_NAMES.items() if part in parts)
    where = "this garden" if len(reading.design.sites) == 1 else "gardens like these"
    weighs = response is reading.analysed("weight_g")
    of_what = " These are weights of heads that were harvested; the answer counts lost ones as nothing."
    more = f" {left_out} more are in the table below." if left_out else ""
    return (
        f"Marks are means ({names}), lines their {percent(reading.confidence)} intervals, small dots single buckets. "
        f"An interval tells where a treatment's mean may lie in {where}; for differences see the comparisons table."
        f"{of_what if weighs else ''}{more}"
    )
