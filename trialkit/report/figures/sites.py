"""The third picture: the same comparison at every garden, one strip each, on one scale."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from trialkit.documents.findings import ResponseResult
from trialkit.documents.results import Site
from trialkit.domain.treatment import Treatment
from trialkit.domain.units import Measures
from trialkit.pages.head_weights import amount, as_told, in_unit, limits
from trialkit.pages.numerals import (
    difference,
    difference_interval,
    p_value,
    percent,
    plain,
    signed,
)
from trialkit.pages.palette import LIGHT
from trialkit.pages.safe_text import shorten
from trialkit.pages.table import Row, Table, columns, make_table
from trialkit.report.figures.interval_rows import BUCKET_LANE, MEAN_LANE, quantity_words
from trialkit.report.figures.marks import PART_NAMES, PARTS, draw_buckets, draw_mark
from trialkit.report.figures.picture import Picture, drawn_picture
from trialkit.report.figures.sheet import (
    GROUND,
    NARROW_PX,
    TEXT_PX,
    WIDE_PX,
    foot_px,
    mixed,
    name_axis,
    new_axes,
    new_figure,
    pixels_from,
    say,
    scale_weights,
)
from trialkit.report.reading import PART_WORDS, Part, Reading
from trialkit.words.garden_words import covariate_label, exploration_sentence
from trialkit.words.measures import Sentence, each_way, joined
from trialkit.words.model_words import variance_label
from trialkit.words.phrases import count
from trialkit.words.response_words import RESPONSE_LABELS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEAST_SD = 0.05
"""A smaller one is none, to the tenth that it is told by."""
NAME = "gardens"
MOST_STRIPS = 40


@dataclass(frozen=True)
class Strip:
    """A garden: its buckets, and its raw means of the two treatments compared."""

    name: str
    details: str
    buckets: tuple[float, ...]
    current: float | None
    rival: float | None

    @property
    def difference(self) -> float | None:
        """Difference of the two means, where both are known."""
        return None if self.current is None or self.rival is None else self.rival - self.current


def sites_picture(reading: Reading, response: ResponseResult) -> Picture | None:
    """Draw the gardens in which both stood; None where there is none."""
    unit, measures = response.unit, reading.design.measures
    every = site_strips(reading, response)
    strips = tuple(strip for strip in every if strip.difference is not None)
    if not strips:
        return None
    rival = reading.part(reading.rival)
    current: Part = "kept" if reading.is_kept else "current"
    shown = strips[:MOST_STRIPS]
    label = RESPONSE_LABELS[response.name]
    quantity = quantity_words(label, unit, measures)
    who = f"{PART_WORDS[rival]} treatment"
    if _tried(reading, response) != reading.rival:
        who = f"treatment that was tried and is nearest to the {PART_WORDS[rival]} one"
    finding = each_way(lambda way: _finding(strips, who, unit, way), measures)
    return drawn_picture(
        NAME,
        finding,
        " ".join((_how_to_read(current, rival, len(every) - len(shown)), *_explored(response))),
        joined(
            f"Chart of {label}, one strip for each of {len(strips)} gardens. ", finding, *_each(strips, unit, measures)
        ),
        lambda is_narrow: _draw(shown, (current, rival), quantity, unit, measures, is_narrow),
        (site_table(reading, response), explored_table(response), new_garden_table(reading, response)),
    )


def _explored(response: ResponseResult) -> tuple[str, ...]:
    """How much effects differ between gardens, and what the differences go with."""
    residual = response.model.residual if response.model else "heads"
    said = tuple(
        f"{variance_label(row.term, residual).capitalize()}: standard deviation {plain(row.sd)} {response.unit}."
        for row in response.variances
        if row.sd and row.sd >= LEAST_SD and row.term.startswith("site:") and row.term != "site:block"
    )
    explored = response.gardens.explored if response.gardens else ()
    return (*said, *(exploration_sentence(one, response.unit) for one in explored))


def explored_table(response: ResponseResult) -> Table | None:
    """Slopes of the gardens' differences: an exploration."""
    body = (
        Row(
            f"{covariate_label(row.covariate)}, for each {plain(row.per)}",
            (
                signed(row.slope.estimate, response.unit, finer=True),
                difference_interval(row.slope.lower, row.slope.upper, response.unit, finer=True),
                plain(row.gardens, 9),
                p_value(row.p),
            ),
        )
        for row in (response.gardens.explored if response.gardens else ())
    )
    heads = columns("of the garden", f"slope of the gain, {response.unit}", "interval", "gardens", "p")
    note = "This gives ideas for trials and proves nothing, as no lot decided which garden has how much."
    return make_table(f"{NAME}-explored", "What the gain goes with", heads, body, note)


def new_garden_table(reading: Reading, response: ResponseResult) -> Table | None:
    """Mean of each treatment at a garden not yet seen."""
    measures = reading.design.measures
    body = (
        Row(
            reading.label(row.treatment),
            (
                amount(row.mean, response.unit, measures),
                limits(row.new_garden.lower, row.new_garden.upper, response.unit, measures),
            ),
            PART_WORDS[reading.part(row.treatment)],
        )
        for row in response.means
        if row.new_garden
    )
    named = ("mean", f"{percent(reading.confidence)} of new gardens")
    heads = columns("treatment", *(in_unit(f"{one}, {{}}".format, response.unit, measures) for one in named))
    note = "This is where the mean of a garden outside the trial may lie, as gardens differ."
    return make_table(f"{NAME}-new", "At a new garden", heads, body, note)


def site_strips(reading: Reading, response: ResponseResult) -> tuple[Strip, ...]:
    """Strips in the order of the design's gardens."""
    buckets: dict[str, list[float]] = defaultdict(list)
    for bucket in response.buckets:
        buckets[bucket.site].append(bucket.mean)
    means = _site_means(response)
    return tuple(
        Strip(
            reading.site_names[site.site],
            _details(site),
            tuple(buckets[site.site]),
            means.get((site.site, reading.current)),
            means.get((site.site, _tried(reading, response))),
        )
        for site in reading.design.sites
        if site.site in buckets
    )


def site_table(reading: Reading, response: ResponseResult) -> Table | None:
    """Raw means of every treatment at every garden."""
    found, measures = _site_means(response), reading.design.measures
    sites = list(dict.fromkeys(site for site, _ in found))
    body = (
        Row(
            reading.label(treatment),
            tuple(amount(found.get((site, treatment)), response.unit, measures) for site in sites),
            PART_WORDS[reading.part(treatment)],
        )
        for treatment in dict.fromkeys(treatment for _, treatment in found)
    )
    heads = columns(
        "treatment",
        *(quantity_words(reading.site_names[site], response.unit, measures) for site in sites),
    )
    return make_table(f"{NAME}-means", "Raw means of bucket means at each garden", heads, body)


def _tried(reading: Reading, response: ResponseResult) -> Treatment:
    """What stood beside the current practice: of a dose between those tried, the one next to it."""
    return response.gardens.treatment if response.gardens else reading.rival


def _site_means(response: ResponseResult) -> dict[tuple[str, Treatment], float]:
    return {(row.site, row.treatment): row.mean for row in response.site_means}


def _details(site: Site) -> str:
    alkalinity, sun = site.alkalinity_mg_l_caco3, site.sun_hours
    parts = (
        "" if alkalinity is None else f"alkalinity {plain(alkalinity)} mg/L",
        "" if sun is None else f"{plain(sun)} h sun",
    )
    return ", ".join(part for part in parts if part)


def _draw(
    strips: Sequence[Strip],
    parts: tuple[Part, Part],
    quantity: str | Sentence,
    unit: str,
    measures: Measures,
    is_narrow: bool,
) -> Figure:
    width, row = (NARROW_PX, 70) if is_narrow else (WIDE_PX, 62)
    left, right = (8, 8) if is_narrow else (250, 110)
    head, foot = 12.0, foot_px(unit)
    figure = new_figure(width, head + row * len(strips) + foot)
    axes = new_axes(figure, left, head, width - left - right, row * len(strips))
    axes.set_ylim(len(strips), 0)
    axes.set_yticks([])
    everything = [v for s in strips for v in (*s.buckets, s.current, s.rival) if v is not None]
    scale_weights(axes, min(everything), max(everything), unit, measures, vertical=False)
    middle = 0.64 if is_narrow else 0.5
    dots = [(i + middle + BUCKET_LANE, v) for i, strip in enumerate(strips) for v in strip.buckets]
    draw_buckets(axes, [at for at, _ in dots], [value for _, value in dots], "h")
    for i, strip in enumerate(strips):
        if i:
            axes.plot([0, 1], [i, i], color=LIGHT["rule"], linewidth=1, transform=axes.get_yaxis_transform(), zorder=1)
        _draw_means(axes, strip, parts, i + middle - MEAN_LANE)
        _write_strip(axes, strip, parts, i, _difference(strip.difference, unit, measures), is_narrow)
    name_axis(axes, 10 - foot, quantity)
    return figure


def _draw_means(axes: Axes, strip: Strip, parts: tuple[Part, Part], at: float) -> None:
    known = [
        (part, value) for part, value in zip(parts, (strip.current, strip.rival), strict=True) if value is not None
    ]
    if len(known) == 2:
        axes.plot([value for _, value in known], [at, at], color=LIGHT["ink"], linewidth=2, zorder=4)
    for part, value in known:
        draw_mark(axes, PARTS[part], value, at)


def _write_strip(axes: Axes, strip: Strip, parts: tuple[Part, Part], i: int, change: Sentence, is_narrow: bool) -> None:
    start, end = (mixed(pixels_from(axes, side), axes.transData) for side in (0.0, 1.0))
    role = PARTS[parts[1]].role
    if is_narrow:
        say(axes, 2, i + 0.2, shorten(strip.name, 28), transform=start, ha="left", fontweight="bold", bbox=GROUND)
        say(axes, -2, i + 0.2, change, role, transform=end, ha="right", fontweight="bold", bbox=GROUND)
        return
    lift = 0.15 if strip.details else 0.0
    say(axes, -242, i + 0.5 - lift, shorten(strip.name, 28), transform=start, ha="left", fontweight="bold")
    say(axes, -242, i + 0.68, strip.details, "muted", transform=start, ha="left", fontsize=TEXT_PX - 1)
    say(axes, 14, i + 0.5, change, role, transform=end, ha="left", fontweight="bold", fontsize=TEXT_PX + 1)


def _difference(value: float | None, unit: str, measures: Measures) -> Sentence:
    return each_way(lambda way: difference(*as_told(value or 0.0, unit, way)), measures)


def _finding(strips: Sequence[Strip], who: str, unit: str, measures: Measures) -> str:
    """Say at how many gardens the treatment did better, and how far gardens differ in it."""
    known = [(strip.difference, strip.name) for strip in strips if strip.difference is not None]
    better = sum(gain > 0 for gain, _ in known)
    low, high = min(known), max(known)
    if len(known) == 1:
        return (
            f"At the one garden, {low[1]}, the raw mean of the {who} differs from the current practice's by "
            f"{difference(*as_told(low[0], unit, measures))}. A single garden cannot show whether others would agree."
        )
    least, most = (difference(*as_told(one[0], unit, measures)) for one in (low, high))
    return (
        f"The {who} was ahead of the current practice at {better} of {len(known)} gardens. Its gain went from "
        f"{least} at {low[1]} to {most} at {high[1]}."
    )


def _each(strips: Sequence[Strip], unit: str, measures: Measures) -> Iterator[Sentence]:
    for strip in strips:
        yield joined(f" {strip.name}: ", _difference(strip.difference, unit, measures), ".")


def _how_to_read(current: Part, rival: Part, left_out: int) -> str:
    names = "; ".join(PART_NAMES[part] for part in (current, rival) if part != "other")
    more = f" {count(left_out, 'garden')} not drawn. The table below has every mean." if left_out else ""
    return (
        f"The raw means at each garden are joined by a line ({names}). Small dots are all of its buckets, whatever "
        f"their treatment. Few buckets stand behind each mark, so gardens differ partly by luck.{more}"
    )
