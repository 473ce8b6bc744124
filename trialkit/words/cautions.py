"""Cautions: every one of them stands here, once, with where it comes from and on which things handed out it is said.

They defer to local codes, labels and licensed professionals.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from trialkit.domain.units import Measures
from trialkit.words.measures import mass_words, volume_words

Handed = Literal["pack", "workbook", "phone form", "handout", "mix", "plan", "evidence"]
"""What a person is handed: a garden's and the adviser's printed pages, the record workbook, the phone form, the
gardeners' handout, an answer of ``trialkit mix``, the plan; a page of results or pooled evidence."""

GROWING: tuple[Handed, ...] = ("pack", "workbook", "phone form", "handout", "plan", "evidence")
MIXING: tuple[Handed, ...] = (*GROWING, "mix")
EMPTY_BUCKET_KG = 1.0
"""Of a bucket with its lid (common practice, no source)."""
COMMON = "common practice, no source"


@dataclass(frozen=True)
class Caution:
    """A hazard, and what to do about it."""

    code: str
    title: Annotated[str, "In a word or two."]
    text: Annotated[str, "What to do; {volume} and {weight} are those of the full bucket."]
    short: Annotated[str, "The same in the few plain words that a handout has room for."]
    source: str
    handed: Annotated[tuple[Handed, ...], "Where it is said."] = MIXING


@dataclass(frozen=True)
class CautionWords:
    """A caution as it is said of one bucket, in one system of measures."""

    code: str
    title: str
    text: str
    source: str


CAUTIONS: tuple[Caution, ...] = (
    Caution(
        "local rules",
        "Local rules come first",
        "Local codes, product labels and the advice of licensed or health professionals come before anything said "
        "here.",
        "Local rules, labels and licensed trades come first.",
        COMMON,
    ),
    Caution(
        "acid",
        "Acid",
        "Add acid to water, never water to acid. Use only household vinegar or food-grade citric acid, as labelled, "
        "with goggles, in a ventilated place with rinse water at hand. Keep children and pets away.",
        "Pour acid into water. Never pour water into acid. Wear goggles.",
        "Curtis & Tyson, Alabama Extension ANR-652; UMass Extension on adjusting alkalinity; rinse water, fresh air: "
        + COMMON,
    ),
    Caution(
        "bleach",
        "Bleach",
        "Never mix bleach with vinegar, citric acid or any cleaner: chlorine gas comes off. Dilute it as its own label "
        "says, in fresh air. Use it up the same day. Rinse the bucket well before any acid goes near it.",
        "Never mix bleach with acid or vinegar. It makes a toxic gas.",
        "US EPA: a disinfectant is used as its label says (from memory); chlorine gas: general chemistry",
    ),
    Caution(
        "plastic",
        "Buckets for food",
        "Use containers sold for food. A recycling mark alone does not show that. Never use a pail that held "
        "chemicals, paint or cleaners.",
        "Use only food-grade buckets.",
        "US FDA guidance on recycled plastics, as quoted by a maker's statement",
    ),
    Caution(
        "drilling",
        "Drilling",
        "Drill before anything is filled. Clamp the lid onto scrap wood, wear goggles, use a cordless tool away from "
        "water, and smooth the edges.",
        "Drill the lid before you fill the bucket. Clamp it, and wear goggles.",
        COMMON,
        GROWING,
    ),
    Caution(
        "lifting",
        "Lifting",
        "Filled with {volume}, a bucket weighs about {weight}. Put it where it will stay, then fill it there with a "
        "jug or a hose. Do not carry or drag a full one.",
        "A full bucket weighs about {weight}. Fill it where it stays.",
        "worked out: water by its density, an empty bucket of about one kilogram (common practice, no source)",
    ),
    Caution(
        "drowning",
        "Small children",
        "A small child can drown in a bucket, even in little water. Keep lids on tight, buckets out of reach, and "
        "never leave an open one, not for a minute. Empty those that are not in use.",
        "A small child can drown in a bucket. Keep the lid on, out of reach.",
        "US Consumer Product Safety Commission, warnings about buckets (from memory)",
    ),
    Caution(
        "mosquitoes",
        "Standing water",
        "Mosquitoes can grow from egg to adult in about a week. Keep lids tight, close gaps around the cups and unused "
        "holes, and look at them at least every five days.",
        "Look at lids and gaps every five days, so that no mosquitoes breed.",
        "US CDC and county health pages: about 7 to 10 days from egg to adult",
    ),
    Caution(
        "fertiliser",
        "Fertiliser",
        "Keep it in its labelled container, dry and locked, away from children, food and acids. Label mixed solutions. "
        "Keep a set of measuring spoons for this alone.",
        "Lock up plant food and acid. Use those spoons for nothing else.",
        COMMON,
    ),
    Caution(
        "harvest",
        "Clean harvest",
        "Use drinking water. Wash hands for 20 seconds, clean knives and scales, keep solution off the leaves, and "
        "keep animals out. Do not harvest when ill. Rinse leaves under running water, without soap, and put them in "
        "the refrigerator at once.",
        "Wash your hands before you pick. Do not pick when you are ill. Rinse leaves under running water. Keep them "
        "cold.",
        "Virginia Cooperative Extension SPES-467NP; US CDC on washing hands, US FDA on produce (from memory)",
        GROWING,
    ),
    Caution(
        "disposal",
        "Spent solution",
        "Never pour it into storm drains, streams or a septic system. Ask the local authority; where it is allowed, "
        "dilute it with as much water again and pour it onto garden soil, away from wells.",
        "Do not pour used water into drains or streams. Ask where it may go.",
        "the US Clean Water Act, as named by secondary pages; dilution: " + COMMON,
    ),
    Caution(
        "claims",
        "What this page is",
        "Local evidence from the gardens and the season named here, not a guarantee.",
        "This is what we saw in local gardens. It is not a promise.",
        "ICH E9: claims state what they rest on",
        ("handout", "evidence"),
    ),
)
"""In the order in which they are said."""


def cautions_for(
    handed: Handed, volume_l: float, measures: Measures = "both", *, with_acid: bool = True
) -> tuple[CautionWords, ...]:
    """Say the cautions that concern a thing handed out; those about acid only where there may be some.

    Examples
    --------
    >>> lifting = next(one for one in cautions_for("mix", 16.0, "kitchen") if one.code == "lifting")
    >>> lifting.text[:64]
    'Filled with 4.2 US gal, a bucket weighs about 37 lb. Put it wher'
    """
    amounts = _amounts(volume_l, measures)
    return tuple(
        CautionWords(one.code, one.title, one.text.format_map(amounts), one.source)
        for one in CAUTIONS
        if handed in one.handed and (with_acid or one.code != "acid")
    )


def short_cautions(volume_l: float, measures: Measures = "both") -> tuple[str, ...]:
    """Say what concerns gardeners in the few words that a handout has room for."""
    amounts = _amounts(volume_l, measures)
    return tuple(one.short.format_map(amounts) for one in CAUTIONS if "handout" in one.handed)


def _amounts(volume_l: float, measures: Measures) -> Mapping[str, str]:
    return {
        "volume": volume_words(volume_l, measures),
        "weight": mass_words(volume_l + EMPTY_BUCKET_KG, measures),
    }
