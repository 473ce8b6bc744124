"""Dates that name months and weekdays in another language than English, by its locale's names."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Literal

from trialkit.languages import ENGLISH, LANGUAGES, Language, locale_of
from trialkit.tables.nearest import plain_name

if TYPE_CHECKING:
    from babel import Locale

PARTS = re.compile(r"\d+(?:[.]?[ºª°])?|[^\W\d_]+")
BETWEEN = re.compile(r"[\s\-./,]*")
SHORTEST = 3
"""Letters of a name that is cut short."""
QUOTED = re.compile(r"'([^']+)'")


@dataclass(frozen=True)
class NamedDay:
    """A date as it was written: its figures, the month that it names, and the weekday (0 is Monday), if any."""

    day: int
    month: int
    year: str
    weekday: int | None


@dataclass(frozen=True)
class _Names:
    """What a language calls months and weekdays, folded, and the words that stand between the parts of its dates."""

    months: Mapping[str, int]
    weekdays: Mapping[str, int]
    between: frozenset[str]


def named_days(text: str) -> tuple[NamedDay, ...]:
    """Read a date with a named month in each language other than English; its year is empty where it has none.

    Examples
    --------
    >>> named_days("lun 30 nov 2026")
    (NamedDay(day=30, month=11, year='2026', weekday=0),)
    >>> named_days("17 de septiembre")
    (NamedDay(day=17, month=9, year='', weekday=None),)
    """
    if any(character.isalpha() for character in text):
        others = (language for language in LANGUAGES if language != ENGLISH)
        found = (day for language in others for day in _in_language(text, _names(language)))
        return tuple(dict.fromkeys(found))  # two languages may mean the same, or something else
    return ()


def _in_language(text: str, names: _Names) -> list[NamedDay]:
    parts = PARTS.findall(text)
    if "".join(BETWEEN.split(PARTS.sub("", text))):  # something else stands in it
        return []
    words = [part.rstrip(".ºª°") if part[0].isdecimal() else plain_name(part) for part in parts]
    words = [word for word in words if word not in names.between and word[:-1] not in names.between]  # "de", "del"
    weekdays = _meant(words[0], names.weekdays) if len(words) > 2 else []
    found = []
    for weekday, rest in [(None, words), *((weekday, words[1:]) for weekday in weekdays)]:
        match [word.isdecimal() for word in rest]:
            case [True, False] | [True, False, True]:
                day, name, *year = rest
            case [False, True] | [False, True, True]:
                name, day, *year = rest
            case _:
                continue
        shortest = 2 if rest[0] == day else 4  # of a year; two figures after a day are read as in English
        if len(day) <= 2 and all(len(figures) in {shortest, 4} for figures in year):
            months = _meant(name, names.months)
            found += [NamedDay(int(day), month, "".join(year), weekday) for month in months]
    return found


def _meant(word: str, names: Mapping[str, int]) -> list[int]:
    """Return what a word, perhaps cut short, can be the name of."""
    if word in names:
        return [names[word]]
    if len(word) < SHORTEST:
        return []
    return sorted({number for name, number in names.items() if name.startswith(word)})


@cache
def _names(language: Language) -> _Names:
    locale = locale_of(language)
    quoted = (word for pattern in locale.date_formats.values() for word in QUOTED.findall(pattern.pattern))
    return _Names(
        {name: number for number, name in _called(locale, "months")},
        {name: number for number, name in _called(locale, "days")},
        frozenset(map(plain_name, quoted)),
    )


def _called(locale: Locale, what: Literal["months", "days"]) -> list[tuple[int, str]]:
    """Return what months or weekdays are called alone and in a date, in full and cut short."""
    return [
        (number, plain_name(name.rstrip(".")))
        for names in getattr(locale, what).values()
        for width in ("wide", "abbreviated")
        for number, name in names[width].items()
    ]
