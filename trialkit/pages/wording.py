"""Chances, dates, kitchen measures and treatments in the words of the page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from trialkit.domain.treatment import Treatment
from trialkit.pages.numerals import ABSENT, is_number, plain
from trialkit.words.phrases import acid_words, spoons
from trialkit.words.phrases import chance as chance_in_words

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
# Bounds of the words for a chance: Mastrandrea et al. 2010, Guidance note on consistent treatment of uncertainties
# (very likely 90 to 100 %, likely 66 to 100 %, about as likely as not 33 to 66 %, and their opposites), from memory.
CHANCE_WORDS = (
    (0.99, "almost certain"),
    (0.9, "very likely"),
    (0.66, "likely"),
    (0.33, "about as likely as not"),
    (0.1, "unlikely"),
    (0.0, "very unlikely"),
)

MEASURES = {
    12.0: "a quarter of a cup",
    3.0: "a tablespoon",
    1.0: "a teaspoon",
    0.5: "half a teaspoon",
    0.25: "a quarter of a teaspoon",
}


def chance(probability: Any) -> str:
    """Say a probability as a chance in a hundred; one that is not known as absent.

    Examples
    --------
    >>> chance(0.934), chance(None)
    ('93 in 100', '–')
    """
    return chance_in_words(probability) if is_number(probability) else ABSENT


def chance_word(probability: Any) -> str:
    """Say a probability in words.

    Examples
    --------
    >>> chance_word(0.93), chance_word(0.5), chance_word(0.02)
    ('very likely', 'about as likely as not', 'very unlikely')
    """
    if not is_number(probability):
        return "not known"
    return next((word for bound, word in CHANCE_WORDS if probability >= bound), "very unlikely")


def chance_percent(probability: Any) -> str:
    """Write a probability for a table, never as certainty.

    Examples
    --------
    >>> chance_percent(0.934), chance_percent(0.9999), chance_percent(0.0)
    ('93 %', '> 99 %', '< 1 %')
    """
    if not is_number(probability):
        return ABSENT
    return "> 99 %" if probability > 0.99 else "< 1 %" if probability < 0.01 else f"{round(probability * 100)} %"


def count(number: Any, one: str, many: str | None = None) -> str:
    """Count things.

    Examples
    --------
    >>> count(1, "garden"), count(4, "garden")
    ('1 garden', '4 gardens')
    """
    return f"{plain(number, 6)} {one if number == 1 else many or one + 's'}"


def date_words(date: Any) -> str | None:
    """Write an ISO 8601 date out; anything else is returned as it came.

    Examples
    --------
    >>> date_words("2026-08-20")
    '20 August 2026'
    """
    parts = str(date).split("-") if date else []
    if len(parts) == 3 and all(part.isascii() and part.isdigit() for part in parts) and 1 <= int(parts[1]) <= 12:
        return f"{int(parts[2])} {MONTHS[int(parts[1]) - 1]} {int(parts[0])}"
    return str(date) if date else None


def level_label(column: str, level: Any) -> str:
    """Name one level, short enough for a row or an axis.

    Examples
    --------
    >>> level_label("dose_tsp", 6.0), level_label("acidifier", "none")
    ('6 tsp', 'no acid')
    """
    if column == "dose_tsp":
        return f"{spoons(level)} tsp"
    return acid_words(level) if column == "acidifier" else str(level)


def measure_words(teaspoons: float) -> str:
    """Name a kitchen measure that somebody fills once.

    Examples
    --------
    >>> measure_words(12.0), measure_words(3.0), measure_words(0.5)
    ('a quarter of a cup', 'a tablespoon', 'half a teaspoon')
    """
    return MEASURES.get(teaspoons) or f"{spoons(teaspoons)} teaspoons"


def treatment_label(given: Treatment | Mapping[str, Any], columns: Sequence[str]) -> str:
    """Name a treatment by some of its columns.

    Examples
    --------
    >>> treatment_label(Treatment("Fenleaf", 6.0, "none"), ["dose_tsp", "acidifier"])
    '6 tsp, no acid'
    """
    levels = (given if isinstance(given, Treatment) else Treatment.of(given)).levels
    return ", ".join(level_label(column, levels[column]) for column in columns if column in levels)
