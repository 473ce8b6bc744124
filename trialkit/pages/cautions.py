"""Cautions that go with every recommendation. They defer to local codes, labels and licensed professionals."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Caution:
    """A hazard in a word or two, and what to do about it."""

    title: str
    text: str


ABOUT_THE_PAGE = Caution(
    "What this page is",
    "Local evidence from the gardens and the season named here, not a guarantee.",
)
CAUTIONS = (
    Caution(
        "Local rules come first",
        "Local codes, product labels and the advice of licensed or health professionals come before anything on this "
        "page.",
    ),
    Caution(
        "Acid",
        "Add acid to water, never water to acid. Use only household vinegar or food-grade citric acid, as labelled, "
        "with eye protection, in a ventilated place with rinse water at hand. Never mix acid with bleach or other "
        "cleaners. Keep children and pets away.",
    ),
    Caution(
        "Buckets and drilling",
        "Use containers sold for food; never re-use pails that held chemicals or paint. Clamp the lid, wear eye "
        "protection, drill before filling with a cordless tool away from water, and smooth the edges.",
    ),
    Caution(
        "Standing water",
        "Mosquitoes can grow from egg to adult in about a week. Keep a tight lid on, look at lids and pot gaps at "
        "least every five to seven days, and empty buckets that are not in use.",
    ),
    Caution(
        "Lifting and drowning",
        "A full 20 L bucket weighs about 20 kg: place it first, then fill it. A small child can drown in a bucket: "
        "keep lids on and never leave an open one where children play.",
    ),
    Caution(
        "Clean harvest",
        "Use drinking water. Wash hands for 20 seconds, clean knives and scales, keep solution off the leaves, cool "
        "the heads promptly, do not harvest when ill, keep animals out.",
    ),
    Caution(
        "Fertiliser",
        "Keep it in its labelled container, dry and locked, away from children, food and acids. Label mixed solutions. "
        "Keep a set of measuring spoons for this alone.",
    ),
    Caution(
        "Spent solution",
        "Never pour it into storm drains, streams or a septic system. Ask the local authority; where it is allowed, "
        "dilute it and water ornamental plants.",
    ),
    ABOUT_THE_PAGE,
)
