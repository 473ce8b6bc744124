"""Rows of means with intervals over raw buckets, one row a treatment or a level."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import TYPE_CHECKING, Any

from trialkit.domain.units import Measures
from trialkit.pages.head_weights import as_told, in_unit, mean_words
from trialkit.pages.numerals import told
from trialkit.pages.palette import LIGHT
from trialkit.report.figures.marks import PARTS, RAW_MEAN, draw_buckets, draw_interval, draw_mark
from trialkit.report.figures.picture import Probe
from trialkit.report.figures.sheet import (
    GROUND,
    NARROW_PX,
    TEXT_PX,
    WIDE_PX,
    cut,
    foot_px,
    mixed,
    name_axis,
    new_axes,
    new_figure,
    pixels_from,
    say,
    scale_weights,
)
from trialkit.report.reading import PART_WORDS, Part
from trialkit.words.measures import Sentence, each_way, joined

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.transforms import Transform

MOST_ROWS = 60
MEAN_LANE, BUCKET_LANE = 0.12, 0.2  # shares of a row above and below its middle


@dataclass(frozen=True)
class IntervalRow:
    """A row: its group and label, its estimate, and the raw bucket means behind it."""

    group: str | Sentence
    label: str | Sentence
    mean: float
    lower: float
    upper: float
    buckets: tuple[float, ...]
    part: Part = "other"
    seen: str | Sentence = ""  # the buckets in words
    raw: float | None = None  # their mean, where it is drawn beside the estimate
    value: str | Sentence = ""  # what stands beside the row; the mean with its interval where empty


@dataclass(frozen=True)
class Spacing:
    """Pixels of a drawing, and columns of text that fit beside it."""

    width: float
    left: float
    right: float
    row: float
    label_columns: int
    group_columns: int
    lift: float  # of the label above the marks, in rows; 0 where the label stands at the left
    value_lift: float = 0.0  # of what stands beside it: lower, on a line of its own, where both do not fit on one
    drop: float = 0.0  # of the marks below the middle, in rows


WIDE = Spacing(WIDE_PX, 384, 250, 36, 51, 60, 0.0)
COLUMN_PX, HEADING_COLUMN_PX = 7.5, 9.0
NARROW = Spacing(NARROW_PX, 8, 8, 56, 42, 34, 0.3, 0.3, 0.14)
NARROW_ON_TWO_LINES = Spacing(NARROW_PX, 8, 8, 76, 50, 34, 0.35, 0.13, 0.19)
SHORT_WORDS: Mapping[Part, str] = {
    "recommended": "recommended",
    "current": "current",
    "kept": "kept",
    "rival": "alternative",
    "recorded": "recorded",
    "other": "",
}
WASHES: Mapping[Part, str] = {"recommended": "wash", "kept": "wash", "current": "clay-wash"}
TOP_PX = 30.0
LEAST_LEFT_PX = 144.0


def draw_rows(
    rows: Sequence[IntervalRow],
    quantity: str,
    unit: str,
    measures: Measures,
    reference: tuple[float, str] | None,
    is_narrow: bool,
) -> Figure:
    """Draw rows under group headings.

    Parameters
    ----------
    rows : sequence of IntervalRow
        Rows of a group stand together.
    quantity, unit : str
        What the axis measures.
    measures : {"kitchen", "metric", "both"}
        In which it is told.
    reference : tuple of float and str, or None
        A value to compare all rows with, drawn as a dashed line, and its name.
    is_narrow : bool
        Whether the drawing is for a phone.
    """
    space = (_narrow_space if is_narrow else _wide_space)(rows, unit, measures)
    positions, headings = _positions(rows)
    total = positions[-1] + 1.0
    height = total * space.row
    figure = new_figure(space.width, TOP_PX + height + foot_px(unit))
    axes = new_axes(figure, space.left, TOP_PX, space.width - space.left - space.right, height)
    axes.set_ylim(total, 0)
    axes.set_yticks([])
    everything = [v for row in rows for v in (row.lower, row.upper, *row.buckets, row.raw) if v is not None]
    everything += [reference[0]] if reference else []
    scale_weights(axes, min(everything), max(everything), unit, measures, vertical=False)
    if reference:
        _draw_reference(axes, *reference)
    for text, at in headings:
        _draw_heading(axes, cut(text, space.group_columns), at, space)
    # Buckets lie in a lane of their own below the interval, which would hide them.
    dots = [
        (at + 0.5 + space.drop + BUCKET_LANE, value)
        for row, at in zip(rows, positions, strict=True)
        for value in row.buckets
    ]
    draw_buckets(axes, [d[0] for d in dots], [d[1] for d in dots], "h")
    for row, at in zip(rows, positions, strict=True):
        draw_interval(axes, PARTS[row.part], at + 0.5 + space.drop - MEAN_LANE, row.mean, row.lower, row.upper)
        if row.raw is not None:
            draw_mark(axes, RAW_MEAN, row.raw, at + 0.5 + space.drop + BUCKET_LANE)
        _label_row(axes, row, at + 0.5, unit, measures, space)
    name_axis(axes, 10 - foot_px(unit), quantity_words(quantity, unit, measures))
    return figure


def _wide_space(rows: Sequence[IntervalRow], unit: str, measures: Measures) -> Spacing:
    """Room for the longest texts at both sides of a wide drawing, and no more than they need."""
    labels = COLUMN_PX * max(min(WIDE.label_columns, _columns(row.label)) for row in rows) + 16
    headings = HEADING_COLUMN_PX * max(min(WIDE.group_columns, _columns(row.group)) for row in rows) + 12
    right = (
        COLUMN_PX * max(max(_columns(_estimate(row, unit, measures)), len(PART_WORDS[row.part]) - 1) for row in rows)
        + 20
    )
    return replace(WIDE, left=max(LEAST_LEFT_PX, labels, min(headings, WIDE.left)), right=min(WIDE.right, right))


def _narrow_space(rows: Sequence[IntervalRow], unit: str, measures: Measures) -> Spacing:
    """Labels of a drawing for a phone on one line with what is estimated, or on one of their own."""
    fits = all(_columns(row.label) + _columns(_over(row, unit, measures)) < NARROW.label_columns for row in rows)
    return NARROW if fits else NARROW_ON_TWO_LINES


def _columns(label: str | Sentence) -> int:
    return len(label) if isinstance(label, str) else max(len(label.both), len(label.kitchen), len(label.metric))


def _estimate(row: IntervalRow, unit: str, measures: Measures) -> str | Sentence:
    """What stands at the right of a row."""
    return row.value or mean_words(row.mean, row.lower, row.upper, unit, measures)


def _over(row: IntervalRow, unit: str, measures: Measures) -> Sentence:
    """What stands over the marks of a row."""

    def mean(way: Measures) -> str:
        value, told_unit = as_told(row.mean, unit, way)
        return f"{told(value, told_unit)} {told_unit}"

    words = SHORT_WORDS[row.part]
    return joined(f"{words}, " if words else "", row.value or each_way(mean, measures))


def probes(rows: Sequence[IntervalRow], unit: str, measures: Measures) -> tuple[Probe, ...]:
    """Rows as they can be pointed at: those with raw buckets behind them."""
    positions, _ = _positions(rows)
    return tuple(
        Probe(
            joined(
                row.group,
                ", " if row.group and row.label else "",
                row.label,
                ": ",
                _estimate(row, unit, measures),
                ".",
            ),
            row.seen,
            *(f"{TOP_PX + at * space.row:g} {space.row:g}" for space in (WIDE, _narrow_space(rows, unit, measures))),
        )
        for row, at in zip(rows, positions, strict=True)
        if row.seen
    )


def quantity_words(quantity: str, unit: str, measures: Measures) -> str | Sentence:
    """Title of an axis: what it measures and in which unit."""
    return (
        in_unit(lambda told_unit: f"{quantity}, {told_unit}", unit, measures) if unit and unit != quantity else quantity
    )


def _positions(rows: Sequence[IntervalRow]) -> tuple[list[float], list[tuple[str | Sentence, float]]]:
    """Place rows and headings from the top, a heading taking a row."""
    positions: list[float] = []
    headings = []
    at = 0.0
    for group, members in groupby(rows, key=lambda row: row.group):
        if group:
            headings.append((group, at))
            at += 0.9
        for _ in members:
            positions.append(at)
            at += 1.0
    return positions, headings


def _draw_reference(axes: Axes, value: float, name: str) -> None:
    axes.axvline(value, color=LIGHT["clay"], linewidth=1.4, dashes=(4, 3), zorder=1)
    low, high = axes.get_xlim()
    share = (value - low) / (high - low)
    side = "left" if share < 0.3 else "right" if share > 0.7 else "center"
    say(axes, value, 12, name, "clay", transform=mixed(axes.transData, pixels_from(axes, 0, 1)), ha=side)


def _draw_heading(axes: Axes, text: str | Sentence, at: float, space: Spacing) -> None:
    x = -space.left + 4 if not space.lift else 0
    style: dict[str, Any] = {"ha": "left", "fontsize": TEXT_PX + 1.5, "fontweight": "bold"}
    if space.lift:  # it stands over the axes, not beside them
        style["bbox"] = GROUND
    say(axes, x, at + (0.45 if space.lift else 0.55), text, transform=_beside(axes, right=False), **style)


def _label_row(axes: Axes, row: IntervalRow, at: float, unit: str, measures: Measures, space: Spacing) -> None:
    mark, words = PARTS[row.part], PART_WORDS[row.part]
    weight = "bold" if words else "normal"
    if row.part in WASHES:
        axes.axhspan(at - 0.5, at + 0.5, color=LIGHT[WASHES[row.part]], linewidth=0, zorder=1.5)
    role = mark.role if words else "ink"
    if space.lift:
        _label_above(axes, row, at, unit, measures, space)
        return
    label = cut(row.label, space.label_columns)
    say(axes, -12, at, label, role, transform=_beside(axes, right=False), ha="right", fontweight=weight)
    estimate = _estimate(row, unit, measures)
    offset = 0.2 if words else 0.0
    say(axes, 14, at - offset, estimate, role, transform=_beside(axes, right=True), ha="left", fontweight=weight)
    if words:
        say(axes, 14, at + 0.24, words, role, transform=_beside(axes, right=True), ha="left", fontsize=TEXT_PX - 1.5)


def _label_above(axes: Axes, row: IntervalRow, at: float, unit: str, measures: Measures, space: Spacing) -> None:
    """Write the label and the mean over the marks, on a ground that keeps the lines behind from striking them out."""
    estimate = _over(row, unit, measures)
    style = {
        "fontweight": "bold" if SHORT_WORDS[row.part] else "normal",
        "bbox": None if row.part in WASHES else GROUND,
    }
    role = PARTS[row.part].role
    is_on_one_line = space.lift == space.value_lift
    label = cut(row.label, space.label_columns - (_columns(estimate) if is_on_one_line else 0))
    over, beside = at - space.lift, at - space.value_lift
    light = style if is_on_one_line else style | {"fontweight": "normal"}
    say(axes, 2, over, label, role, transform=_beside(axes, right=False), ha="left", **light)
    say(axes, -2, beside, estimate, role, transform=_beside(axes, right=True), ha="right", **style)


def _beside(axes: Axes, *, right: bool) -> Transform:
    """Transform: x in pixels from a side of the axes, y in rows."""
    return mixed(pixels_from(axes, 1.0 if right else 0.0), axes.transData)
