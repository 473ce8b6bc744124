"""Pictures of the checks: shape and spread of the buckets, scale, records."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from trialkit.documents.findings import QuantilePoint, ResponseResult
from trialkit.pages.numerals import percent, plain, signed
from trialkit.pages.palette import LIGHT
from trialkit.pages.safe_text import shorten
from trialkit.pages.table import Column, Row, Table, columns, make_table, text_column
from trialkit.report.figures.marks import Mark
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.report.figures.sheet import (
    NARROW_PX,
    WIDE_PX,
    cut,
    mixed,
    new_axes,
    new_figure,
    pixels_from,
    say,
    scale_weights,
)
from trialkit.report.reading import Reading, is_analysed
from trialkit.words.check_words import check_words
from trialkit.words.measures import KITCHEN, MeasureSystem, Sentence, joined

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DrawPanel = Callable[["Axes"], None]
Panel = tuple[str, str, DrawPanel]

YIELD = "bucket_weight_g"
PANEL_PX, FOOT_PX, HEAD_PX, ROW_PX = 230.0, 52.0, 46.0, 17.0
MOST_SITES = 30
NAME_COLUMNS = 10
DROP = 3.84
INSIDE, OUTSIDE = Mark("o", "teal", True, 4.5), Mark("D", "clay", True, 4.5)
"""Buckets within the band of simulated trials, and beyond it."""


def check_pictures(reading: Reading) -> tuple[Picture, ...]:
    """Draw what can be drawn of the checks of the yields, or of the leading response where these have none."""
    yields = reading.analysed(YIELD)
    response = yields if yields and yields.diagnostics else reading.response
    of_response = (_shape_and_spread(response), _scale(response)) if response else ()
    drawn = (*of_response, _records(reading))
    return tuple(picture for picture in drawn if picture)


def _check(response: ResponseResult, *wanted: str, system: MeasureSystem = KITCHEN) -> str:
    """Finding, figures and consequence of the checks named."""
    checks = [check for name in wanted for check in response.checks if check.id == name]
    every = (check_words(check, response.unit, system) for check in checks)
    return " ".join(text for one in every for text in (one.finding, one.figures, one.consequence) if text)


def _draw_panels(panels: Sequence[Panel], rows: int, is_narrow: bool) -> Figure:
    """Draw panels (a title, an axis title, what to draw) side by side for a desk, below one another for a phone.

    All are as high as the most rows of names in one ask for.
    """
    panel_px = max(PANEL_PX, ROW_PX * rows)
    across = 1 if is_narrow else len(panels)
    down = len(panels) // across
    width = NARROW_PX if is_narrow else WIDE_PX / across
    height = HEAD_PX + panel_px + FOOT_PX
    figure = new_figure(width * across, height * down)
    for i, (title, below, draw) in enumerate(panels):
        left, top = (i % across) * width + 86, (i // across) * height + HEAD_PX
        axes = new_axes(figure, left, top, width - 86 - 30, panel_px)
        draw(axes)
        say(axes, -78, 26, title, transform=pixels_from(axes, 0, 1), ha="left", fontweight="bold")
        say(axes, width / 2 - 86, -40, below, "muted", transform=pixels_from(axes), ha="center")
    return figure


def _picture(
    name: str,
    finding: str | Sentence,
    how: str,
    panels: Sequence[Panel],
    tables: Sequence[Table | None],
    kind: str,
    rows: int = 0,
) -> Picture:
    return drawn_picture(
        name, finding, how, joined(f"{kind} ", finding), lambda is_narrow: _draw_panels(panels, rows, is_narrow), tables
    )


def _shape_and_spread(response: ResponseResult) -> Picture | None:
    diagnostics, unit = response.diagnostics, response.unit
    if diagnostics is None or not diagnostics.quantiles:
        return None
    points, spread = diagnostics.quantiles, diagnostics.spread[:MOST_SITES]
    panels: list[Panel] = [
        ("Shape", "what a bell shape would give, standard deviations", lambda a: _quantiles(a, points))
    ]
    if len(spread) > 1:
        panels.append(
            (
                "Spread at each garden",
                f"standard deviation between like buckets, {unit}",
                lambda a: _bars(a, [(s.site, s.sd) for s in spread]),
            )
        )
    outside = sum(not p.lower <= p.studentised <= p.upper for p in points)
    body = (
        Row(
            p.bucket,
            (p.site, signed(p.studentised, "standard deviations"), plain(p.expected), plain(p.lower), plain(p.upper)),
        )
        for p in points
    )
    heads = (text_column("bucket"), text_column("garden"), *map(Column, ("residual", "expected", "from", "to")))
    gardens = (Row(s.site, (plain(s.sd), plain(s.df), plain(s.buckets, 9))) for s in spread)
    return _picture(
        "check-shape",
        _check(response, "shape"),
        f"{_check(response, 'spread', 'outlier')} Each dot is a bucket. The scale at the left is how far it lies from "
        "what its treatment and block lead one to expect, in standard deviations. The scale below is what a bell shape "
        f"would give at its rank. The grey band holds 95 of 100 simulated trials whole. {outside or 'None'} of "
        f"{len(points)} buckets {'lies' if outside == 1 else 'lie'} outside it.",
        panels,
        (
            make_table("check-quantiles", "Residuals in order", heads, body),
            make_table(
                "check-spread", "Spread at each garden", columns("garden", f"s.d., {unit}", "d.f.", "buckets"), gardens
            ),
        ),
        "Quantile plot of bucket residuals, and their spread at each garden.",
        len(spread),
    )


def _quantiles(axes: Axes, points: Sequence[QuantilePoint]) -> None:
    axes.xaxis.set_major_formatter(lambda value, _: plain(value))
    at = [p.expected for p in points]
    scale_weights(
        axes,
        min(min(p.lower, p.studentised) for p in points),
        max(max(p.upper, p.studentised) for p in points),
        "",
        "metric",
        vertical=True,
    )
    lower, upper = [p.lower for p in points], [p.upper for p in points]
    axes.fill_between(at, lower, upper, color=LIGHT["rule"], linewidth=0, zorder=1)
    axes.plot(at, at, color=LIGHT["edge"], linewidth=1, zorder=2)
    for wanted, mark in ((True, INSIDE), (False, OUTSIDE)):
        chosen = [p for p in points if (p.lower <= p.studentised <= p.upper) is wanted]
        axes.plot(
            [p.expected for p in chosen],
            [p.studentised for p in chosen],
            linestyle="none",
            marker=mark.shape,
            markersize=mark.size,
            color=LIGHT[mark.role],
            zorder=3,
        )


def _bars(axes: Axes, named: Sequence[tuple[str | Sentence, float]], unit: str = "") -> None:
    """Draw amounts, a named row each, as lines from zero that end in a dot."""
    scale_weights(axes, 0.0, max(amount for _, amount in named), unit, "metric", vertical=False)
    axes.set_xlim(left=0)
    _name_rows(axes, [name for name, _ in named])
    for i, (_, amount) in enumerate(named):
        axes.plot([0, amount], [i, i], color=LIGHT["teal"], linewidth=2, zorder=3)
        axes.plot([amount], [i], marker="o", markersize=7, color=LIGHT["teal"], zorder=4)


def _name_rows(axes: Axes, names: Sequence[str | Sentence]) -> None:
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_yticks([])
    left = mixed(pixels_from(axes), axes.transData)
    for i, name in enumerate(names):
        say(axes, -6, i, cut(name, NAME_COLUMNS), "muted", transform=left, ha="right")


def _scale(response: ResponseResult) -> Picture | None:
    scale = response.diagnostics.scale if response.diagnostics else None
    if scale is None:
        return None
    profile = scale.profile
    near = [p for p in profile if p.drop <= 4 * DROP]

    def draw(axes: Axes) -> None:
        scale_weights(axes, 0.0, max(2 * DROP, *(p.drop for p in near)), "", "metric", vertical=True)
        axes.set_xlim(min(p.power for p in near) - 0.1, max(p.power for p in near) + 0.1)
        axes.axhline(DROP, color=LIGHT["edge"], linewidth=1.2, dashes=(4, 3), zorder=1)
        axes.axvline(1.0, color=LIGHT["clay"], linewidth=1.2, dashes=(4, 3), zorder=1)
        axes.plot([p.power for p in near], [p.drop for p in near], color=LIGHT["teal"], linewidth=2, zorder=3)

    body = (Row(plain(p.power), (plain(p.drop),)) for p in profile)
    return _picture(
        "check-scale",
        _check(response, "scale"),
        "The line tells how much worse each power of the response fits than the best one, by twice the log-likelihood. "
        "Powers under the dashed line agree with the records. The upright line, 1, is the response as it is, and 0 its "
        "logarithm.",
        [("How the records are compared", "power of the response", draw)],
        (make_table("check-scale-rows", "Box-Cox profile", columns("power", "worse by"), body),),
        "Line chart of how well each power of the response fits.",
    )


def _numbered(label: Sentence, number: int) -> Sentence:
    """A row's name and number; there is no room for both measures beside each other."""
    room = NAME_COLUMNS - len(f" {number}")
    return replace(label, both=label.kitchen).each(lambda text: f"{shorten(text, room)} {number}")


def _records(reading: Reading) -> Picture | None:
    """Shares of the heads without a record, by treatment; None where there is no such head, or nothing to mislead."""
    yields = reading.results.responses[YIELD]
    shares = [
        (row.treatment, row.heads.unrecorded / row.heads.planned)
        for row in reading.results.losses.by_treatment
        if row.heads.planned
    ]
    if not is_analysed(yields) or not any(share for _, share in shares) or len(shares) > MOST_SITES:
        return None
    names = [_numbered(reading.label(t, reading.columns[:1]), i) for i, (t, _) in enumerate(shares, 1)]

    bars: list[tuple[str | Sentence, float]] = [
        (name, 100 * share) for name, (_, share) in zip(names, shares, strict=True)
    ]
    body = (Row(reading.label(t), (percent(share),)) for t, share in shares)
    (finding,) = reading.said(lambda system: [_check(yields, "missing", system=system) or "Some heads have no record."])
    return _picture(
        "check-records",
        finding,
        "Share of the planned heads of each treatment that have no record, in the order of the table below.",
        [("Heads without a record", "share of the planned heads", lambda a: _bars(a, bars, "%"))],
        (make_table("check-records-rows", "Heads without a record", columns("treatment", "share"), body),),
        "Chart of the heads without a record by treatment.",
        len(bars),
    )
