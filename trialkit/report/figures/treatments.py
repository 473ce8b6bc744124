"""The first picture: every treatment's mean with its interval, over the raw buckets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping

from trialkit.pages.numerals import (
    difference_interval,
    fixed,
    is_number,
    measure,
    more_or_less,
    percent,
    plain,
    with_interval,
)
from trialkit.pages.table import Column, Row, Table, make_table, text_column
from trialkit.report.figures.interval_rows import MOST_ROWS, IntervalRow, draw_rows, probes
from trialkit.report.figures.marks import PART_NAMES
from trialkit.report.figures.picture import Picture
from trialkit.report.figures.sheet import draw_twice
from trialkit.report.reading import Key, Reading, mapping, rows
from trialkit.report.tables import means_table
from trialkit.words.phrases import count
from trialkit.words.treatments import level_label, treatment_label

NAME = "treatments"


def treatments_picture(reading: Reading) -> Picture | None:
    """Draw means and intervals; None where no treatment has an estimate."""
    rows = treatment_rows(reading)
    response = reading.response
    if not rows or response is None:
        return None
    label, shown = str(response.get("label")), rows[:MOST_ROWS]
    reference = next(((r.mean, "current practice") for r in rows if r.part in ("current", "kept")), None)
    wide, narrow = draw_twice(NAME, lambda is_narrow: draw_rows(shown, label, reading.unit, reference, is_narrow))
    finding = _finding(reading, rows)
    made = (means_table(reading, f"{NAME}-means", response, reading.unit), bucket_table(reading))
    return Picture(
        NAME,
        finding,
        _how_to_read(reading, len(rows) - len(shown)),
        f"Chart of {label} by treatment, {len(rows)} means with {percent(reading.confidence)} intervals over the raw "
        f"buckets. {finding} {_extremes(reading)}",
        wide,
        narrow,
        tuple(table for table in made if table),
        probes(shown, reading.unit),
    )


def treatment_rows(reading: Reading) -> tuple[IntervalRow, ...]:
    """Rows in factorial order, under the first factor's levels where more than one was varied."""
    buckets, seen = bucket_values(reading), bucket_words(reading)
    is_grouped = len(reading.columns) > 1
    grouping, others = reading.columns[0], reading.columns[1:] if is_grouped else reading.columns
    made = []
    for row in reading.rows("means"):
        if not all(is_number(row.get(name)) for name in ("mean", "lower", "upper")):
            continue
        treatment = mapping(row.get("treatment"))
        group = level_label(grouping, treatment.get(grouping)) if is_grouped else ""
        label = treatment_label(treatment, others)
        values = buckets.get(reading.key(treatment), ())
        made.append(
            IntervalRow(
                group,
                label,
                row["mean"],
                row["lower"],
                row["upper"],
                values,
                reading.part(treatment),
                seen.get(reading.key(treatment), ""),
            )
        )
    return tuple(made)


def bucket_words(reading: Reading) -> Mapping[Key, str]:
    """Raw bucket means by treatment, in words: garden by garden."""
    names = {str(site.get("site")): str(site.get("name") or site.get("site")) for site in rows(reading.design, "sites")}
    found: dict[Key, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for bucket in reading.rows("buckets"):
        if is_number(bucket.get("mean")):
            site = str(bucket.get("site"))
            found[reading.key(bucket.get("treatment"))][names.get(site, site)].append(float(bucket["mean"]))
    return {key: _bucket_words(gardens, reading.unit) for key, gardens in found.items()}


def _bucket_words(gardens: Mapping[str, list[float]], unit: str) -> str:
    total = sum(len(values) for values in gardens.values())
    each = "; ".join(f"{name} {', '.join(fixed(v, 0) for v in sorted(values))}" for name, values in gardens.items())
    return f"{count(total, 'bucket')}, {unit}: {each}."


def bucket_values(reading: Reading) -> Mapping[Key, tuple[float, ...]]:
    """Raw bucket means by treatment."""
    values: dict[Key, list[float]] = defaultdict(list)
    for bucket in reading.rows("buckets"):
        if is_number(bucket.get("mean")):
            values[reading.key(bucket.get("treatment"))].append(float(bucket["mean"]))
    return {key: tuple(found) for key, found in values.items()}


def bucket_table(reading: Reading) -> Table | None:
    """Every bucket's mean as drawn."""
    body = (
        Row(
            str(row.get("bucket")),
            (
                str(row.get("site")),
                str(row.get("block")),
                treatment_label(mapping(row.get("treatment")), reading.columns),
                fixed(row.get("mean")),
                plain(row.get("heads"), 9),
            ),
        )
        for row in reading.rows("buckets")
    )
    words = (text_column("bucket"), text_column("garden"), text_column("block"), text_column("treatment"))
    heads = (*words, Column(f"mean, {reading.unit}"), Column("heads"))
    return make_table(f"{NAME}-buckets", "The raw buckets", heads, body)


def _finding(reading: Reading, rows: tuple[IntervalRow, ...]) -> str:
    """Say what the picture shows: the recommended treatment, or the best alternative, against the current practice."""
    row = reading.find("comparisons", reading.rival)
    if not is_number(row.get("difference")):
        best = max(rows, key=lambda one: one.mean)
        name = ", ".join(part for part in (best.group, best.label) if part)
        return f"{name} has the highest mean, {measure(best.mean)} {reading.unit}."
    who = "The best alternative" if reading.is_kept else "The recommended treatment"
    return (
        f"{who} gave {more_or_less(row['difference'], reading.unit)} the current practice "
        f"({percent(reading.confidence)} interval {difference_interval(row.get('lower'), row.get('upper'))} "
        f"{reading.unit})."
    )


def _extremes(reading: Reading) -> str:
    ranked = sorted((r for r in reading.rows("means") if is_number(r.get("mean"))), key=lambda r: float(r["mean"]))
    words = [
        f"{treatment_label(mapping(row.get('treatment')), reading.columns)}, "
        f"{with_interval(row['mean'], row.get('lower'), row.get('upper'), reading.unit)}"
        for row in (ranked[-1], ranked[0])
    ]
    return f"Highest: {words[0]}. Lowest: {words[1]}."


def _of_what(reading: Reading) -> str:
    """Tell weights of heads from those of the answer."""
    weighs = reading.response is not None and reading.response is mapping(reading.results["responses"]).get("weight_g")
    return " These are weights of heads that were harvested; the answer counts lost ones as nothing." if weighs else ""


def _how_to_read(reading: Reading, left_out: int) -> str:
    parts = {reading.part(row.get("treatment")) for row in reading.rows("means")}
    names = "; ".join(words for part, words in PART_NAMES.items() if part in parts)
    where = "this garden" if len(rows(reading.design, "sites")) == 1 else "gardens like these"
    more = f" {left_out} more are in the table below." if left_out else ""
    return (
        f"Marks are means ({names}), lines their {percent(reading.confidence)} intervals, small dots single buckets. "
        f"An interval tells where a treatment's mean may lie in {where}; for differences see the comparisons table."
        f"{_of_what(reading)}{more}"
    )
