"""Panels of means against dose, with intervals, raw buckets, and the doses that matter pointed out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from trialkit.pages.palette import LIGHT
from trialkit.pages.safe_text import shorten
from trialkit.report.figures.marks import PARTS, SERIES, Mark, draw_buckets, draw_interval, draw_mark
from trialkit.report.figures.sheet import (
    NARROW_PX,
    TEXT_PX,
    WIDE_PX,
    mixed,
    new_axes,
    new_figure,
    pixels_from,
    say,
    scale_weights,
)
from trialkit.report.reading import PART_WORDS, Part
from trialkit.words.measures import spoons
from trialkit.words.treatment_names import level_label

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DODGE = 0.24  # share of the smallest step between doses that neighbouring series stand apart
WIDEST_DODGE = 0.7  # share of the step that all series together may take
LINE_PX = 20.0
LETTER_PX = 8.4  # of bold text, about
AXES_PX = 250.0
FOOT_PX = 62.0


@dataclass(frozen=True)
class PanelPoint:
    """A mean at a dose, with its interval and the raw buckets behind it."""

    dose: float
    mean: float
    lower: float
    upper: float
    buckets: tuple[float, ...]


@dataclass(frozen=True)
class FittedCurve:
    """A dose curve at the panel's height: dose, value and limits of each point, and the dose that it recommends."""

    points: tuple[tuple[float, float, float, float], ...]
    recommended: tuple[float, float, float] | None


@dataclass(frozen=True)
class DosePanel:
    """A cultivar's panel: its series by acidifier, the doses to point out, and the curve through the means."""

    title: str
    series: tuple[tuple[str, tuple[PanelPoint, ...]], ...]
    pointed: tuple[tuple[Part, float], ...]
    curve: FittedCurve | None = None


@dataclass(frozen=True)
class PanelRoom:
    """Pixels of a panel and of the room around its axes."""

    width: float
    left: float
    right: float
    top: float
    title_columns: int
    has_key: bool

    @property
    def height(self) -> float:
        """Height of the panel."""
        return self.top + AXES_PX + FOOT_PX


def draw_panels(panels: Sequence[DosePanel], quantity: str, unit: str, is_narrow: bool) -> Figure:
    """Draw the panels on one scale, side by side for a desk and below one another for a phone."""
    across = 1 if is_narrow or len(panels) == 1 else 2
    rooms = [_room([panel] if is_narrow else panels, across, is_narrow) for panel in panels]
    heights = [room.height for room in rooms[::across]]
    figure = new_figure(rooms[0].width * across, sum(heights))
    everything = [
        v for panel in panels for _, points in panel.series for p in points for v in (p.lower, p.upper, *p.buckets)
    ]
    everything += [v for panel in panels if panel.curve for point in panel.curve.points for v in point[2:]]
    for i, (panel, room) in enumerate(zip(panels, rooms, strict=True)):
        left, top = (i % across) * room.width + room.left, sum(heights[: i // across]) + room.top
        axes = new_axes(figure, left, top, room.width - room.left - room.right, AXES_PX)
        scale_weights(axes, min(everything), max(everything), unit, vertical=True)
        _draw_panel(axes, panel)
        _write_around(axes, panel, quantity, room)
    return figure


def _room(panels: Sequence[DosePanel], across: int, is_narrow: bool) -> PanelRoom:
    """Make room: names of series stand at their lines' ends at a desk, in a key above the axes on a phone."""
    series, is_titled = len(panels[0].series), bool(panels[0].title)
    has_names = series > 1
    pointed = max(len(panel.pointed[:2]) for panel in panels)
    head = LINE_PX * (1.4 * is_titled + 1 + pointed) + 8
    if is_narrow:
        return PanelRoom(NARROW_PX, 54, 10, head + LINE_PX * has_names * series, 34, has_names)
    return PanelRoom(WIDE_PX / across, 62, 126 if has_names else 26, head, 36, False)


def _draw_panel(axes: Axes, panel: DosePanel) -> None:
    doses = sorted({p.dose for _, points in panel.series for p in points})
    step = min((after - before for before, after in pairwise(doses)), default=1.0)
    axes.set_xlim(doses[0] - 0.55 * step, doses[-1] + 0.55 * step)
    axes.set_xticks(doses, [spoons(dose) for dose in doses])
    dodge = step * min(DODGE, WIDEST_DODGE / len(panel.series))
    offsets = [dodge * (i - (len(panel.series) - 1) / 2) for i in range(len(panel.series))]
    pointed = panel.pointed[:2]
    for line, (part, dose) in enumerate(reversed(pointed)):
        _point_out(axes, part, dose, step, line)
    placed = [(offset, points) for offset, (_, points) in zip(offsets, panel.series, strict=True)]
    dots = [(p.dose + offset, value) for offset, points in placed for p in points for value in p.buckets]
    draw_buckets(axes, [at for at, _ in dots], [value for _, value in dots], "v")
    if panel.curve:
        _draw_curve(axes, panel.curve)
    for i, (offset, points) in enumerate(placed):
        _draw_series(axes, _mark(i), offset, points, is_joined=panel.curve is None)


def _draw_curve(axes: Axes, curve: FittedCurve) -> None:
    """Draw the curve within its interval, its recommended dose as a triangle and that dose's interval as a bar."""
    doses, values, lower, upper = zip(*curve.points, strict=True)
    axes.fill_between(doses, lower, upper, color=LIGHT["rule"], linewidth=0, alpha=0.55, zorder=1)
    axes.plot(doses, values, color=LIGHT["ink"], linewidth=1.8, zorder=2.5)
    if curve.recommended:
        dose, low, high = curve.recommended
        floor = mixed(axes.transData, pixels_from(axes))
        axes.plot([low, high], [7, 7], color=LIGHT["ink"], linewidth=2.4, transform=floor, zorder=4)
        axes.plot([dose], [7], marker="^", markersize=9, color=LIGHT["ink"], transform=floor, zorder=5)


def _draw_series(axes: Axes, mark: Mark, offset: float, points: Sequence[PanelPoint], *, is_joined: bool) -> None:
    x, y = [p.dose + offset for p in points], [p.mean for p in points]
    if is_joined:
        (line,) = axes.plot(x, y, color=LIGHT[mark.role], linewidth=1.4, zorder=3)
        if mark.dashes:
            line.set_dashes(mark.dashes)
    for p in points:
        draw_interval(axes, mark, p.dose + offset, p.mean, p.lower, p.upper, vertical=True)


def _point_out(axes: Axes, part: Part, dose: float, step: float, line: int) -> None:
    """Shade the dose to use, or draw a dashed line at the one to compare it with, and name it above the axes."""
    mark = PARTS[part]
    if part in ("recommended", "kept"):
        axes.axvspan(dose - 0.46 * step, dose + 0.46 * step, color=LIGHT["wash"], linewidth=0, zorder=0)
    else:
        axes.axvline(dose, color=LIGHT[mark.role], linewidth=1.2, dashes=(4, 3), zorder=1)
    low, high = axes.get_xlim()
    width = axes.get_window_extent().width
    text = f"{PART_WORDS[part]}: {level_label('dose_tsp', dose)}"
    half = LETTER_PX * len(text) / 2  # keep the name within the axes, else under its dose
    x = min(max(width * (dose - low) / (high - low), half), max(width - half, half))
    y = LINE_PX * (line + 0.5)
    draw_mark(axes, mark, x - half + 5, y, transform=pixels_from(axes, 0, 1))
    say(axes, x - half + 16, y, text, mark.role, transform=pixels_from(axes, 0, 1), ha="left", fontweight="bold")


def _write_around(axes: Axes, panel: DosePanel, quantity: str, room: PanelRoom) -> None:
    corner = pixels_from(axes, 0, 1)
    left, y = 8 - room.left, room.top - 12
    if panel.title:
        title = shorten(panel.title, room.title_columns)
        say(axes, left, y, title, transform=corner, ha="left", fontsize=TEXT_PX + 2, fontweight="bold")
        y -= 1.4 * LINE_PX
    say(axes, left, y, quantity, "muted", transform=corner, ha="left")
    if room.has_key:
        _write_key(axes, panel, left, y - LINE_PX)
    elif len(panel.series) > 1:
        _name_lines(axes, panel)
    where = mixed(axes.transAxes, pixels_from(axes))
    say(axes, 0.5, -42, "level teaspoons of nutrient a bucket", "muted", transform=where, ha="center")


def _write_key(axes: Axes, panel: DosePanel, left: float, y: float) -> None:
    corner = pixels_from(axes, 0, 1)
    for i, (name, _) in enumerate(panel.series):
        draw_mark(axes, _mark(i), left + 6, y - i * LINE_PX, transform=corner)
        say(axes, left + 18, y - i * LINE_PX, shorten(name, 36), _mark(i).role, transform=corner, ha="left")


def _name_lines(axes: Axes, panel: DosePanel) -> None:
    """Name each series beside its last mean, moving names apart where lines end together."""
    low, high = axes.get_ylim()
    ends = sorted(
        ((points[-1].mean - low) / (high - low) * AXES_PX, i) for i, (_, points) in enumerate(panel.series) if points
    )
    y = float("-inf")
    for height, i in ends:
        y = max(height, y + LINE_PX)
        corner = pixels_from(axes, 1, 0)
        say(axes, 2, y, shorten(panel.series[i][0], 17), _mark(i).role, transform=corner, ha="left")


def _mark(position: int) -> Mark:
    return SERIES[position % len(SERIES)]
