"""The second picture where the dose was not varied: means of every factor's levels, all else alike."""

from __future__ import annotations

from trialkit.documents.findings import ResponseResult
from trialkit.domain.units import Measures
from trialkit.pages.head_weights import mean_words
from trialkit.pages.numerals import percent
from trialkit.report.figures.interval_rows import IntervalRow, draw_rows
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.report.reading import Reading
from trialkit.report.tables import factor_label, level_means, marginal_table
from trialkit.words.measures import Sentence, joined
from trialkit.words.response_words import RESPONSE_LABELS

NAME = "levels"


def margins_picture(reading: Reading, response: ResponseResult) -> Picture | None:
    """Draw marginal means; None where there is nothing that the first picture does not show."""
    made = margin_rows(reading, response)
    if len(reading.columns) < 2 or not made:
        return None
    label, unit, measures = RESPONSE_LABELS[response.name], response.unit, reading.design.measures
    finding = _finding(made, unit, measures)
    return drawn_picture(
        NAME,
        finding,
        f"Each mark is the mean of a level, averaged over the other factors. Each line is its "
        f"{percent(reading.confidence)} interval, and each small dot a bucket that had the level. The dose was not "
        "varied, so there is no dose picture.",
        joined(f"Chart of {label} by level of each factor. ", finding),
        lambda is_narrow: draw_rows(made, label, unit, measures, None, is_narrow),
        (marginal_table(reading, f"{NAME}-{i}", response, c) for i, c in enumerate(reading.columns, 1)),
    )


def margin_rows(reading: Reading, response: ResponseResult) -> tuple[IntervalRow, ...]:
    """Rows for every level of every factor."""
    return tuple(
        IntervalRow(
            factor_label(reading, column),
            reading.level_label(column, row.level),
            row.mean,
            row.lower,
            row.upper,
            tuple(one.mean for one in response.buckets if one.treatment.level(column) == row.level),
        )
        for column in reading.columns
        for row in level_means(response, column)
    )


def _finding(made: tuple[IntervalRow, ...], unit: str, measures: Measures) -> Sentence:
    """Name the highest level of every factor."""
    groups = dict.fromkeys(row.group for row in made)
    best = [max((row for row in made if row.group == group), key=lambda row: row.mean) for group in groups]
    words = [(" ", row.label, ": ", mean_words(row.mean, row.lower, row.upper, unit, measures), ".") for row in best]
    return joined(
        "Averaged over the other factors, these means were the highest.", *(one for some in words for one in some)
    )
