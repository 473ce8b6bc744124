"""The second picture where the dose was varied: means by dose over raw buckets, a panel for each cultivar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from trialkit.documents.findings import DoseCurve, DoseGroup, ResponseResult
from trialkit.domain.treatment import Treatment
from trialkit.pages.numerals import ABSENT, measure, percent, plain, with_interval
from trialkit.pages.table import Row, Table, columns, make_table
from trialkit.report.figures.dose_panels import DosePanel, FittedCurve, PanelPoint, draw_panels
from trialkit.report.figures.interval_rows import quantity_words
from trialkit.report.figures.picture import Picture
from trialkit.report.figures.sheet import draw_twice
from trialkit.report.figures.treatment_pictures import bucket_values
from trialkit.report.reading import Part, Reading
from trialkit.report.tables import level_means, marginal_table, means_table
from trialkit.words.dose_words import dose_sentences, not_fitted_sentence
from trialkit.words.measures import MeasureSystem
from trialkit.words.response_words import RESPONSE_LABELS
from trialkit.words.treatment_names import level_label, treatment_label

NAME = "dose"
COLUMN = "dose_tsp"


def dose_picture(reading: Reading, response: ResponseResult) -> Picture | None:
    """Draw the dose picture; None where the dose was not varied."""
    if COLUMN not in reading.columns:
        return None
    panels, unit = dose_panels(reading, response), response.unit
    label = RESPONSE_LABELS[response.name]
    quantity = quantity_words(label, unit)
    wide, narrow = draw_twice(NAME, lambda is_narrow: draw_panels(panels, quantity, unit, is_narrow))
    first = _finding(reading, response)
    (finding,) = reading.said(lambda system: [" ".join((first, *_curve_statements(reading, response, system)))])
    made = (
        _curves_table(reading, response),
        marginal_table(reading, f"{NAME}-levels", response, COLUMN),
        means_table(reading, f"{NAME}-means", response),
    )
    return Picture(
        NAME,
        finding,
        _how_to_read(reading, panels),
        f"Chart of {label} against nutrient dose in level teaspoons a bucket, {len(panels)} "
        f"panel{'s' if len(panels) > 1 else ''}. {finding.kitchen} {_levels(response)}",
        wide,
        narrow,
        tuple(table for table in made if table),
    )


def dose_panels(reading: Reading, response: ResponseResult) -> tuple[DosePanel, ...]:
    """Panels by cultivar with series by acidifier."""
    points = _points(response)
    cultivars = dict.fromkeys(treatment.cultivar for treatment in points)
    acidifiers = dict.fromkeys(treatment.acidifier for treatment in points)
    panels = []
    for cultivar in cultivars:
        series = tuple(
            (level_label("acidifier", name) if name else "", points.get(Treatment(cultivar, None, name), ()))
            for name in acidifiers
        )
        curve = _curve(response, cultivar, [point for _, some in series for point in some])
        panels.append(DosePanel(cultivar or "", series, _pointed(reading, cultivar), curve))
    return tuple(panels)


def _points(response: ResponseResult) -> Mapping[Treatment, tuple[PanelPoint, ...]]:
    """Points by cultivar and acidifier, in order of dose."""
    buckets = bucket_values(response)
    found: dict[Treatment, list[PanelPoint]] = {}
    for row in response.means:
        dose_tsp = row.treatment.dose_tsp
        if dose_tsp is not None:
            point = PanelPoint(dose_tsp, row.mean, row.lower, row.upper, buckets.get(row.treatment, ()))
            found.setdefault(row.treatment.among(("cultivar", "acidifier")), []).append(point)
    return {others: tuple(sorted(points, key=lambda p: p.dose)) for others, points in found.items()}


def _groups(response: ResponseResult) -> tuple[DoseGroup, ...]:
    """Groups of treatments that have a dose curve of their own; one for all of them in most trials."""
    return response.dose.groups if response.dose else ()


def _curve(response: ResponseResult, cultivar: str | None, points: Sequence[PanelPoint]) -> FittedCurve | None:
    """Curve of a cultivar's panel, moved up or down to its means: curves in common differ by a constant only."""
    fitting = [group for group in _groups(response) if group.treatment.cultivar in (None, cultivar)]
    if len(fitting) != 1 or not points:
        return None
    known = fitting[0].points
    doses, values = [p.dose_tsp for p in known], [p.mean for p in known]
    shift = sum(point.mean - _at(point.dose, doses, values) for point in points) / len(points)
    return FittedCurve(
        tuple((p.dose_tsp, p.mean + shift, p.lower + shift, p.upper + shift) for p in known),
        next(((one.dose_tsp, one.lower_tsp, one.upper_tsp) for one in fitting[0].recommended), None),
    )


def _at(dose: float, doses: Sequence[float], values: Sequence[float]) -> float:
    """Value of a curve at a dose, between the points on either side."""
    after = next((i for i, other in enumerate(doses) if other >= dose), len(doses) - 1)
    before = max(after - 1, 0)
    if doses[after] == doses[before]:
        return values[after]
    share = (dose - doses[before]) / (doses[after] - doses[before])
    return values[before] + share * (values[after] - values[before])


def _curve_statements(reading: Reading, response: ResponseResult, system: MeasureSystem) -> tuple[str, ...]:
    """What the curves say, or why none was fitted."""
    dose = response.dose
    if dose is None:
        return ()
    if dose.not_fitted:
        return (not_fitted_sentence(dose, system),)
    said: list[str] = []
    for group in dose.groups:
        whose = treatment_label(group.treatment, reading.columns)
        first, *more = dose_sentences(group, dose, response.unit, reading.confidence, system)
        said += [f"{whose}: {first}" if whose else first, *more]
    return tuple(said)


CURVE_NAMES = {
    "linear": "straight line",
    "quadratic": "parabola",
    "linear-plateau": "straight line to a plateau",
    "quadratic-plateau": "parabola to a plateau",
    "asymptotic": "levelling off (Mitscherlich)",
}


def _curves_table(reading: Reading, response: ResponseResult) -> Table | None:
    """The five curves: how much each weighs, and its shape."""
    body = []
    for group in _groups(response):
        whose = treatment_label(group.treatment, reading.columns)
        for one in group.curves:
            name = f"{whose}, {CURVE_NAMES[one.curve]}" if whose else CURVE_NAMES[one.curve]
            body.append(Row(name, (percent(one.weight), plain(one.shape), _shape_limits(one))))
    note = (
        "Weights by Akaike's criterion with its small-sample term, by number of buckets. The shape is the dose in "
        "level teaspoons at which a plateau is reached, or the rate of levelling off for each teaspoon; its interval, "
        f"by profile likelihood at {percent(reading.confidence)}, is open where the doses tried do not bound it."
    )
    heads = columns("curve", "weight", "shape", "interval of the shape")
    return make_table(f"{NAME}-curves", "Dose curves weighed against each other", heads, body, note)


def _shape_limits(curve: DoseCurve) -> str:
    if curve.shape is None:
        return ABSENT
    return " to ".join("open" if end is None else plain(end) for end in (curve.shape_lower, curve.shape_upper))


def _pointed(reading: Reading, cultivar: str | None) -> tuple[tuple[Part, float], ...]:
    """Parts and doses to point out in a cultivar's panel, the recommended one first."""
    seen: dict[Part, float] = {}
    for treatment in (reading.recommended, reading.current, reading.rival):
        if treatment.cultivar == cultivar and treatment.dose_tsp is not None:
            seen.setdefault(reading.part(treatment), treatment.dose_tsp)
    return tuple(seen.items())


def _finding(reading: Reading, response: ResponseResult) -> str:
    """Say what the doses did: the heaviest dose overall, and where the current one stands."""
    known, unit = level_means(response, COLUMN), response.unit
    if not known:
        return "Means by dose."
    best = max(known, key=lambda row: row.mean)
    first = (
        f"All else alike, {level_label(COLUMN, best.level)} gave the highest mean, "
        f"{with_interval(best.mean, best.lower, best.upper, unit)}"
    )
    now = next((row for row in known if row.level == reading.current.dose_tsp), None)
    if now is None or now is best:
        return f"{first}{', which is the current dose' if now else ''}."
    return f"{first}; the current {level_label(COLUMN, now.level)} gave {measure(now.mean)} {unit}."


def _levels(response: ResponseResult) -> str:
    """List every dose's mean for those who can't see the picture."""
    named = [
        f"{level_label(COLUMN, row.level)} {measure(row.mean)} {response.unit}" for row in level_means(response, COLUMN)
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
