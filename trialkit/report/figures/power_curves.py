"""Picture of a plan: the chance of finding a difference, by how large it is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from trialkit.documents.plan import Plan, PowerCurve
from trialkit.pages.numerals import percent, plain, whole_percent
from trialkit.pages.palette import LIGHT
from trialkit.pages.table import Row, columns, make_table
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.report.figures.sheet import NARROW_PX, TEXT_PX, WIDE_PX, new_axes, new_figure, say
from trialkit.words.plan_words import curve_words

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NAME = "power"
LEFT_PX, TOP_PX, FOOT_PX, HEIGHT_PX = 52.0, 16.0, 52.0, 300.0
# Role and dashes of each line, in the order in which curves come: as assumed first.
LINES: tuple[tuple[str, Any, float], ...] = (
    ("leaf", "solid", 2.6),
    ("teal", (0, (5, 2)), 1.8),
    ("clay", (0, (1.5, 1.8)), 1.8),
)


def power_picture(plan: Plan) -> Picture:
    """Draw the power curves of a plan."""
    curves, margin, wanted = plan.curves, plan.margin_g, plan.power_wanted
    at = plan.difference.detectable_g
    finding = (
        "The chance of finding a difference from the current practice."
        if at is None
        else f"A difference of {plain(at)} g from the current practice would be found with a chance of "
        f"{percent(wanted)}."
    )
    body = (
        Row(f"{plain(x)} g", tuple(whole_percent(curve.power[i]) for curve in curves))
        for i, x in enumerate(curves[0].differences_g)
    )
    heads = columns("true difference", *(curve_words(curve) for curve in curves))
    table = make_table(f"{NAME}-data", "Chance of finding a difference", heads, body)
    reading = (
        "The scale below is how much a treatment truly differs from the current practice. The scale at the left is the "
        "chance that this trial finds it. The upright line is the difference that the protocol says would matter. The "
        "other lines tell what happens where every variance is half, or double, what was assumed."
    )
    alternative = f"Chart of {len(curves)} curves that rise with the difference. {finding} {_at_margin(curves, margin)}"
    return drawn_picture(
        NAME, finding, reading, alternative, lambda is_narrow: _draw(curves, margin, wanted, is_narrow), (table,)
    )


def _at_margin(curves: Sequence[PowerCurve], margin: float) -> str:
    """Say each curve's height at the margin."""
    parts = []
    for curve in curves:
        at = min(range(len(curve.power)), key=lambda i: abs(curve.differences_g[i] - margin))
        parts.append(f"{curve_words(curve)} {whole_percent(curve.power[at])}")
    return f"At {plain(margin)} g: {', '.join(parts)}."


def _draw(curves: Sequence[PowerCurve], margin: float, wanted: float, is_narrow: bool) -> Figure:
    width = NARROW_PX if is_narrow else WIDE_PX
    figure = new_figure(width, TOP_PX + HEIGHT_PX + FOOT_PX + 22 * len(curves) * is_narrow)
    axes = new_axes(figure, LEFT_PX, TOP_PX, width - LEFT_PX - (16 if is_narrow else 190), HEIGHT_PX)
    axes.set_xlim(0, curves[0].differences_g[-1])
    axes.set_ylim(0, 1)
    axes.set_yticks([0, 0.2, 0.4, 0.6, 0.8, 1.0], ["", "20 %", "40 %", "60 %", "80 %", "100 %"])
    axes.xaxis.set_major_formatter(lambda value, _: f"{plain(value)} g")
    axes.grid(axis="y", color=LIGHT["rule"], linewidth=1)
    axes.axhline(wanted, color=LIGHT["muted"], linewidth=1)
    axes.axvline(margin, color=LIGHT["muted"], linewidth=1)
    for curve, (role, dashes, thick) in zip(curves, LINES, strict=False):
        axes.plot(curve.differences_g, curve.power, color=LIGHT[role], linestyle=dashes, linewidth=thick)
    _name_lines(figure, curves, is_narrow)
    foot = TOP_PX + HEIGHT_PX + 40
    total = figure.get_size_inches()[1] * 72
    say(figure, LEFT_PX / width, 1 - foot / total, "true difference in head weight", "muted", fontsize=TEXT_PX)
    return figure


def _name_lines(figure: Figure, curves: Sequence[PowerCurve], is_narrow: bool) -> None:
    """Name the lines beside their ends, or below the chart on a phone, each after a piece of its line."""
    from matplotlib.lines import Line2D

    width, height = (size * 72 for size in figure.get_size_inches())
    for i, (curve, (role, dashes, thick)) in enumerate(zip(curves, LINES, strict=False)):
        x = LEFT_PX if is_narrow else width - 178
        y = TOP_PX + HEIGHT_PX + FOOT_PX + 8 + 22 * i if is_narrow else TOP_PX + 20 + 24 * i
        points = [x / width, (x + 30) / width], [1 - y / height] * 2
        figure.add_artist(Line2D(*points, color=LIGHT[role], linestyle=dashes, linewidth=thick))
        say(figure, (x + 38) / width, 1 - y / height, curve_words(curve), role)
