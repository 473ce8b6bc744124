"""The picture of days to harvest: means by treatment over the raw buckets."""

from __future__ import annotations

from trialkit.documents.findings import ResponseResult
from trialkit.pages.numerals import percent, plain, signed
from trialkit.report.figures.interval_rows import MOST_ROWS, draw_rows, probes
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.report.figures.treatment_pictures import practice_line, treatment_rows
from trialkit.report.reading import Reading, comparison_of
from trialkit.report.tables import means_table
from trialkit.words.model_words import model_sentences
from trialkit.words.response_words import RESPONSE_HEADS, RESPONSE_LABELS

NAME = "days"


def days_picture(reading: Reading, shown_first: ResponseResult) -> Picture | None:
    """Draw days to harvest; None where they were not analysed, or where the first picture shows them already."""
    days = reading.analysed(NAME)
    if days is None or days is shown_first:
        return None
    rows = treatment_rows(reading, days)
    shown, reference, label = rows[:MOST_ROWS], practice_line(rows), RESPONSE_LABELS[days.name]
    finding = _finding(reading, days)
    seen = " ".join(model_sentences(days.model)[-2:]) if days.model else ""
    return drawn_picture(
        NAME,
        finding,
        f"Days from transplanting to ready, {RESPONSE_HEADS[days.name]}: means and their "
        f"{percent(reading.confidence)} intervals over the buckets, a day between two visits being its average draw. "
        f"{seen}",
        f"Chart of {label} by treatment, {len(rows)} means with intervals over the raw buckets. {finding}",
        lambda is_narrow: draw_rows(shown, label, days.unit, reference, is_narrow),
        (means_table(reading, f"{NAME}-means", days),),
        probes(shown, days.unit),
    )


def _finding(reading: Reading, days: ResponseResult) -> str:
    """Say how the treatment set beside the current practice compares in days, or the range of the means."""
    row = comparison_of(days, reading.rival)
    if row:
        who = "best alternative" if reading.is_kept else "recommended treatment"
        when = "later" if row.difference > 0 else "sooner"
        return (
            f"The {who} was ready {plain(abs(row.difference))} days {when} than the current practice "
            f"({percent(reading.confidence)} interval {signed(row.lower)} to {signed(row.upper)} days)."
        )
    means = [one.mean for one in days.means]
    return f"Mean days to harvest run from {plain(min(means))} to {plain(max(means))}."
