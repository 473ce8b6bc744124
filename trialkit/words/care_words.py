"""Setting a bucket up and looking after it, in plain words, with where each figure comes from."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from trialkit.domain.fill_line import AIR_GAP_CM, FULLEST
from trialkit.domain.units import GALLON_L, Measures
from trialkit.languages import gettext, translatable
from trialkit.words.cautions import EMPTY_BUCKET_KG
from trialkit.words.measures import (
    in_measures,
    length_words,
    mass_words,
    temperature_words,
    volume_words,
)
from trialkit.words.phrases import count, number

HOLES_APART_CM = 15.0
CUP_RIM_CM, HOLE_CM = 7.5, 7.0
WET_CUP_CM = 3.0
SEEDLING_WEEKS = (2, 3)
"""Of the source's 1 to 3 the last two: before that there are no true leaves (common practice, no source)."""
NORMAL_SEEDLINGS = {25.0: 99, 30.0: 12}
"""Of a hundred seeds of lettuce, by degrees Celsius."""
ROOTS_AT_MOST_C = 25.0
BOLTS_FROM_C = 24.0
READY_HEAD_G, READY_HEAD_OZ = 150, 5
SUN_HOURS = 6
REFRIGERATOR_C = 4.4
LARGE_LID_HEADS = 4
"""As many cups as stand that far apart in the lid of a bucket of 5 US gallons."""
VOLUME_LETTERS = 13
"""As many as there is room for in a line beside the drawing."""
SOURCES = (
    translatable("wet part of the cup: Kratky 2009, Acta Horticulturae 843:65"),
    translatable("age of seedlings: Kratky 2010, University of Hawaii CTAHR VC-1 (1 to 3 weeks)"),
    translatable("seedlings by temperature: Harrington & Minges 1954, in Knott's Handbook for Vegetable Growers"),
    translatable(
        "size of a head and warmth of roots: Brechner & Both, Hydroponic Lettuce Handbook, Cornell (from memory)"
    ),
    translatable("refrigerator: US FDA (from memory)"),
    translatable("running water: Virginia Cooperative Extension SPES-467NP and US FDA (from memory)"),
    translatable("bleach by its label: US EPA (from memory)"),
    translatable("bolting: home-garden pages only, no primary source found"),
    translatable("all else: common practice, no source"),
)
"""As English names them; `care_sources` says them."""


@dataclass(frozen=True)
class BucketFacts:
    """What a page on care has to know."""

    volume_l: Annotated[float, "Water up to the fill line, L."]
    heads: Annotated[int, "Cups in the lid."]
    brim_l: Annotated[float | None, "That the bucket holds to the brim, L; None where nobody said."] = None
    seedling_days: Annotated[int | None, "Age at which seedlings are set out; None: as is usual."] = None
    is_trial: Annotated[bool, "Whether what is added is written down."] = False

    @property
    def holds_l(self) -> float:
        """What the bucket must hold to the brim, L."""
        return self.brim_l or math.ceil(self.volume_l / FULLEST)


@dataclass(frozen=True)
class CareSection:
    """One step of care: a title, and what to do."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class DrawingLabels:
    """What is written beside the parts of a bucket cut open, line by line."""

    lid: tuple[str, ...]
    bucket: tuple[str, ...]
    cup: tuple[str, ...]
    gap: tuple[str, ...]
    start: tuple[str, ...]
    air_roots: tuple[str, ...]
    harvest: tuple[str, ...]
    roots: tuple[str, ...]
    alternative: Annotated[str, "The drawing in words, for who does not see it."]


def care_sources() -> tuple[str, ...]:
    """Say where the figures come from."""
    return tuple(map(gettext, SOURCES))


def care_sections(bucket: BucketFacts, measures: Measures = "both") -> tuple[CareSection, ...]:
    """Say how a bucket is set up and looked after, in the order in which things are done."""
    return (
        CareSection(gettext("The bucket"), tuple(_bucket(bucket, measures))),
        CareSection(gettext("The fill line"), tuple(_fill_line(bucket, measures))),
        CareSection(gettext("The plants"), tuple(_plants(bucket, measures))),
        CareSection(gettext("While they grow"), tuple(_growing(bucket, measures))),
        CareSection(gettext("Ready to cut"), tuple(_harvest(measures))),
        CareSection(gettext("Before the next crop"), tuple(_cleaning())),
    )


def _bucket(bucket: BucketFacts, measures: Measures) -> Iterator[str]:
    holds = volume_words(bucket.holds_l, measures)
    yield (
        gettext("Use a food-grade bucket with a tight lid that holds {volume} to the brim.", volume=holds)
        if bucket.brim_l
        else gettext("Use a food-grade bucket with a tight lid that holds at least {volume} to the brim.", volume=holds)
    )
    yield gettext(
        "Let no light in. Light grows green algae, which rob the roots. Wrap a pale bucket in foil or dark cloth. Plug "
        "each spare hole."
    )
    yield (
        _holes(bucket.heads, measures)
        + " "
        + gettext(
            "Each is just too small for the rim of the net cup. A cup {cup} wide takes a hole of about {hole}.",
            cup=length_words([CUP_RIM_CM], measures),
            hole=length_words([HOLE_CM], measures),
        )
    )


def _holes(number: int, measures: Measures) -> str:
    if number == 1:
        return gettext("Drill 1 hole in the lid.")
    if number > LARGE_LID_HEADS:
        return gettext("Drill {number} holes in the lid, as far apart as the lid lets you.", number=number)
    return gettext(
        "Drill {number} holes in the lid, about {length} from middle to middle.",
        number=number,
        length=length_words([HOLES_APART_CM], measures),
    )


def _fill_line(bucket: BucketFacts, measures: Measures) -> Iterator[str]:
    weight = mass_words(bucket.volume_l + EMPTY_BUCKET_KG, measures)
    yield gettext(
        "Put the bucket where it will stay, and fill it there. Full, it weighs about {weight}.", weight=weight
    )
    yield gettext(
        "Pour in {volume} once, with a measuring jug. Draw a line where the water ends. For each new crop, fill to "
        "that line.",
        volume=volume_words(bucket.volume_l, measures),
    )
    yield gettext(
        "Leave an air gap of {gap} up to the lid. With the lid on, {wet}. If a cup hangs dry, use a deeper cup. Do not "
        "fill past the line.",
        gap=length_words(AIR_GAP_CM, measures),
        wet=wet_cups(measures),
    )


def wet_cups(measures: Measures) -> str:
    """Say how far cups reach into the water."""
    return gettext("the bottom {length} of each cup must be wet", length=length_words([WET_CUP_CM], measures))


def _plants(bucket: BucketFacts, measures: Measures) -> Iterator[str]:
    days = bucket.seedling_days
    yield gettext(
        "Set out plants about {age} old, with two to four true leaves, one to a cup.",
        age=_weeks(SEEDLING_WEEKS) if days is None else count(days, "day", "days"),
    )
    (cool, many), (hot, few) = NORMAL_SEEDLINGS.items()
    yield gettext(
        "Sow in a cool place. At {cool}, {many} seeds of 100 grow well. At {hot}, only {few} do.",
        cool=temperature_words(cool, measures),
        many=many,
        hot=temperature_words(hot, measures),
        few=few,
    )


def _weeks(weeks: tuple[int, int]) -> str:
    return gettext("{least} to {most} weeks", least=weeks[0], most=weeks[1])


def siting_lines(sowing: str = "", measures: Measures = "both") -> Iterator[str]:
    """Say when to sow, how much light there should be, and where the bucket stands; `sowing` as the county says it."""
    yield sowing or gettext(
        "Grow in a cool time of year. From about {heat} up, lettuce may bolt and turn bitter.",
        heat=temperature_words(BOLTS_FROM_C, measures),
    )
    yield gettext("Sow {weeks} before you fill the bucket.", weeks=_weeks(SEEDLING_WEEKS))
    yield gettext("Give it about {hours} hours of sun a day. When it is hot, shade it at noon.", hours=SUN_HOURS)
    yield gettext("Stand it on firm, level ground, off hot paving.")


def _growing(bucket: BucketFacts, measures: Measures) -> Iterator[str]:
    yield gettext(
        "Let the water sink as the plants drink. Roots in the gap need air. Never fill up to the cups again: it drowns "
        "them."
    )
    yield (
        gettext(
            "Top up only if less than a third is left. Add plain water, and nothing else, up to half the height of the "
            "line at most. Do so in all buckets alike. Write down the day and how much."
        )
        if bucket.is_trial
        else gettext(
            "Top up only if less than a third is left. Add plain water, or plant food at half strength, up to half the "
            "height of the line at most."
        )
    )
    yield gettext(
        "From about {heat} up, lettuce may bolt: the stem shoots up and the leaves turn bitter. Shade the bucket at "
        "noon. Keep it off hot paving. Keep the water at {warmest} or less.",
        heat=temperature_words(BOLTS_FROM_C, measures),
        warmest=temperature_words(ROOTS_AT_MOST_C, measures),
    )


def ready_words(measures: Measures) -> str:
    """Say when a head is cut."""
    return gettext(
        "A head is ready when it is full and firm, and as big as one that you would buy: about {weight}. Cut it before "
        "the stem shoots up.",
        weight=in_measures(measures, f"{READY_HEAD_OZ} oz", f"{READY_HEAD_G} g"),
    )


def _harvest(measures: Measures) -> Iterator[str]:
    yield ready_words(measures)
    yield gettext(
        "Wash your hands. Use a clean knife. Rinse the leaves under running water, with no soap. Keep them in the "
        "refrigerator, at {coldest} or less.",
        coldest=temperature_words(REFRIGERATOR_C, measures),
    )


def _cleaning() -> Iterator[str]:
    yield gettext(
        "Pour used water where local rules let you: on garden soil, with as much plain water. Never into a drain or "
        "stream."
    )
    yield gettext(
        "Scrub bucket, lid and cups with soap. Rinse. Then use bleach, thinned as its label says. Rinse well, and let "
        "them dry."
    )
    yield gettext("Never let bleach meet acid or vinegar. They make chlorine gas, which can kill.")


def drawing_labels(bucket: BucketFacts, measures: Measures = "both") -> DrawingLabels:
    """Label the drawing of a bucket cut open; where a label's lines break is part of its text."""
    ways: tuple[Measures, ...] = ("kitchen", "metric") if measures == "both" else (measures,)
    gap = tuple(length_words(AIR_GAP_CM, way) for way in ways)
    volume = (line for way in ways for line in textwrap.wrap(volume_words(bucket.volume_l, way), VOLUME_LETTERS))
    return DrawingLabels(
        lid=_lines(gettext("tight lid")),
        bucket=_lines(gettext("bucket that\nlets no light in")),
        cup=_lines(gettext("net cup,\nits foot wet\nat the start")),
        gap=(*_lines(gettext("air gap at\nthe start:")), *gap),
        start=(*_lines(gettext("fill line:")), *volume),
        air_roots=_lines(gettext("later, roots\nin the air")),
        harvest=_lines(gettext("water at\nharvest")),
        roots=_lines(gettext("roots in water")),
        alternative=gettext(
            "A bucket cut open. A net cup hangs in the tight lid. The fill line lies {gap} under the lid. It wets the "
            "foot of the cup: {volume}. At harvest the water stands far lower. Between the two lines the roots hang in "
            "air, under them in water.",
            gap=length_words(AIR_GAP_CM, measures),
            volume=volume_words(bucket.volume_l, measures),
        ),
    )


def _lines(label: str) -> tuple[str, ...]:
    return tuple(label.split("\n"))


def dose_by_volume(dose_tsp: float, volume_l: float, g_per_tsp: float | None, measures: Measures = "both") -> str:
    """Say a dose for who fills another bucket: by the gallon, by the litre, or both.

    Examples
    --------
    >>> dose_by_volume(8.0, 16.0, 5.0), dose_by_volume(8.0, 16.0, None, "metric")
    ('1.9 level teaspoons a US gallon, or 2.5 g a litre', '0.5 level teaspoons a litre')
    """
    each = dose_tsp / volume_l
    kitchen = gettext("{amount} level teaspoons a US gallon", amount=number(each * GALLON_L, 2))
    metric = (
        gettext("{amount} level teaspoons a litre", amount=number(each, 2))
        if g_per_tsp is None
        else gettext("{amount} g a litre", amount=number(each * g_per_tsp, 2))
    )
    if measures == "both":
        return gettext("{kitchen}, or {metric}", kitchen=kitchen, metric=metric)
    return in_measures(measures, kitchen, metric)
