"""The second picture where the dose was varied: means by dose over raw buckets, a panel for each cultivar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from trialkit.pages.numerals import ABSENT, is_number, measure, percent, plain, with_interval
from trialkit.pages.table import Row, Table, columns, make_table
from trialkit.report.figures.dose_panels import DosePanel, DosePoint, FittedCurve, draw_panels
from trialkit.report.figures.interval_rows import quantity_words
from trialkit.report.figures.picture import Picture
from trialkit.report.figures.sheet import draw_twice
from trialkit.report.figures.treatments import bucket_values
from trialkit.report.reading import Json, Key, Part, Reading, mapping, rows
from trialkit.report.tables import marginal_table, means_table
from trialkit.words.treatments import level_label

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
    finding = " ".join((_finding(reading), *_curve_statements(reading)))
    made = (
        _curves_table(reading),
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
            curve = _curve(reading, title, [point for _, some in series for point in some])
            panels.append(DosePanel("" if title is None else str(title), series, _pointed(reading, title), curve))
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


def _groups(reading: Reading) -> tuple[Json, ...]:
    """Groups of treatments that have a dose curve of their own; one for all of them in most trials."""
    return rows(mapping((reading.response or {}).get("dose")), "groups")


def _curve(reading: Reading, cultivar: Any, points: Sequence[DosePoint]) -> FittedCurve | None:
    """Curve of a cultivar's panel, moved up or down to its means: curves in common differ by a constant only."""
    fitting = [g for g in _groups(reading) if mapping(g.get("treatment")).get("cultivar", cultivar) == cultivar]
    known = [p for p in rows(fitting[0], "points") if is_number(p.get("mean"))] if len(fitting) == 1 else []
    if not known or not points:
        return None
    doses, values = [float(p["dose_tsp"]) for p in known], [float(p["mean"]) for p in known]
    shift = sum(point.mean - _at(point.dose, doses, values) for point in points) / len(points)
    chosen = rows(fitting[0], "recommended")
    return FittedCurve(
        tuple(
            (float(p["dose_tsp"]), float(p["mean"]) + shift, float(p["lower"]) + shift, float(p["upper"]) + shift)
            for p in known
        ),
        (float(chosen[0]["dose_tsp"]), float(chosen[0]["lower_tsp"]), float(chosen[0]["upper_tsp"]))
        if chosen
        else None,
    )


def _at(dose: float, doses: Sequence[float], values: Sequence[float]) -> float:
    """Value of a curve at a dose, between the points on either side."""
    after = next((i for i, other in enumerate(doses) if other >= dose), len(doses) - 1)
    before = max(after - 1, 0)
    if doses[after] == doses[before]:
        return values[after]
    share = (dose - doses[before]) / (doses[after] - doses[before])
    return values[before] + share * (values[after] - values[before])


def _curve_statements(reading: Reading) -> tuple[str, ...]:
    """What the curves say, or why none was fitted."""
    dose = mapping((reading.response or {}).get("dose"))
    if dose.get("reason"):
        return (str(dose["reason"]),)
    said = []
    for group in _groups(reading):
        whose = ", ".join(level_label(str(k), v) for k, v in mapping(group.get("treatment")).items())
        statements = [str(text) for text in group.get("statements") or ()]
        said += [f"{whose}: {statements[0]}", *statements[1:]] if whose and statements else statements
    return tuple(said)


CURVE_NAMES = {
    "linear": "straight line",
    "quadratic": "parabola",
    "linear-plateau": "straight line to a plateau",
    "quadratic-plateau": "parabola to a plateau",
    "asymptotic": "levelling off (Mitscherlich)",
}


def _curves_table(reading: Reading) -> Table | None:
    """The five curves: how much each weighs, and its shape."""
    body = []
    for group in _groups(reading):
        whose = ", ".join(level_label(str(k), v) for k, v in mapping(group.get("treatment")).items())
        for curve in rows(group, "curves"):
            name = CURVE_NAMES.get(str(curve.get("curve")), str(curve.get("curve")))
            ends = ("shape_lower", "shape_upper")
            limits = " to ".join(plain(curve.get(end)) if is_number(curve.get(end)) else "open" for end in ends)
            shape = curve.get("shape")
            cells = (percent(curve.get("weight")), plain(shape), limits if is_number(shape) else ABSENT)
            body.append(Row(f"{whose}, {name}" if whose else name, cells))
    note = (
        "Weights by Akaike's criterion with its small-sample term, by number of buckets. The shape is the dose in "
        "level teaspoons at which a plateau is reached, or the rate of levelling off for each teaspoon; its interval, "
        f"by profile likelihood at {percent(reading.confidence)}, is open where the doses tried do not bound it."
    )
    heads = columns("curve", "weight", "shape", "interval of the shape")
    return make_table(f"{NAME}-curves", "Dose curves weighed against each other", heads, body, note)


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
    marks = (
        f"Marks are means, upright lines their {percent(reading.confidence)} intervals, small dots single buckets; "
        "the shaded dose is the one to use."
    )
    if any(panel.curve for panel in panels):
        whose = f" Marks of each acidifier stand side by side: {', '.join(names)}." if len(names) > 1 else ""
        return (
            f"{marks}{whose} The line is the average of five kinds of curve by their weight, the band its interval; "
            "the triangle is the dose that it recommends, the bar under it that dose's interval. It ends where the "
            "doses tried end: nothing is claimed beyond them."
        )
    lines = f" One line for each acidifier: {', '.join(names)}." if len(names) > 1 else ""
    return f"{marks}{lines} Lines only join the doses tried: nothing is claimed between or beyond them."
