"""The second picture where the dose was not varied: means of every factor's levels, all else alike."""

from __future__ import annotations

from trialkit.pages.numerals import is_number, percent, with_interval
from trialkit.report.figures.interval_rows import IntervalRow, draw_rows
from trialkit.report.figures.picture import Picture
from trialkit.report.figures.sheet import draw_twice
from trialkit.report.reading import Reading, mapping, rows
from trialkit.report.tables import factor_label, marginal_table
from trialkit.words.treatments import level_label

NAME = "levels"


def margins_picture(reading: Reading) -> Picture | None:
    """Draw marginal means; None where there is nothing that the first picture does not show."""
    made = margin_rows(reading)
    response = reading.response
    if len(reading.columns) < 2 or not made or response is None:
        return None
    label = str(response.get("label"))
    wide, narrow = draw_twice(NAME, lambda is_narrow: draw_rows(made, label, reading.unit, None, is_narrow))
    finding = _finding(made, reading.unit)
    tables = (
        marginal_table(reading, f"{NAME}-{i}", response, reading.unit, c) for i, c in enumerate(reading.columns, 1)
    )
    return Picture(
        NAME,
        finding,
        f"Each mark is the mean of a level with every combination of the other factors weighed alike, the line its "
        f"{percent(reading.confidence)} interval, the small dots all buckets that had the level. The dose was not "
        "varied, so there is no dose picture.",
        f"Chart of {label} by level of each factor. {finding}",
        wide,
        narrow,
        tuple(table for table in tables if table),
    )


def margin_rows(reading: Reading) -> tuple[IntervalRow, ...]:
    """Rows for every level of every factor."""
    made = []
    for column in reading.columns:
        for row in rows((reading.response or {}).get("marginal_means"), column):
            if all(is_number(row.get(name)) for name in ("mean", "lower", "upper")):
                values = tuple(
                    float(bucket["mean"])
                    for bucket in reading.rows("buckets")
                    if mapping(bucket.get("treatment")).get(column) == row.get("level")
                    and is_number(bucket.get("mean"))
                )
                label = level_label(column, row.get("level"))
                group = factor_label(reading, column)
                made.append(IntervalRow(group, label, row["mean"], row["lower"], row["upper"], values))
    return tuple(made)


def _finding(made: tuple[IntervalRow, ...], unit: str) -> str:
    """Name the highest level of every factor."""
    groups = dict.fromkeys(row.group for row in made)
    best = [max((row for row in made if row.group == group), key=lambda row: row.mean) for group in groups]
    words = [f"{row.label}, {with_interval(row.mean, row.lower, row.upper, unit)}" for row in best]
    return f"All else alike, the highest means were those of {' and of '.join(words)}."
