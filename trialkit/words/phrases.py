"""Numbers, chances, counts and dates in words that can be read aloud."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from trialkit.languages import ENGLISH, day_in, gettext, in_figures, ngettext, spoken, translatable

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
          "November", "December")  # fmt: skip
SEASONS = {
    "spring": translatable("spring {year}"),
    "summer": translatable("summer {year}"),
    "autumn": translatable("autumn {year}"),
    "fall": translatable("fall {year}"),
    "winter": translatable("winter {year}"),
}
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

DECIMALS: Mapping[str, int] = {
    "g": 0,
    "oz": 1,
    "days": 1,
    "pH": 1,
    "pH a day": 2,
    "mS/cm": 1,
    "money": 2,
    "percentage points": 0,
    "d.f.": 1,
    "F": 2,
    "variance": 2,
    "log-likelihood": 2,
    "standard deviations": 1,
}
"""The one rule of decimals: how many each quantity has in sentences, pictures and tables; grams and ounces of heads."""
FINER = 1
"""More of them in tables for a statistician, who works on with the figures, and in what is only a small part of one."""


def number(value: float, digits: int = 3) -> str:
    """Write a number to so many significant digits, never in scientific notation.

    Examples
    --------
    >>> number(1234.4), number(0.0456), number(2.0)
    ('1230', '0.0456', '2')
    """
    return in_figures(f"{float(f'{value:.{digits}g}'):.10f}".rstrip("0").rstrip("."))


def decimals(value: float, places: int = 1) -> str:
    """Write a number with so many decimals.

    Examples
    --------
    >>> decimals(5.5), decimals(39.4, 0)
    ('5.5', '39')
    """
    return in_figures(f"{value:.{places}f}")


def between(low: float, high: float, decimals: int = 1) -> str:
    """Say between what something lies; one number where both ends are written alike.

    Examples
    --------
    >>> between(5.53, 5.96), between(5.79, 5.83)
    ('5.5 to 6.0', '5.8')
    """
    first, last = (in_figures(f"{end:.{decimals}f}") for end in (low, high))
    return first if first == last else from_to(first, last)


def from_to(low: str, high: str) -> str:
    """Say from what to what something goes, each end already in words.

    Examples
    --------
    >>> from_to("2", "2½")
    '2 to 2½'
    """
    return gettext("{low} to {high}", low=low, high=high)


def count(number: int, one: str, many: str | None = None) -> str:
    """Count things; only those of which the plural is given are said in other languages too.

    Examples
    --------
    >>> count(1, "garden"), count(4, "garden")
    ('1 garden', '4 gardens')
    """
    return f"{number} {ngettext(one, many or one + 's', number)}"


def listed(names: Sequence[str], last: str = "and") -> str:
    """Name several things, with a word before the last.

    Examples
    --------
    >>> listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"], "or")
    ('a', 'a and b', 'a, b or c')
    """
    told = {"and": gettext("and"), "or": gettext("or")}.get(last, last)
    return f"{', '.join(names[:-1])} {told} {names[-1]}" if len(names) > 1 else names[0]


@dataclass(frozen=True)
class ListSaid:
    """Several things, named when they are asked for, in the language that is spoken then."""

    names: tuple[str, ...]

    def __str__(self) -> str:
        """Name them."""
        return listed(self.names)


def chance(probability: float) -> str:
    """Say a probability as a chance in a hundred, never as certainty.

    Examples
    --------
    >>> chance(0.934), chance(0.9999), chance(0.0)
    ('93 in 100', 'more than 99 in 100', 'less than 1 in 100')
    """
    if probability > 0.99:
        return gettext("more than 99 in 100")
    if probability < 0.01:
        return gettext("less than 1 in 100")
    return gettext("{number} in 100", number=round(probability * 100))


def chance_word(probability: float) -> str:
    """Say a probability in words.

    Examples
    --------
    >>> chance_word(0.93), chance_word(0.5), chance_word(0.02)
    ('very likely', 'about as likely as not', 'very unlikely')
    """
    return next((word for bound, word in CHANCE_WORDS if probability >= bound), "very unlikely")


def in_percent(share: float) -> str:
    """Write a share as a whole percentage.

    Examples
    --------
    >>> in_percent(0.412)
    '41 %'
    """
    return f"{100 * share:.0f} %"


def asked_chance(probability: float) -> str:
    """Say a chance that somebody asks for, exactly.

    Examples
    --------
    >>> asked_chance(0.9), asked_chance(0.999)
    ('90 in 100', '99.9 in 100')
    """
    return gettext("{number} in 100", number=in_figures(f"{probability * 100:g}"))


def p_value(p: float) -> str:
    """Write a p value to two digits.

    Examples
    --------
    >>> p_value(0.0234), p_value(0.00004), p_value(0.9999)
    ('p = 0.023', 'p < 0.001', 'p > 0.99')
    """
    if p < 0.001:
        return "p < 0.001"
    return "p > 0.99" if p > 0.99 else f"p = {p:.2g}"


def date_words(date: object) -> str | None:
    """Write an ISO 8601 date out; anything else is returned as it came.

    Examples
    --------
    >>> date_words("2026-08-20")
    '20 August 2026'
    """
    parts = str(date).split("-") if date else []
    if len(parts) != 3 or not all(part.isascii() and part.isdigit() for part in parts):
        return str(date) if date else None
    year, month, day = map(int, parts)
    return _full_day(year, month, day) or str(date)


def _full_day(year: int, month: int, day: int) -> str | None:
    if spoken() == ENGLISH:
        return f"{day} {MONTHS[month - 1]} {year}" if 1 <= month <= 12 else None
    try:
        return day_in(date(year, month, day), "yMMMMd")
    except ValueError:
        return None


def season_words(season: str) -> str:
    """Say when a trial stood; a season of a year in any language, whatever else somebody wrote as it stands.

    Examples
    --------
    >>> season_words("autumn 2026")
    'autumn 2026'
    >>> from trialkit.languages import speaking
    >>> with speaking("es"):
    ...     season_words("autumn 2026"), season_words("long days")
    ('otoño de 2026', 'long days')
    """
    name, _, year = season.partition(" ")
    known = SEASONS.get(name.lower()) if year.isdecimal() and spoken() != ENGLISH else None
    return season if known is None else gettext(known, year=year)


def days_words(days: Sequence[date]) -> str:
    """Name days of the calendar together, in order: each month once, the year after its last day.

    Examples
    --------
    >>> days_words([date(2026, 12, 30), date(2026, 12, 31), date(2027, 1, 2), date(2027, 2, 1)])
    '30 and 31 December 2026; 2 January, 1 February 2027'
    """
    if spoken() != ENGLISH:
        return _days_elsewhere(days)
    years = []
    for year, of_year in groupby(days, key=lambda day: day.year):
        months = (
            f"{listed([str(day.day) for day in of_month])} {MONTHS[month - 1]}"
            for month, of_month in groupby(of_year, key=lambda day: day.month)
        )
        years.append(f"{', '.join(months)} {year}")
    return "; ".join(years)


def _days_elsewhere(days: Sequence[date]) -> str:
    """Name days in a language other than English, those of a month together where it puts the day before the month."""
    last, told, several = days[-1], [], False
    for _, month in groupby(days, key=lambda day: (day.year, day.month)):
        *others, end = month
        words = day_in(end, "MMMMd" if end.year == last.year and end.month != last.month else "yMMMMd")
        if words.startswith(f"{end.day} "):
            told.append(listed([str(day.day) for day in (*others, end)]) + words.removeprefix(str(end.day)))
            several = several or bool(others)
        else:
            told += [*(day_in(day, "MMMMd") for day in others), words]
    return "; ".join(told) if several else listed(told)


def short_day(day: date) -> str:
    """Write a day of the season as hands write it on a sheet; no order of numbers to mistake.

    Examples
    --------
    >>> short_day(date(2026, 9, 17))
    '17 Sep'
    """
    return f"{day.day} {MONTHS[day.month - 1][:3]}" if spoken() == ENGLISH else day_in(day, "MMMd")
