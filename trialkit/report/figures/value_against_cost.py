"""Picture of a plan: what designs are worth against the buckets that they take, or their cost."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from trialkit.documents.plan import DesignRow, Plan
from trialkit.domain.units import Measures
from trialkit.pages.numerals import plain
from trialkit.pages.palette import LIGHT
from trialkit.report.figures.marks import PARTS, Mark, draw_mark
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.report.figures.sheet import (
    PIXELS_PER_INCH,
    TEXT_PX,
    WIDE_PX,
    label_weight,
    name_axis,
    new_axes,
    new_figure,
    say,
)
from trialkit.words.measures import MeasureSystem, Sentence, in_every_measure, joined
from trialkit.words.phrases import count
from trialkit.words.plan_words import value_words, worth_picture_finding

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

NAME = "worth"
NARROW_PX = 272.0
"""No wider than a phone of 320 pixels shows it, so that its letters keep their size there."""
LEFT_PX, RIGHT_PX, LANE_PX, HEIGHT_PX, FOOT_PX = 66.0, 18.0, 44.0, 250.0, 52.0
"""Left and right of the axes, of the lane of a name above or below the dots, of the dots, and below the axes."""
ASKED, PROPOSED = PARTS["current"], PARTS["recommended"]
EFFICIENT, OTHER = Mark("o", "leaf", True, 5), Mark("o", "raw", False, 4.5)


@dataclass(frozen=True)
class _Dot:
    """A design: where it lies, and how it is named where it is named."""

    x: float
    value_g: float
    mark: Mark
    lines: tuple[Sentence, str] | None = None


def worth_picture(plan: Plan) -> Picture:
    """Draw every design within the limits, and the one asked for."""
    rows = [row for at, row in enumerate(plan.designs) if at == 0 or not row.beyond]
    is_costed = any(row.cost for row in plan.designs)
    what = "cost of buckets" if is_costed else "buckets"
    named = [_named(plan, 0, is_costed)] + ([_named(plan, plan.proposed, is_costed)] if plan.proposed else [])
    taken = [plan.designs[0], plan.designs[plan.proposed]]
    others = [
        _Dot(_x(row, is_costed), row.value_g, EFFICIENT if row.efficient else OTHER)
        for row in rows
        if not any(row is one for one in taken)
    ]
    finding = in_every_measure(lambda system: [worth_picture_finding(plan, system)], None, plan.measures)[0]
    marks = (
        "The diamond is the trial asked for, which is proposed too."
        if plan.verdict.is_as_asked
        else f"The open square is the trial asked for{', and the diamond the one proposed' if plan.proposed else ''}."
    )
    reading = (
        f"Each mark is a design. The scale below is its {what}, and the scale at the left is how much the next handout "
        "should gain. The line joins the designs that are worth more than any smaller one. Filled dots lie on it, and "
        "open ones below. "
        f"{marks} The table below has them all."
    )
    chart = f"Chart of {count(len(rows), 'design')}, value against {what}. "
    line = sorted((_x(row, is_costed), row.value_g) for row in rows if row.efficient)
    return drawn_picture(
        NAME,
        finding,
        reading,
        joined(chart, finding, *_each(named)),
        lambda is_narrow: _draw(others, named, line, f"{what} of the whole trial", plan.measures, is_narrow),
        (),
    )


def _x(row: DesignRow, is_costed: bool) -> float:
    return row.cost if is_costed else float(row.buckets)


def _named(plan: Plan, at: int, is_costed: bool) -> _Dot:
    row = plan.designs[at]
    mark = PROPOSED if at or plan.verdict.is_as_asked else ASKED
    title = "proposed" if at else "as asked for, proposed" if plan.verdict.is_as_asked else "as asked for"
    takes = f"{count(row.buckets, 'bucket')}, {count(row.visits, 'visit')}"

    def value(system: MeasureSystem) -> list[str]:
        return [value_words(row.value_g, system)]

    return _Dot(
        _x(row, is_costed),
        row.value_g,
        mark,
        (joined(f"{title}: ", in_every_measure(value, None, plan.measures)[0]), takes),
    )


def _each(named: Sequence[_Dot]) -> Iterator[Sentence]:
    for dot in named:
        if dot.lines:
            yield joined(" ", dot.lines[0].each(str.capitalize), f", {dot.lines[1]}.")


def _draw(
    others: Sequence[_Dot],
    named: Sequence[_Dot],
    line: Sequence[tuple[float, float]],
    foot: str,
    measures: Measures,
    is_narrow: bool,
) -> Figure:
    """Name the design asked for above all dots, the one proposed below them: neither name meets a dot or the other."""
    from matplotlib.ticker import MaxNLocator

    width = NARROW_PX if is_narrow else WIDE_PX
    lanes = len(named) * LANE_PX
    figure = new_figure(width, lanes + HEIGHT_PX + FOOT_PX)
    axes = new_axes(figure, LEFT_PX, LANE_PX, width - LEFT_PX - RIGHT_PX, HEIGHT_PX + lanes - LANE_PX)
    dots = [*others, *named]
    low, high = _widened([dot.value_g for dot in dots])
    drawn = HEIGHT_PX / (HEIGHT_PX + lanes - LANE_PX)
    axes.set_ylim(high - (high - low) / drawn, high)
    axes.set_xlim(*_widened([dot.x for dot in dots]))
    axes.xaxis.set_major_locator(MaxNLocator(4 if is_narrow else 7, integer=True))
    axes.xaxis.set_major_formatter(lambda value, _: plain(value, 6))
    ticks = [value for value in MaxNLocator(5).tick_values(low, high) if low <= value <= high]
    axes.set_yticks(ticks, [""] * len(ticks))
    for value in ticks:
        label_weight(axes, value, measures, vertical=True)
    axes.grid(axis="y", color=LIGHT["rule"], linewidth=1)
    if line:
        axes.plot(*zip(*line, strict=True), color=LIGHT["leaf"], linewidth=1.8, zorder=3)
    for dot in others:
        draw_mark(axes, dot.mark, dot.x, dot.value_g)
    for above, dot in zip((True, False), named, strict=False):
        draw_mark(axes, dot.mark, dot.x, dot.value_g)
        _name(figure, axes, dot, above=above)
    name_axis(axes, -(FOOT_PX - 14), foot)
    return figure


def _widened(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    margin = 0.08 * (high - low) or max(0.1 * abs(high), 1.0)
    return low - margin, high + margin


def _name(figure: Figure, axes: Axes, dot: _Dot, *, above: bool) -> None:
    """Write two lines in the lane of a design, and a thin line from it to them."""
    from matplotlib.lines import Line2D

    assert dot.lines
    width, height = figure.get_size_inches() * PIXELS_PER_INCH
    x, y = axes.transData.transform((dot.x, dot.value_g))
    sheet = axes.get_window_extent()
    end, first = (sheet.y1 + 2, sheet.y1 + 30) if above else (sheet.y0 + LANE_PX - 2, sheet.y0 + LANE_PX - 12)
    role, half = dot.mark.role, _half_width(dot.lines)
    middle = min(max(x, half + 2), width - half - 2)
    figure.add_artist(Line2D([x / width] * 2, [y / height, end / height], color=LIGHT[role], linewidth=1))
    value, takes = dot.lines
    say(figure, middle / width, first / height, value, role, ha="center", fontweight="bold")
    say(figure, middle / width, (first - 17) / height, takes, role, ha="center")


def _half_width(lines: tuple[Sentence, str]) -> float:
    """Half of how wide the longest of some lines is, in bold."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    bold = FontProperties(weight="bold", size=TEXT_PX)
    value, takes = lines
    every = (value.both, value.kitchen, value.metric, takes)
    return float(max(TextPath((0, 0), line, prop=bold, usetex=False).get_extents().width for line in every)) / 2
