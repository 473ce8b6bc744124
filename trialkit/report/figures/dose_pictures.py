"""The second picture where the dose was varied: the dose curve of what is recommended, over the raw means."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from trialkit.documents.decision import Decision, DoseAdvice
from trialkit.domain.units import OUNCE_G
from trialkit.pages.numerals import ABSENT, interval, percent, plain, told_weight
from trialkit.pages.palette import LIGHT
from trialkit.pages.table import Row, Table, columns, make_table
from trialkit.report.figures.marks import PARTS, RAW_MEAN, draw_mark
from trialkit.report.figures.picture import Picture
from trialkit.report.figures.sheet import (
    NARROW_PX,
    TEXT_PX,
    WIDE_PX,
    draw_twice,
    mixed,
    new_axes,
    new_figure,
    pixels_from,
    say,
    scale_weights,
)
from trialkit.report.reading import PART_WORDS, Part, Reading
from trialkit.report.tables import WHY_THEY_DIFFER
from trialkit.words.dose_words import dose_sentences
from trialkit.words.measures import Sentence, head_unit, joined, kitchen_words, spoons
from trialkit.words.phrases import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NAME = "dose"
COLUMN = "dose_tsp"
QUANTITY = "marketable weight per transplanted head, g"
LINE_PX = 20.0
LETTER_PX = 8.4  # of bold text, about
AXES_PX = 280.0
FOOT_PX = 62.0


@dataclass(frozen=True)
class DoseTicks:
    """What the axis of doses is told in."""

    title: str
    tick: Callable[[float], str]
    label: Callable[[float], str]


def dose_picture(reading: Reading) -> Picture | None:
    """Draw the dose curve; None where there is none."""
    decision = reading.decision
    if decision is None or decision.dose is None:
        return None
    advice = decision.dose
    pointed = _pointed(reading)
    scale = _dose_scale(reading)
    wide, narrow = draw_twice(NAME, lambda is_narrow: _draw(advice, pointed, scale, is_narrow))
    finding = _finding(reading, decision)
    table = _points_table(reading, advice)
    return Picture(
        NAME,
        finding,
        f"The line is the estimate at each dose, the band its {percent(decision.thresholds.confidence)} interval. Both "
        "end where the doses tried end. All records shape the line, also those of other cultivars and acids. Open "
        "circles are raw means of the buckets that had just this treatment, with their number. The shaded doses are as "
        f"good as the best, and the filled mark is the dose to use. {WHY_THEY_DIFFER}",
        f"Chart of {QUANTITY}, against nutrient dose in {scale.title}. {kitchen_words(finding)} "
        f"{_spoken(reading, advice)}",
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


def _spoken(reading: Reading, advice: DoseAdvice) -> str:
    """List the doses tried for those who can't see the picture."""
    measures, unit = reading.design.measures, head_unit(reading.design.measures)
    named = (
        f"{kitchen_words(reading.level_label(COLUMN, point.dose_tsp))}: {told_weight(point.yield_g, measures)} {unit} "
        f"(raw mean {told_weight(point.raw_yield_g, measures)} {unit})."
        for point in advice.points
        if point.buckets
    )
    return " ".join(("The estimates at the doses tried follow.", *named))


def _points_table(reading: Reading, advice: DoseAdvice) -> Table | None:
    measures, unit = reading.design.measures, head_unit(reading.design.measures)
    scale = OUNCE_G if measures == "kitchen" else 1.0
    body = (
        Row(
            reading.level_label(COLUMN, point.dose_tsp),
            (
                plain(point.n_mg_l),
                told_weight(point.yield_g, measures),
                interval(point.lower / scale, point.upper / scale),
                told_weight(point.raw_yield_g, measures),
                plain(point.buckets, 9) if point.buckets else ABSENT,
            ),
        )
        for point in advice.points
    )
    told = ("expected", f"{percent(reading.confidence)} interval", "raw mean")
    heads = columns("dose", "nitrogen, mg/L", *(f"{one}, {unit} per transplanted head" for one in told), "buckets")
    return make_table(f"{NAME}-points", "The dose curve", heads, body)


def _dose_scale(reading: Reading) -> DoseTicks:
    """Teaspoons, or grams where only metric measures are told and a spoonful was weighed."""
    grams = reading.nutrient_g_per_tsp

    def label(dose: float) -> str:
        return kitchen_words(reading.level_label(COLUMN, dose))

    if reading.design.measures == "metric" and grams is not None:
        return DoseTicks("g of nutrient a bucket", lambda dose: number(dose * grams), label)
    return DoseTicks("level teaspoons of nutrient a bucket", spoons, label)


def _draw(advice: DoseAdvice, pointed: tuple[tuple[Part, float], ...], scale: DoseTicks, is_narrow: bool) -> Figure:
    width, left, right = (NARROW_PX, 54.0, 12.0) if is_narrow else (WIDE_PX, 70.0, 40.0)
    top = LINE_PX * (1 + len(pointed)) + 8
    figure = new_figure(width, top + AXES_PX + FOOT_PX)
    axes = new_axes(figure, left, top, width - left - right, AXES_PX)
    points = advice.points
    everything = [v for p in points for v in (p.lower, p.upper, p.raw_yield_g) if v is not None]
    scale_weights(axes, min(everything), max(everything), "g", vertical=True)
    doses = [p.dose_tsp for p in points]
    step = min((after - before for before, after in pairwise(doses)), default=1.0)
    axes.set_xlim(doses[0] - 0.75 * step, doses[-1] + 0.75 * step)
    marked = sorted({p.dose_tsp for p in points if p.buckets} | {dose for _, dose in pointed})
    axes.set_xticks(marked, [scale.tick(dose) for dose in marked])
    good = (advice.good_from_tsp - 0.3 * step, advice.good_to_tsp + 0.3 * step)
    axes.axvspan(*good, color=LIGHT["wash"], linewidth=0, zorder=0)
    axes.fill_between(
        doses, [p.lower for p in points], [p.upper for p in points], color=LIGHT["rule"], linewidth=0, alpha=0.55,
        zorder=1,
    )  # fmt: skip
    axes.plot(doses, [p.yield_g for p in points], color=LIGHT["ink"], linewidth=1.8, zorder=2.5)
    for p in points:
        if p.raw_yield_g is not None:
            _draw_raw(axes, p.dose_tsp, p.raw_yield_g, p.buckets)
    for line, (part, dose) in enumerate(reversed(pointed)):
        _point_out(axes, f"{PART_WORDS[part]}: {scale.label(dose)}", part, dose, line)
    (part, dose), *_ = pointed
    draw_mark(axes, PARTS[part], dose, next(p.yield_g for p in points if p.dose_tsp == dose))
    say(axes, 8 - left, top - 12, QUANTITY, "muted", transform=pixels_from(axes, 0, 1), ha="left")
    where = mixed(axes.transAxes, pixels_from(axes))
    say(axes, 0.5, -42, scale.title, "muted", transform=where, ha="center")
    return figure


def _draw_raw(axes: Axes, dose: float, value: float, buckets: int) -> None:
    """Draw a raw mean, and how many buckets it is of."""
    draw_mark(axes, RAW_MEAN, dose, value)
    axes.annotate(
        str(buckets), (dose, value), (0, 12), textcoords="offset pixels",
        ha="center", va="center", color=LIGHT["muted"], fontsize=TEXT_PX, zorder=6,
    )  # fmt: skip


def _point_out(axes: Axes, text: str, part: Part, dose: float, line: int) -> None:
    """Name a dose above the axes; that of the current practice has a dashed line."""
    mark = PARTS[part]
    if part == "current":
        axes.axvline(dose, color=LIGHT[mark.role], linewidth=1.2, dashes=(4, 3), zorder=1)
    low, high = axes.get_xlim()
    width = axes.get_window_extent().width
    half = LETTER_PX * len(text) / 2  # keep the name within the axes, else over its dose
    x = min(max(width * (dose - low) / (high - low), half), max(width - half, half))
    y = LINE_PX * (line + 0.5)
    draw_mark(axes, mark, x - half + 5, y, transform=pixels_from(axes, 0, 1))
    say(axes, x - half + 16, y, text, mark.role, transform=pixels_from(axes, 0, 1), ha="left", fontweight="bold")
