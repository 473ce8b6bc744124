"""The picture of days to harvest: means by treatment over the raw buckets."""

from __future__ import annotations

from dataclasses import replace

from trialkit.pages.numerals import is_number, percent, plain, signed
from trialkit.report.figures.interval_rows import MOST_ROWS, draw_rows, probes
from trialkit.report.figures.picture import Picture
from trialkit.report.figures.sheet import draw_twice
from trialkit.report.figures.treatments import treatment_rows
from trialkit.report.reading import Reading, is_analysed, mapping, texts
from trialkit.report.tables import means_table

NAME = "days"


def days_picture(reading: Reading) -> Picture | None:
    """Draw days to harvest; None where they were not analysed, or where the first picture shows them already."""
    days = mapping(mapping(reading.results.get("responses")).get("days"))
    if not is_analysed(days) or days is reading.response:
        return None
    of_days = replace(reading, response=days)
    rows = treatment_rows(of_days)
    if not rows:
        return None
    label, shown = str(days.get("label")), rows[:MOST_ROWS]
    reference = next(((r.mean, "current practice") for r in rows if r.part in ("current", "kept")), None)
    wide, narrow = draw_twice(NAME, lambda is_narrow: draw_rows(shown, label, of_days.unit, reference, is_narrow))
    finding = _finding(of_days)
    seen = " ".join(texts(days.get("model"), "statements")[-2:])
    table = means_table(of_days, f"{NAME}-means", days, of_days.unit)
    return Picture(
        NAME,
        finding,
        f"Days from transplanting to ready, {days.get('of')}: means and their {percent(reading.confidence)} intervals "
        f"over the buckets, a day between two visits being its average draw. {seen}",
        f"Chart of {label} by treatment, {len(rows)} means with intervals over the raw buckets. {finding}",
        wide,
        narrow,
        (table,) if table else (),
        probes(shown, of_days.unit),
    )


def _finding(reading: Reading) -> str:
    """Say how the treatment set beside the current practice compares in days, or the range of the means."""
    row = reading.find("comparisons", reading.rival)
    if is_number(row.get("difference")) and is_number(row.get("lower")) and is_number(row.get("upper")):
        who = "best alternative" if reading.is_kept else "recommended treatment"
        when = "later" if row["difference"] > 0 else "sooner"
        return (
            f"The {who} was ready {plain(abs(row['difference']))} days {when} than the current practice "
            f"({percent(reading.confidence)} interval {signed(row['lower'])} to {signed(row['upper'])} days)."
        )
    means = [float(one["mean"]) for one in reading.rows("means") if is_number(one.get("mean"))]
    return f"Mean days to harvest run from {plain(min(means))} to {plain(max(means))}."
