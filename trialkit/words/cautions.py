"""Cautions: every one of them stands here, once, with where it comes from and on which things handed out it is said.

They defer to local codes, labels and licensed professionals.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from trialkit.domain.units import Measures
from trialkit.languages import gettext, translatable
from trialkit.words.measures import mass_words, volume_words

Handed = Literal["pack", "workbook", "phone form", "handout", "mix", "plan", "evidence"]
"""What a person is handed: a garden's and the adviser's printed pages, the record workbook, the phone form, the
gardeners' handout, an answer of ``trialkit mix``, the plan; a page of results or pooled evidence."""

GROWING: tuple[Handed, ...] = ("pack", "workbook", "phone form", "handout", "plan", "evidence")
MIXING: tuple[Handed, ...] = (*GROWING, "mix")
EMPTY_BUCKET_KG = 1.0
"""Of a bucket with its lid (common practice, no source)."""
COMMON = translatable("common practice, no source")


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
        translatable("Local rules come first"),
        translatable(
            "Follow local codes, product labels and the advice of licensed or health professionals before anything "
            "said here."
        ),
        translatable("Local rules, labels and licensed experts come first."),
        COMMON,
    ),
    Caution(
        "acid",
        translatable("Acid"),
        translatable(
            "Add acid to water, never water to acid. Use only household vinegar or food-grade citric acid, as the "
            "label says. Wear goggles, work in fresh air, and have rinse water at hand. Keep children and pets away."
        ),
        translatable("Pour acid into water. Never pour water into acid. Wear goggles."),
        translatable(
            "Curtis & Tyson, Alabama Extension ANR-652; UMass Extension on adjusting alkalinity; rinse water, fresh "
            "air: common practice, no source"
        ),
    ),
    Caution(
        "bleach",
        translatable("Bleach"),
        translatable(
            "Never mix bleach with vinegar, citric acid or any cleaner: it makes a toxic gas. Dilute it as its own "
            "label says, in fresh air. Use it up the same day. Rinse the bucket well before any acid goes near it."
        ),
        translatable("Never mix bleach with acid or vinegar. It makes a toxic gas."),
        translatable("US EPA: a disinfectant is used as its label says (from memory); chlorine gas: general chemistry"),
    ),
    Caution(
        "plastic",
        translatable("Buckets for food"),
        translatable(
            "Use containers sold for food. A recycling mark alone does not show that. Never use a pail that held "
            "chemicals, paint or cleaners."
        ),
        translatable("Use only food-grade buckets."),
        translatable("US FDA guidance on recycled plastics, as quoted by a maker's statement"),
    ),
    Caution(
        "drilling",
        translatable("Drilling"),
        translatable(
            "Drill before you fill the bucket. Clamp the lid onto scrap wood. Wear goggles. Use a cordless tool, away "
            "from water. Smooth the edges."
        ),
        translatable("Drill the lid before you fill the bucket. Clamp it. Wear goggles."),
        COMMON,
        GROWING,
    ),
    Caution(
        "lifting",
        translatable("Lifting"),
        translatable(
            "Filled with {volume}, a bucket weighs about {weight}. Put it where it will stay, then fill it there with "
            "a jug or a hose. Do not carry or drag a full one."
        ),
        translatable("A full bucket weighs about {weight}. Fill it where it stays."),
        translatable(
            "worked out: water by its density, an empty bucket of about one kilogram (common practice, no source)"
        ),
    ),
    Caution(
        "drowning",
        translatable("Small children"),
        translatable(
            "A small child can drown in a bucket, even in little water. Keep lids on tight, buckets out of reach, and "
            "never leave an open one, not for a minute. Empty those that are not in use."
        ),
        translatable("A small child can drown in a bucket. Keep the lid on. Keep the bucket out of reach."),
        translatable("US Consumer Product Safety Commission, warnings about buckets (from memory)"),
    ),
    Caution(
        "mosquitoes",
        translatable("Standing water"),
        translatable(
            "Mosquitoes can grow from egg to adult in about a week. Keep lids tight, close gaps around the cups and "
            "unused holes, and look at them at least every five days."
        ),
        translatable("Look for mosquitoes at lids and gaps every five days."),
        translatable("US CDC and county health pages: about 7 to 10 days from egg to adult"),
    ),
    Caution(
        "fertiliser",
        translatable("Nutrient"),
        translatable(
            "Keep it in its labelled container, dry and locked, away from children, food and acids. Label mixed "
            "solutions. Keep a set of measuring spoons for this alone."
        ),
        translatable("Lock up plant food and acid. Use those spoons for nothing else."),
        COMMON,
    ),
    Caution(
        "harvest",
        translatable("Clean harvest"),
        translatable(
            "Use drinking water. Wash hands for 20 seconds, clean knives and scales, keep solution off the leaves, "
            "and keep animals out. Do not harvest when ill. Rinse leaves under running water, without soap, and put "
            "them in the refrigerator at once."
        ),
        translatable(
            "Wash your hands before you pick. Do not pick when you are ill. Rinse leaves under running water. Keep "
            "them cold."
        ),
        translatable(
            "Virginia Cooperative Extension SPES-467NP; US CDC on washing hands, US FDA on produce (from memory)"
        ),
        GROWING,
    ),
    Caution(
        "disposal",
        translatable("Used solution"),
        translatable(
            "Never pour it into storm drains, streams or a septic system. Ask the local authority. Where it is "
            "allowed, add as much water again, and pour it onto garden soil, away from wells."
        ),
        translatable("Do not pour used water into drains or streams. Ask where it may go."),
        translatable("the US Clean Water Act, as named by secondary pages; dilution: common practice, no source"),
    ),
    Caution(
        "claims",
        translatable("What this page is"),
        translatable("Local evidence from the gardens and the season named here, not a guarantee."),
        translatable("This is what we saw in local gardens. It is not a promise."),
        translatable("ICH E9: claims state what they rest on"),
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
        CautionWords(one.code, gettext(one.title), gettext(one.text, **amounts), gettext(one.source))
        for one in CAUTIONS
        if handed in one.handed and (with_acid or one.code != "acid")
    )


def short_cautions(volume_l: float, measures: Measures = "both") -> tuple[str, ...]:
    """Say what concerns gardeners in the few words that a handout has room for."""
    amounts = _amounts(volume_l, measures)
    return tuple(gettext(one.short, **amounts) for one in CAUTIONS if "handout" in one.handed)


def _amounts(volume_l: float, measures: Measures) -> Mapping[str, str]:
    return {
        "volume": volume_words(volume_l, measures),
        "weight": mass_words(volume_l + EMPTY_BUCKET_KG, measures),
    }
