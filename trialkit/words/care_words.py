"""Setting a bucket up and looking after it, in plain words, with where each figure comes from."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from trialkit.domain.fill_line import AIR_GAP_CM, FULLEST
from trialkit.domain.units import GALLON_L, Measures
from trialkit.words.cautions import COMMON, EMPTY_BUCKET_KG
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
LEAST_LEFT = "a third"
LARGE_LID_HEADS = 4
"""As many cups as stand that far apart in the lid of a bucket of 5 US gallons."""
SOURCES = (
    "wet part of the cup: Kratky 2009, Acta Horticulturae 843:65",
    "age of seedlings: Kratky 2010, University of Hawaii CTAHR VC-1 (1 to 3 weeks)",
    "seedlings by temperature: Harrington & Minges 1954, in Knott's Handbook for Vegetable Growers",
    "size of a head and warmth of roots: Brechner & Both, Hydroponic Lettuce Handbook, Cornell (from memory)",
    "refrigerator: US FDA (from memory)",
    "running water: Virginia Cooperative Extension SPES-467NP and US FDA (from memory)",
    "bleach by its label: US EPA (from memory)",
    "bolting: home-garden pages only, no primary source found",
    f"all else: {COMMON}",
)


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


def care_sections(bucket: BucketFacts, measures: Measures = "both") -> tuple[CareSection, ...]:
    """Say how a bucket is set up and looked after, in the order in which things are done."""
    return (
        CareSection("The bucket", tuple(_bucket(bucket, measures))),
        CareSection("The fill line", tuple(_fill_line(bucket, measures))),
        CareSection("The plants", tuple(_plants(bucket, measures))),
        CareSection("While they grow", tuple(_growing(bucket, measures))),
        CareSection("Ready to cut", tuple(_harvest(measures))),
        CareSection("Before the next crop", tuple(_cleaning())),
    )


def _bucket(bucket: BucketFacts, measures: Measures) -> Iterator[str]:
    holds = volume_words(bucket.holds_l, measures)
    holding = f"that holds {holds}" if bucket.brim_l else f"that holds at least {holds}"
    yield f"Use a food-grade bucket with a tight lid {holding} to the brim."
    yield (
        "Let no light in. Light grows green algae, which rob the roots. Wrap a pale bucket in foil or dark cloth. Plug "
        "each spare hole."
    )
    apart = length_words([HOLES_APART_CM], measures)
    far = (
        f"about {apart} from middle to middle"
        if bucket.heads <= LARGE_LID_HEADS
        else "as far apart as the lid lets you"
    )
    yield (
        f"Drill {count(bucket.heads, 'hole')} in the lid{f', {far}' if bucket.heads > 1 else ''}. Each is just too "
        f"small for the rim of the net cup. A cup {length_words([CUP_RIM_CM], measures)} wide takes a hole of about "
        f"{length_words([HOLE_CM], measures)}."
    )


def _fill_line(bucket: BucketFacts, measures: Measures) -> Iterator[str]:
    weight = mass_words(bucket.volume_l + EMPTY_BUCKET_KG, measures)
    yield f"Put the bucket where it will stay, and fill it there. Full, it weighs about {weight}."
    yield (
        f"Pour in {volume_words(bucket.volume_l, measures)} once, with a measuring jug. Draw a line where the water "
        "ends. For each new crop, fill to that line."
    )
    yield (
        f"Leave an air gap of {length_words(AIR_GAP_CM, measures)} up to the lid. With the lid on, "
        f"{wet_cups(measures)}. If a cup hangs dry, use a deeper cup. Do "
        "not fill past the line."
    )


def wet_cups(measures: Measures) -> str:
    """Say how far cups reach into the water."""
    return f"the bottom {length_words([WET_CUP_CM], measures)} of each cup must be wet"


def _plants(bucket: BucketFacts, measures: Measures) -> Iterator[str]:
    weeks, days = "{} to {} weeks".format(*SEEDLING_WEEKS), bucket.seedling_days
    age = weeks if days is None else count(days, "day")
    yield f"Set out plants about {age} old, with two to four true leaves, one to a cup."
    (cool, many), (hot, few) = NORMAL_SEEDLINGS.items()
    yield (
        f"Sow in a cool place. At {temperature_words(cool, measures)}, {many} seeds of 100 grow well. At "
        f"{temperature_words(hot, measures)}, only {few} do."
    )


def siting_lines(sowing: str = "", measures: Measures = "both") -> Iterator[str]:
    """Say when to sow, how much light there should be, and where the bucket stands; `sowing` as the county says it."""
    heat = temperature_words(BOLTS_FROM_C, measures)
    yield sowing or f"Grow in a cool time of year. From about {heat} up, lettuce may bolt."
    yield "Sow {} to {} weeks before you fill the bucket.".format(*SEEDLING_WEEKS)
    yield f"Give it about {SUN_HOURS} hours of sun a day. When it is hot, shade it at noon."
    yield "Stand it on firm, level ground, off hot paving."


def _growing(bucket: BucketFacts, measures: Measures) -> Iterator[str]:
    yield (
        "Let the water sink as the plants drink. Roots in the gap need air. Never fill up to the cups again: it drowns "
        "them."
    )
    add = "plain water, and nothing else," if bucket.is_trial else "plain water, or plant food at half strength,"
    alike = " Do so in all buckets alike. Write down the day and how much." if bucket.is_trial else ""
    yield f"Top up only if less than {LEAST_LEFT} is left. Add {add} up to half the line at most.{alike}"
    yield (
        f"From about {temperature_words(BOLTS_FROM_C, measures)} up, lettuce may bolt: the stem shoots up and the "
        f"leaves turn bitter. Shade the bucket at noon. Keep it off hot paving. Keep the water at "
        f"{temperature_words(ROOTS_AT_MOST_C, measures)} or less."
    )


def ready_words(measures: Measures) -> str:
    """Say when a head is cut."""
    weight = in_measures(measures, f"{READY_HEAD_OZ} oz", f"{READY_HEAD_G} g")
    return (
        f"A head is ready when it is full and firm, and as big as one that you would buy: about {weight}. Cut it "
        "before the stem shoots up."
    )


def _harvest(measures: Measures) -> Iterator[str]:
    yield ready_words(measures)
    yield (
        "Wash your hands. Use a clean knife. Rinse the leaves under running water, with no soap. Keep them in the "
        f"refrigerator, at {temperature_words(REFRIGERATOR_C, measures)} or less."
    )


def _cleaning() -> Iterator[str]:
    yield (
        "Pour used water where local rules let you: on garden soil, with as much plain water. Never into a drain or "
        "stream."
    )
    yield (
        "Scrub bucket, lid and cups with soap. Rinse. Then use bleach, thinned as its label says. Rinse well, and let "
        "them dry."
    )
    yield "Never let bleach meet acid or vinegar. They make chlorine gas, which can kill."


def drawing_labels(bucket: BucketFacts, measures: Measures = "both") -> DrawingLabels:
    """Label the drawing of a bucket cut open."""
    ways: tuple[Measures, ...] = ("kitchen", "metric") if measures == "both" else (measures,)
    gap = tuple(length_words(AIR_GAP_CM, way) for way in ways)
    volume = tuple(volume_words(bucket.volume_l, way) for way in ways)
    return DrawingLabels(
        lid=("tight lid",),
        bucket=("bucket that", "lets no light in"),
        cup=("net cup,", "its foot wet", "at the start"),
        gap=("air gap at", "the start:", *gap),
        start=("fill line:", *volume),
        air_roots=("later, roots", "in the air"),
        harvest=("water at", "harvest"),
        roots=("roots in water",),
        alternative=(
            "A bucket cut open. A net cup hangs in the tight lid. The fill line lies "
            f"{length_words(AIR_GAP_CM, measures)} under the lid and wets the foot of the cup: "
            f"{volume_words(bucket.volume_l, measures)}. At harvest the water stands far lower. Between the two lines "
            "the roots hang in air, under them in water."
        ),
    )


def dose_by_volume(dose_tsp: float, volume_l: float, g_per_tsp: float | None, measures: Measures = "both") -> str:
    """Say a dose for who fills another bucket: by the gallon, by the litre, or both.

    Examples
    --------
    >>> dose_by_volume(8.0, 16.0, 5.0), dose_by_volume(8.0, 16.0, None, "metric")
    ('1.9 level teaspoons a US gallon, or 2.5 g a litre', '0.5 level teaspoons a litre')
    """
    kitchen = f"{number(dose_tsp / volume_l * GALLON_L, 2)} level teaspoons a US gallon"
    each = dose_tsp / volume_l
    metric = f"{number(each, 2)} level teaspoons" if g_per_tsp is None else f"{number(each * g_per_tsp, 2)} g"
    metric += " a litre"
    return f"{kitchen}, or {metric}" if measures == "both" else in_measures(measures, kitchen, metric)
