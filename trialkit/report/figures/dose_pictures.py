"""The second picture where the dose was varied: the dose curve of what is recommended, over the raw means."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from trialkit.documents.decision import Decision, DoseAdvice
from trialkit.pages.head_weights import amount, in_unit, limits, told_weight
from trialkit.pages.numerals import ABSENT, percent, plain
from trialkit.pages.palette import LIGHT
from trialkit.pages.table import Row, Table, columns, make_table
from trialkit.report.figures.marks import PARTS, RAW_MEAN, draw_mark
from trialkit.report.figures.picture import Picture
from trialkit.report.figures.sheet import (
    GROUND,
    NARROW_PX,
    TEXT_PX,
    WIDE_PX,
    draw_twice,
    label_tick,
    name_axis,
    new_axes,
    new_figure,
    pixels_from,
    say,
    scale_weights,
)
from trialkit.report.reading import PART_WORDS, Part, Reading
from trialkit.report.tables import WHY_THEY_DIFFER
from trialkit.words.dose_words import dose_sentences
from trialkit.words.measures import MeasureSystem, Sentence, each_way, grams_words, head_unit, joined, spoons
from trialkit.words.treatment_names import level_label

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NAME = "dose"
COLUMN = "dose_tsp"
QUANTITY = "marketable weight per transplanted head"
LINE_PX = 20.0
LETTER_PX = 8.4  # of bold text, about
AXES_PX = 280.0
EDGE_SHARE = 0.06
FOOT_PX = 64.0


def dose_picture(reading: Reading) -> Picture | None:
    """Draw the dose curve; None where there is none."""
    decision = reading.decision
    if decision is None or decision.dose is None:
        return None
    advice = decision.dose
    pointed = _pointed(reading)
    wide, narrow = draw_twice(NAME, lambda is_narrow: _draw(reading, advice, pointed, is_narrow))
    finding = _finding(reading, decision)
    table = _points_table(reading, advice)
    return Picture(
        NAME,
        finding,
        f"The line is the estimate at each dose, the band its {percent(decision.thresholds.confidence)} interval. Both "
        "end where the doses tried end. All records shape the line, also those of other cultivars and acids. Open "
        "circles are raw means of the buckets that had just this treatment, with their number. The shaded doses are as "
        f"good as the best, and the filled mark is the dose to use. {WHY_THEY_DIFFER}",
        joined(
            f"Chart of {QUANTITY}, against ",
            _dose_title(reading),
            ". ",
            finding,
            " ",
            reading.said(lambda system: [_spoken(advice, system)])[0],
        ),
        wide,
        narrow,
        (table,) if table else (),
    )


def _pointed(reading: Reading) -> tuple[tuple[Part, float], ...]:
    """Parts and doses to point out, the recommended one first."""
    seen: dict[float, Part] = {}
    for treatment in (reading.recommended, reading.current):
        if treatment.dose_tsp is not None:
            seen.setdefault(treatment.dose_tsp, reading.part(treatment))
    return tuple((part, dose) for dose, part in seen.items())


def _finding(reading: Reading, decision: Decision) -> Sentence:
    """Say which doses are as good as the best."""
    others = [column for column in reading.columns if column != COLUMN]
    whose = reading.label(decision.recommended, others)
    said = reading.said(lambda system: [" ".join(dose_sentences(decision, system))])[0]
    return joined(whose, ". ", said) if others else said


def _spoken(advice: DoseAdvice, system: MeasureSystem) -> str:
    """List the doses tried for those who can't see the picture."""
    measures, unit = system.measures, head_unit(system.measures)
    named = (
        f"{level_label(COLUMN, point.dose_tsp, system)}: {told_weight(point.yield_g, measures)} {unit} "
        f"(raw mean {told_weight(point.raw_yield_g, measures)} {unit})."
        for point in advice.points
        if point.buckets
    )
    return " ".join(("The estimates at the doses tried follow.", *named))


def _points_table(reading: Reading, advice: DoseAdvice) -> Table | None:
    measures = reading.design.measures
    body = (
        Row(
            reading.level_label(COLUMN, point.dose_tsp),
            (
                plain(point.n_mg_l),
                amount(point.yield_g, "g", measures),
                limits(point.lower, point.upper, "g", measures),
                amount(point.raw_yield_g, "g", measures),
                plain(point.buckets, 9) if point.buckets else ABSENT,
            ),
        )
        for point in advice.points
    )
    told = ("expected", f"{percent(reading.confidence)} interval", "raw mean")
    weights = (in_unit(f"{one}, {{}} per transplanted head".format, "g", measures) for one in told)
    heads = columns("dose", "nitrogen, mg/L", *weights, "buckets")
    return make_table(f"{NAME}-points", "The dose curve", heads, body)


def _dose_title(reading: Reading) -> Sentence:
    """What doses are told in: teaspoons, grams where a spoonful was weighed, or both, of which grams stand below."""
    spoons_title, grams_title = "level teaspoons of nutrient a bucket", "g of nutrient a bucket"
    if reading.nutrient_g_per_tsp is None:
        return joined(spoons_title)
    both = "level teaspoons of nutrient a bucket, and g"
    return each_way(
        lambda way: {"kitchen": spoons_title, "metric": grams_title, "both": both}[way], reading.design.measures
    )


def _label_dose(axes: Axes, reading: Reading, dose_tsp: float) -> None:
    grams = reading.nutrient_g_per_tsp
    if grams is None:
        label_tick(axes, dose_tsp, spoons(dose_tsp), "", vertical=False)
        return
    metric, kitchen = grams_words(dose_tsp * grams), spoons(dose_tsp)
    told = each_way(lambda way: metric.removesuffix(" g") if way == "metric" else kitchen, reading.design.measures)
    below = metric if reading.design.measures == "both" else ""
    label_tick(axes, dose_tsp, told, below, vertical=False)


def _draw(reading: Reading, advice: DoseAdvice, pointed: tuple[tuple[Part, float], ...], is_narrow: bool) -> Figure:
    width, left, right = (NARROW_PX, 60.0, 20.0) if is_narrow else (WIDE_PX, 70.0, 40.0)
    top = LINE_PX * (1 + len(pointed)) + 8
    figure = new_figure(width, top + AXES_PX + FOOT_PX)
    axes = new_axes(figure, left, top, width - left - right, AXES_PX)
    points = advice.points
    everything = [v for p in points for v in (p.lower, p.upper, p.raw_yield_g) if v is not None]
    scale_weights(axes, min(everything), max(everything), "g", reading.design.measures, vertical=True)
    doses = [p.dose_tsp for p in points]
    step = min((after - before for before, after in pairwise(doses)), default=1.0)
    margin = max(0.75 * step, EDGE_SHARE * (doses[-1] - doses[0]))  # numbers at the ends keep off the axis
    axes.set_xlim(doses[0] - margin, doses[-1] + margin)
    marked = sorted({p.dose_tsp for p in points if p.buckets} | {dose for _, dose in pointed})
    axes.set_xticks([])
    for dose in marked:
        _label_dose(axes, reading, dose)
    good = (advice.good_from_tsp - 0.3 * step, advice.good_to_tsp + 0.3 * step)
    axes.axvspan(*good, color=LIGHT["wash"], linewidth=0, zorder=0)
    axes.fill_between(
        doses, [p.lower for p in points], [p.upper for p in points], color=LIGHT["rule"], linewidth=0, alpha=0.55,
        zorder=1,
    )  # fmt: skip
    axes.plot(doses, [p.yield_g for p in points], color=LIGHT["ink"], linewidth=1.8, zorder=2.5)
    for p in points:
        if p.raw_yield_g is not None:
            has_line = ("current", p.dose_tsp) in pointed
            side: Literal["left", "center", "right"] = (
                "center" if not has_line else "left" if p.dose_tsp == doses[0] else "right"
            )
            _draw_raw(axes, p.dose_tsp, p.raw_yield_g, p.buckets, side)
    for line, (part, dose) in enumerate(reversed(pointed)):
        _point_out(axes, joined(f"{PART_WORDS[part]}: ", reading.level_label(COLUMN, dose)), part, dose, line)
    (part, dose), *_ = pointed
    draw_mark(axes, PARTS[part], dose, next(p.yield_g for p in points if p.dose_tsp == dose))
    title = in_unit(f"{QUANTITY}, {{}}".format, "g", reading.design.measures)
    say(axes, 8 - left, top - 12, title, "muted", transform=pixels_from(axes, 0, 1), ha="left")
    name_axis(axes, 12 - FOOT_PX, _dose_title(reading))
    return figure


def _draw_raw(axes: Axes, dose: float, value: float, buckets: int, side: Literal["left", "center", "right"]) -> None:
    """Draw a raw mean, and how many buckets it is of, aside where an upright line goes through it."""
    draw_mark(axes, RAW_MEAN, dose, value)
    aside = {"left": 5, "center": 0, "right": -5}[side]
    axes.annotate(
        str(buckets), (dose, value), (aside, 14), textcoords="offset pixels",
        ha=side, va="center", color=LIGHT["muted"], fontsize=TEXT_PX, zorder=4.6, bbox=GROUND,
    )  # fmt: skip


def _point_out(axes: Axes, text: Sentence, part: Part, dose: float, line: int) -> None:
    """Name a dose above the axes; that of the current practice has a dashed line."""
    mark = PARTS[part]
    if part == "current":
        axes.axvline(dose, color=LIGHT[mark.role], linewidth=1.2, dashes=(4, 3), zorder=1)
    low, high = axes.get_xlim()
    width = axes.get_window_extent().width
    half = (
        LETTER_PX * max(map(len, (text.both, text.kitchen, text.metric))) / 2
    )  # keep the name within the axes, else over its dose
    x = min(max(width * (dose - low) / (high - low), half), max(width - half, half))
    y = LINE_PX * (line + 0.5)
    draw_mark(axes, mark, x - half + 5, y, transform=pixels_from(axes, 0, 1))
    say(axes, x - half + 16, y, text, mark.role, transform=pixels_from(axes, 0, 1), ha="left", fontweight="bold")
