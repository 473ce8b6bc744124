"""Terms that an adviser meets at the desk, each with what it means in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from trialkit.languages import gettext, translatable


class Term(NamedTuple):
    """A term and what it means, in the language that is spoken."""

    name: str
    meaning: str


MEANINGS: Mapping[str, tuple[str, str]] = {
    "trial": (
        translatable("trial"),
        translatable("One question, asked of real gardens in one season, with buckets drawn by lot."),
    ),
    "garden": (translatable("garden"), translatable("Where buckets stand: a home, a school, a church, a library.")),
    "bucket": (
        translatable("bucket"),
        translatable("What gets a treatment. Its heads share it, so it is buckets that count, not heads."),
    ),
    "head": (translatable("head"), translatable("One lettuce in a bucket.")),
    "block": (
        translatable("block"),
        translatable("A group of buckets in a garden that stand alike, each treatment once among them."),
    ),
    "treatment": (
        translatable("treatment"),
        translatable("What a bucket gets: a cultivar, a dose and an acid, as far as the trial varies them."),
    ),
    "practice": (
        translatable("current practice"),
        translatable("What gardeners do now. Every other treatment is compared with it."),
    ),
    "dose": (translatable("dose"), translatable("Level teaspoons of nutrient in a full bucket.")),
    "teaspoon": (translatable("level teaspoon"), translatable("A US teaspoon struck off flat, never heaped.")),
    "plan": (
        translatable("plan"),
        translatable("What the trial should bring, what it takes, and when things are due, worked out beforehand."),
    ),
    "layout": (
        translatable("layout"),
        translatable("Which bucket stands where and gets which treatment, drawn by lot so that nothing is favoured."),
    ),
    "pack": (
        translatable("pack"),
        translatable("What a garden prints: map, calendar, a card for each bucket, and record sheets."),
    ),
    "phone_form": (
        translatable("phone form"),
        translatable("A page for a telephone that works without a network. It saves a file to send back."),
    ),
    "record": (translatable("record"), translatable("What was written down of a head, a bucket or a visit.")),
    "conflict": (
        translatable("conflict"),
        translatable("Two files say different things of the same cell. You say which one holds."),
    ),
    "correction": (
        translatable("correction"),
        translatable("A record put right. What it said before stays, with the reason, the day and who did it."),
    ),
    "departure": (
        translatable("departure"),
        translatable("A bucket that got something else than the layout says, such as another dose."),
    ),
    "report": (translatable("report"), translatable("The answer of one trial as a page, with all that it rests on.")),
    "gain": (
        translatable("expected gain"),
        translatable("How much more a treatment should give than the current practice, on average over gardens."),
    ),
    "interval": (
        translatable("interval"),
        translatable("The values that the records leave open. The truth lies within it in 95 of 100 trials."),
    ),
    "chance": (
        translatable("chance"),
        translatable("How often we would be right if we could repeat this, in 100 times."),
    ),
    "near_best": (
        translatable("near the best"),
        translatable("So close to the best of all that was tried that the difference does not matter."),
    ),
    "settled": (
        translatable("settled"),
        translatable("The chance of being near the best is as high as the trial asked for."),
    ),
    "ledger": (
        translatable("ledger"),
        translatable("The folder that keeps the accepted trials of all seasons. Nothing in it is ever overwritten."),
    ),
    "handout": (
        translatable("handout"),
        translatable("The page for gardeners: which cultivar, how many teaspoons, which acid, how many days."),
    ),
    "withdraw": (
        translatable("withdraw"),
        translatable("Of a garden: it gives up, and its records stay. Of a trial: it counts no more, and stays."),
    ),
    "open_data": (
        translatable("open data"),
        translatable("One file with protocol, records and results, so that others can check the answer."),
    ),
    "alkalinity": (
        translatable("alkalinity"),
        translatable("What the acid has to overcome in the water. The water supplier's yearly report tells it."),
    ),
}


def term(key: str) -> Term:
    """Say a term and its meaning.

    Examples
    --------
    >>> term("ledger").name
    'ledger'
    """
    name, meaning = MEANINGS[key]
    return Term(gettext(name), gettext(meaning))
