"""Dates as people and spreadsheet programs write them: what each can be read as. Pure functions of the text."""

import contextlib
import re
from datetime import date, timedelta

from trialkit.documents.returns import DateOrder
from trialkit.tables.dates_elsewhere import named_days

SLASHED = re.compile(r"(\d{1,2})([/.\- ])(\d{1,2})\2(\d{4}|\d{2})", re.ASCII)
YEAR_FIRST = re.compile(r"(\d{4})([/.\- ])(\d{1,2})\2(\d{1,2})|(\d{4})(\d{2})(\d{2})", re.ASCII)
DAY_OF_YEAR = re.compile(r"(\d{4})-(\d{3})", re.ASCII)
WEEK_DATE = re.compile(r"\d{4}-W\d{2}-[1-7]|\d{4}W\d{2}[1-7]", re.ASCII)
WITH_TIME = re.compile(r"(\d{4}-\d{2}-\d{2})[T ](\d{2}:\d{2}(?::\d{2})?(?:\.\d+)?)(Z|[+-]\d{2}:?\d{2})?", re.ASCII)
WEEKDAY = re.compile(r"(mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun)(?:day)?\.?,?\s+", re.IGNORECASE)
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
DAY_NAME_YEAR = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ \-./]*([A-Za-z]{3,9})\.?[ \-./,]*(\d{4}|\d{2})", re.ASCII)
NAME_DAY_YEAR = re.compile(r"([A-Za-z]{3,9})\.?[ \-./]*(\d{1,2})(?:st|nd|rd|th)?[ \-./,]+(\d{4})", re.ASCII)
WITHOUT_YEAR = re.compile(
    r"\d{1,2}[ \-./]*[A-Za-z]{3,9}\.?|[A-Za-z]{3,9}\.?[ \-./]*\d{1,2}|\d{1,2}[/.]\d{1,2}\.?", re.ASCII
)
SERIAL = re.compile(r"([34]\d{4})(\.\d+)?", re.ASCII)
MONTHS = ("january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
          "november", "december")  # fmt: skip
PARTS: dict[DateOrder, tuple[int, int, int]] = {
    "day-first": (2, 1, 0),
    "month-first": (2, 0, 1),
    "year-first": (0, 1, 2),
}


def one_reading(text: str) -> date | None:
    """Read a date that names its month, or begins with a year in full; None if it is none, or may be several.

    Examples
    --------
    >>> one_reading("20-May-27"), one_reading("5/20/2027")
    (datetime.date(2027, 5, 20), None)
    """
    days = several_readings(text)
    return days[0] if len(days) == 1 else None


def several_readings(text: str) -> tuple[date, ...]:
    """Return all that a date can be which names its month, or begins with a year in full; a weekday must fit.

    Names are English ones, or of another language where these say nothing.

    Examples
    --------
    >>> [day.isoformat() for day in several_readings("2027-101")]
    ['2027-04-11', '2027-10-01', '2027-01-01']
    >>> several_readings("Mon 30 April 2027")
    ()
    >>> [day.isoformat() for day in several_readings("30 de abril de 2027")]
    ['2027-04-30']
    """
    weekday = WEEKDAY.match(text)
    days = _readings(WEEKDAY.sub("", text))
    if not days:
        return _if_any(*(day for day, fits in _elsewhere(text) if fits))
    return tuple(day for day in days if weekday is None or WEEKDAYS[day.weekday()] == weekday[1][:3].lower())


def other_weekday(text: str) -> str | None:
    """Name the weekday that a date is, which names another.

    Examples
    --------
    >>> other_weekday("Mon 30 April 2027")
    'Friday'
    """
    if several_readings(text):
        return None
    days = _readings(WEEKDAY.sub("", text)) or _if_any(*(day for day, _ in _elsewhere(text)))
    return f"{days[0]:%A}" if len(days) == 1 else None


def _elsewhere(text: str) -> list[tuple[date, bool]]:
    """Read a date with names of other languages than English, and whether the weekday that it names fits."""
    named = ((one, _day(_full(one.year), one.month, one.day)) for one in named_days(text) if one.year)
    return [(day, one.weekday in (None, day.weekday())) for one, day in named if day is not None]


def _readings(text: str) -> tuple[date, ...]:
    if match := WITH_TIME.fullmatch(text):
        return _days_of_time(*match.groups())
    if match := DAY_OF_YEAR.fullmatch(text):
        return _days_of_number(int(match[1]), match[2])
    if match := YEAR_FIRST.fullmatch(text):
        return _if_any(_day(*(int(part) for part in match.group(1, 3, 4, 5, 6, 7) if part)))
    if WEEK_DATE.fullmatch(text):
        with contextlib.suppress(ValueError):
            return (date.fromisoformat(text),)
    if match := DAY_NAME_YEAR.fullmatch(text):
        number, name, year = match.groups()
    elif match := NAME_DAY_YEAR.fullmatch(text):
        name, number, year = match.groups()
    else:
        return ()
    months = [i for i, month in enumerate(MONTHS, start=1) if month.startswith(name.lower()) or name.lower() == "sept"]
    if name.lower() == "sept":
        months = [9]
    return _if_any(_day(_full(year), months[0], int(number))) if len(months) == 1 else ()


def _days_of_time(text: str, time: str, zone: str | None) -> tuple[date, ...]:
    """Read a date with a time: midnight at its end, and a time at another place, may belong to a day beside it."""
    day, hour = _day(*map(int, text.split("-"))), int(time[:2])
    if day is None or hour > 24:
        return ()
    before, after = _beside(day, -1), _beside(day, 1)
    if hour == 24:
        return _if_any(day, after)
    if zone in ("Z", "+00:00", "+0000"):
        return _if_any(before, day) if hour < 12 else _if_any(day, after)
    return (day,)


def _days_of_number(year: int, figures: str) -> tuple[date, ...]:
    """Read three figures after a year: the day of the year, or month and day without the hyphen between."""
    number = _beside(date(year, 1, 1), int(figures) - 1) if year and int(figures) else None
    split = (_day(year, int(figures[:at]), int(figures[at:])) for at in (2, 1))
    return _if_any(number if number and number.year == year else None, *split)


def _beside(day: date, days: int) -> date | None:
    with contextlib.suppress(OverflowError):
        return day + timedelta(days=days)
    return None


def _if_any(*days: date | None) -> tuple[date, ...]:
    return tuple(dict.fromkeys(day for day in days if day is not None))


def _day(year: int, month: int, day: int) -> date | None:
    with contextlib.suppress(ValueError):
        return date(year, month, day)
    return None


def _full(year: str) -> int:
    return int(year) + 2000 * (len(year) == 2)


def readings_of(match: re.Match[str], years: range | None) -> dict[DateOrder, date]:
    """Read a date of three numbers, matched by `SLASHED`, in each order that the calendar allows.

    `years` are those that a date with two figures for the year may be of.

    Examples
    --------
    >>> readings_of(SLASHED.fullmatch("5/20/2027"), None)
    {'month-first': datetime.date(2027, 5, 20)}
    """
    parts = (match.group(1), match.group(3), match.group(4))
    readings: dict[DateOrder, date] = {}
    for order, (year, month, day) in PARTS.items():
        if order == "year-first" and (len(parts[2]) == 4 or len(parts[0]) == 1):
            continue
        found = _day(_full(parts[year]), int(parts[month]), int(parts[day]))
        if found is not None:
            readings[order] = found
    possible = {order: day for order, day in readings.items() if years is None or day.year in years}
    return possible if len(parts[2]) == 2 and possible else readings
