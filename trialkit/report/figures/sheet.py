"""The house style of a drawing: bare axes in pixels of the page, colours by role, strangers' text kept plain."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from trialkit.domain.units import OUNCE_G, Measures
from trialkit.pages.numerals import plain
from trialkit.pages.palette import LIGHT
from trialkit.pages.safe_text import shorten
from trialkit.report.figures.inline_svg import gid_of, inline_svg
from trialkit.words.measures import Sentence, joined

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.transforms import Transform

PIXELS_PER_INCH = 72
WIDE_PX = 880
NARROW_PX = 344
TEXT_PX = 12.5
TICK_LINE_PX = 15.0
GROUND = {"facecolor": LIGHT["card"], "edgecolor": "none", "pad": 1}
"""Behind words within the axes, so that no line strikes them out."""
# Harmless: letters that strangers typed and our measuring font lacks. The reader's browser has its own fonts.
IGNORED_WARNINGS = (r"Glyph .* missing", r"Matplotlib currently does not support")


def draw_twice(name: str, draw: Callable[[bool], Figure]) -> tuple[str, str]:
    """Draw for a desk and for a phone.

    Parameters
    ----------
    name : str
        Unique on the page.
    draw : callable
        Takes whether the drawing is for a phone.

    Returns
    -------
    tuple of str
        The wide and the narrow drawing as SVG.
    """
    with _house_style():
        return inline_svg(draw(False), f"{name}-wide"), inline_svg(draw(True), f"{name}-narrow")


@contextmanager
def _house_style() -> Iterator[None]:
    """Matplotlib's own defaults, whatever the reader's settings are, and ours over them."""
    import matplotlib as mpl

    ours: dict[Any, Any] = {
        "font.family": "DejaVu Sans",  # ships with matplotlib: the same measurements on every machine
        "font.size": TEXT_PX,
        "text.parse_math": False,
        "axes.unicode_minus": False,
        "lines.solid_capstyle": "butt",
        "svg.image_inline": True,
    }
    with mpl.rc_context(), warnings.catch_warnings():
        mpl.rcdefaults()
        mpl.rcParams.update(ours)
        for message in IGNORED_WARNINGS:
            warnings.filterwarnings("ignore", message=message)
        yield


def new_figure(width_px: float, height_px: float) -> Figure:
    """Make an empty sheet."""
    from matplotlib.figure import Figure

    size = (round(width_px) / PIXELS_PER_INCH, round(height_px) / PIXELS_PER_INCH)
    return Figure(figsize=size, dpi=PIXELS_PER_INCH)


def new_axes(figure: Figure, left: float, top: float, width: float, height: float) -> Axes:
    """Place bare axes, in pixels from the upper left corner."""
    sheet_width, sheet_height = figure.get_size_inches() * PIXELS_PER_INCH
    box = (left / sheet_width, 1 - (top + height) / sheet_height, width / sheet_width, height / sheet_height)
    axes: Axes = figure.add_axes(box, frame_on=False)
    axes.tick_params(length=0, labelcolor=LIGHT["muted"], labelsize=TEXT_PX, pad=6)
    axes.set_axisbelow(True)
    return axes


def foot_px(unit: str) -> float:
    """Room below horizontal axes: for the ticks, in ounces too where they are grams, and the title in its middle."""
    return 62.0 if unit == "g" else 46.0


def scale_weights(axes: Axes, low: float, high: float, unit: str, measures: Measures, *, vertical: bool) -> None:
    """Set limits, a few round ticks that carry the unit (grams: and ounces), and fine lines across at each."""
    from matplotlib.ticker import FixedLocator, MaxNLocator, NullFormatter

    margin = 0.06 * (high - low) or 1.0
    axis = axes.yaxis if vertical else axes.xaxis
    low, high = low - margin, high + margin
    (axes.set_ylim if vertical else axes.set_xlim)(low, high)
    inside = 0.0 if vertical else 0.9 * margin  # nearer to the side a label would be cut off by the edge of the sheet
    values = [
        value
        for value in MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
        if low + inside <= value <= high - inside
    ]
    axis.set_major_locator(FixedLocator(values))
    axis.set_major_formatter(NullFormatter())
    for value in values:
        if unit == "g":
            label_weight(axes, value, measures, vertical=vertical)
        else:
            label_tick(axes, value, f"{plain(value, 4)} {unit}".strip(), "", vertical=vertical)
    axes.grid(axis="y" if vertical else "x", color=LIGHT["rule"], linewidth=1)


def label_weight(axes: Axes, grams: float, measures: Measures, *, vertical: bool) -> None:
    """Write what a tick says in grams, in ounces, or in both."""
    metric, kitchen = f"{plain(grams, 4)} g", f"{plain(grams / OUNCE_G, 2)} oz"
    told = {"kitchen": kitchen, "metric": metric}
    if measures == "both":
        label_tick(axes, grams, Sentence(kitchen, metric, metric), kitchen, vertical=vertical)
    else:
        label_tick(axes, grams, told[measures], "", vertical=vertical)


def label_tick(axes: Axes, at: float, text: str | Sentence, below: str, *, vertical: bool) -> None:
    """Write what a tick says; `below`, on a line of its own, is read where both measure systems are."""
    from matplotlib.transforms import Affine2D

    lines: list[tuple[str | Sentence, float]] = [(text, 0.0)]
    if below:
        said, (first, second) = joined(text), (0.5, -0.5) if vertical else (0.0, -1.0)
        lines = [(replace(said, both=""), 0.0), (Sentence("", "", said.both), first), (Sentence("", "", below), second)]
    for line, up in lines:
        if vertical:
            beside = axes.transData + Affine2D().translate(0, TICK_LINE_PX * up)
            say(axes, -6, at, line, "muted", transform=mixed(pixels_from(axes), beside), ha="right")
        else:
            under = mixed(axes.transData, pixels_from(axes))
            say(axes, at, TICK_LINE_PX * up - 6, line, "muted", transform=under, ha="center", va="top")


def say(where: Axes | Figure, x: float, y: float, text: str | Sentence, role: str = "ink", **options: Any) -> None:
    """Write text that may come from strangers: no mathematics in it, never clipped; in each measure system."""
    settings: dict[str, Any] = {"fontsize": TEXT_PX, "va": "center", "parse_math": False, "clip_on": False} | options
    if isinstance(text, str):
        where.text(x, y, text, color=LIGHT[role], **settings)
    else:
        where.text(x, y, text.both or text.metric, color=LIGHT[role], gid=gid_of(text), **settings)


def cut(text: str | Sentence, columns: int) -> str | Sentence:
    """Cut a label to so many columns, in each measure system by itself."""
    return shorten(text, columns) if isinstance(text, str) else text.each(lambda one: shorten(one, columns))


def name_axis(axes: Axes, y: float, text: str | Sentence) -> None:
    """Write what the horizontal axis measures, so many pixels above it."""
    say(axes, 0.5, y, text, "muted", transform=mixed(axes.transAxes, pixels_from(axes)), ha="center")


def pixels_from(axes: Axes, horizontal: float = 0.0, vertical: float = 0.0) -> Transform:
    """Transform of pixels counted right and up from a place on the axes, given as shares of their width and height."""
    from matplotlib.transforms import Affine2D

    extent = axes.get_window_extent()
    shares = Affine2D().scale(1 / extent.width, 1 / extent.height).translate(horizontal, vertical)
    return shares + axes.transAxes


def mixed(x: Transform, y: Transform) -> Transform:
    """Transform whose x and y are counted differently."""
    from matplotlib.transforms import blended_transform_factory

    return blended_transform_factory(x, y)
