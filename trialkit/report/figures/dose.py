"""The second picture where the dose was varied: means by dose over raw buckets, a panel for each cultivar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from trialkit.pages.numerals import is_number, measure, percent, with_interval
from trialkit.pages.wording import level_label
from trialkit.report.figures.dose_panels import DosePanel, DosePoint, draw_panels
from trialkit.report.figures.interval_rows import quantity_words
from trialkit.report.figures.picture import Picture
from trialkit.report.figures.sheet import draw_twice
from trialkit.report.figures.treatments import bucket_values
from trialkit.report.reading import Json, Key, Part, Reading, mapping, rows
from trialkit.report.tables import marginal_table, means_table

NAME = "dose"
COLUMN = "dose_tsp"


def dose_picture(reading: Reading) -> Picture | None:
    """Draw the dose picture; None where the dose was not varied or has no estimates."""
    panels = dose_panels(reading)
    response = reading.response
    if not panels or response is None:
        return None
    quantity = quantity_words(str(response.get("label")), reading.unit)
    wide, narrow = draw_twice(NAME, lambda is_narrow: draw_panels(panels, quantity, reading.unit, is_narrow))
    finding = _finding(reading)
    made = (
        marginal_table(reading, f"{NAME}-levels", response, reading.unit, COLUMN),
        means_table(reading, f"{NAME}-means", response, reading.unit),
    )
    return Picture(
        NAME,
        finding,
        _how_to_read(reading, panels),
        f"Chart of {response.get('label')} against nutrient dose in level teaspoons a bucket, {len(panels)} "
        f"panel{'s' if len(panels) > 1 else ''}. {finding} {_levels(reading)}",
        wide,
        narrow,
        tuple(table for table in made if table),
    )


def dose_panels(reading: Reading) -> tuple[DosePanel, ...]:
    """Panels by cultivar with series by acidifier."""
    if COLUMN not in reading.columns:
        return ()
    points = _points(reading)
    titles = reading.levels("cultivar") or (None,)
    names = reading.levels("acidifier") or (None,)
    panels = []
    for title in titles:
        series = tuple((_name(name), points.get((title, name), ())) for name in names)
        if any(found for _, found in series):
            panels.append(DosePanel("" if title is None else str(title), series, _pointed(reading, title)))
    return tuple(panels)


def _points(reading: Reading) -> Mapping[Key, tuple[DosePoint, ...]]:
    """Points by cultivar and acidifier, in order of dose."""
    buckets = bucket_values(reading)
    found: dict[Key, list[DosePoint]] = {}
    for row in reading.rows("means"):
        treatment = mapping(row.get("treatment"))
        numbers = [treatment.get(COLUMN), *(row.get(name) for name in ("mean", "lower", "upper"))]
        if all(is_number(n) for n in numbers):
            dose, mean, lower, upper = (float(n) for n in numbers if n is not None)
            point = DosePoint(dose, mean, lower, upper, buckets.get(reading.key(treatment), ()))
            found.setdefault((treatment.get("cultivar"), treatment.get("acidifier")), []).append(point)
    return {key: tuple(sorted(points, key=lambda p: p.dose)) for key, points in found.items()}


def _name(acidifier: Any) -> str:
    return "" if acidifier is None else level_label("acidifier", acidifier)


def _pointed(reading: Reading, cultivar: Any) -> tuple[tuple[Part, float], ...]:
    """Parts and doses to point out in a cultivar's panel, the recommended one first."""
    treatments = [reading.recommended, reading.current, reading.rival]
    seen: dict[Part, float] = {}
    for treatment in treatments:
        if treatment and treatment.get("cultivar") == cultivar and is_number(treatment.get(COLUMN)):
            seen.setdefault(reading.part(treatment), float(treatment[COLUMN]))
    return tuple(seen.items())


def _finding(reading: Reading) -> str:
    """Say what the doses did: the heaviest dose overall, and where the current one stands."""
    unit = reading.unit
    known = [row for row in _level_means(reading) if is_number(row.get("mean"))]
    if not known:
        return "Means by dose."
    best = max(known, key=lambda row: float(row["mean"]))
    first = (
        f"All else alike, {level_label(COLUMN, best.get('level'))} gave the highest mean, "
        f"{with_interval(best['mean'], best.get('lower'), best.get('upper'), unit)}"
    )
    now = [row for row in known if row.get("level") == reading.current.get(COLUMN)]
    if not now or now[0] is best:
        return f"{first}{', which is the current dose' if now else ''}."
    return f"{first}; the current {level_label(COLUMN, now[0].get('level'))} gave {measure(now[0]['mean'])} {unit}."


def _level_means(reading: Reading) -> tuple[Json, ...]:
    return rows((reading.response or {}).get("marginal_means"), COLUMN)


def _levels(reading: Reading) -> str:
    """List every dose's mean for those who can't see the picture."""
    named = [
        f"{level_label(COLUMN, row.get('level'))} {measure(row.get('mean'))} {reading.unit}"
        for row in _level_means(reading)
    ]
    return f"Means by dose: {', '.join(named)}." if named else ""


def _how_to_read(reading: Reading, panels: Sequence[DosePanel]) -> str:
    names = [name for name, _ in panels[0].series if name]
    lines = f" One line for each acidifier: {', '.join(names)}." if len(names) > 1 else ""
    return (
        f"Marks are means, upright lines their {percent(reading.confidence)} intervals, small dots single buckets; "
        f"the shaded dose is the one to use.{lines} Lines only join the doses tried: nothing is claimed between or "
        "beyond them."
    )
