"""The picture of days to harvest: means by treatment over the raw buckets."""

from __future__ import annotations

from collections import defaultdict

from trialkit.documents.findings import ResponseResult
from trialkit.domain.treatment import Treatment
from trialkit.pages.numerals import interval, percent, told
from trialkit.report.figures.interval_rows import MOST_ROWS, IntervalRow, draw_rows, probes
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.report.figures.treatment_pictures import bucket_words
from trialkit.report.reading import Reading, comparison_of
from trialkit.report.tables import means_table
from trialkit.words.model_words import model_sentences
from trialkit.words.response_words import RESPONSE_HEADS, RESPONSE_LABELS

NAME = "days"


def days_picture(reading: Reading) -> Picture | None:
    """Draw days to harvest; None where they were not analysed."""
    days = reading.analysed(NAME)
    if days is None:
        return None
    rows = _rows(reading, days)
    shown, label = rows[:MOST_ROWS], RESPONSE_LABELS[days.name]
    reference = next(((row.mean, "current practice") for row in rows if row.part in ("current", "kept")), None)
    finding = _finding(reading, days)
    seen = " ".join(model_sentences(days.model)[-2:]) if days.model else ""
    return drawn_picture(
        NAME,
        finding,
        f"Each mark is the mean of the days from transplanting to ready, each line its {percent(reading.confidence)} "
        f"interval, and each dot a bucket. They are {RESPONSE_HEADS[days.name]}. Where a head became ready between two "
        f"visits, its day is the average of likely ones. {seen}",
        f"Chart of {label} by treatment, {len(rows)} means with intervals over the raw buckets. {finding}",
        lambda is_narrow: draw_rows(shown, label, days.unit, reading.design.measures, reference, is_narrow),
        (means_table(reading, f"{NAME}-means", days),),
        probes(shown, days.unit, reading.design.measures),
    )


def _rows(reading: Reading, days: ResponseResult) -> tuple[IntervalRow, ...]:
    """Rows in factorial order, under the first factor's levels where more than one was varied."""
    buckets: dict[Treatment, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for bucket in days.buckets:
        buckets[bucket.treatment][reading.site_names[bucket.site]].append(bucket.mean)
    is_grouped = len(reading.columns) > 1
    others = reading.columns[1:] if is_grouped else reading.columns
    return tuple(
        IntervalRow(
            reading.label(row.treatment, reading.columns[:1]) if is_grouped else "",
            reading.label(row.treatment, others),
            row.mean,
            row.lower,
            row.upper,
            tuple(value for some in buckets[row.treatment].values() for value in some),
            reading.part(row.treatment),
            bucket_words(buckets[row.treatment], days.unit, reading.design.measures),
        )
        for row in days.means
    )


def _finding(reading: Reading, days: ResponseResult) -> str:
    """Say how the treatment set beside the current practice compares in days, or the range of the means."""
    row = comparison_of(days, reading.rival)
    if row:
        who = "best alternative" if reading.is_kept else "recommended treatment"
        later = reading.decision.days_later if reading.decision else None
        also = "" if later is None else f" From all records at once, we expect {_later(later)}."
        return (
            f"By days alone, the {who} was ready {_later(row.difference)} than the current practice. The days leave "
            f"open {_later(row.lower)} to {_later(row.upper)} ({percent(reading.confidence)} interval).{also}"
        )
    means = [one.mean for one in days.means]
    return f"Mean days to harvest run from {interval(min(means), max(means), days.unit)}."


def _later(days: float) -> str:
    return f"{told(abs(days), 'days')} days {'later' if days > 0 else 'sooner'}"
