"""Dates as people and spreadsheet programs write them: what each can be read as. Pure functions of the text."""

import contextlib
import re
from datetime import date

from trialkit.documents.returns import DateOrder

SLASHED = re.compile(r"(\d{1,2})([/.\- ])(\d{1,2})\2(\d{4}|\d{2})", re.ASCII)
YEAR_FIRST = re.compile(r"(\d{4})[/.\- ]?(\d{1,2})[/.\- ]?(\d{1,2})", re.ASCII)
WITH_TIME = re.compile(r"(\d{4}-\d{2}-\d{2})[T ](\d{2}:\d{2}(?::\d{2})?(?:\.\d+)?)(Z|[+-]\d{2}:?\d{2})?", re.ASCII)
WEEKDAY = re.compile(r"(mon|tues?|wed(nes)?|thu(rs)?|fri|sat(ur)?|sun)(day)?\.?,?\s+", re.IGNORECASE)
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
    """Read a date that names its month, or begins with a year in full.

    Examples
    --------
    >>> one_reading("20-May-27"), one_reading("5/20/2027")
    (datetime.date(2027, 5, 20), None)
    """
    text = WEEKDAY.sub("", text)
    if match := WITH_TIME.fullmatch(text):
        return _day(*map(int, match.group(1).split("-")))
    if match := YEAR_FIRST.fullmatch(text):
        return _day(*map(int, match.groups())) if len(re.findall(r"\d", text)) == 8 or not text.isdigit() else None
    if match := DAY_NAME_YEAR.fullmatch(text):
        number, name, year = match.groups()
    elif match := NAME_DAY_YEAR.fullmatch(text):
        name, number, year = match.groups()
    else:
        return None
    months = [i for i, month in enumerate(MONTHS, start=1) if month.startswith(name.lower()) or name.lower() == "sept"]
    if name.lower() == "sept":
        months = [9]
    return _day(_full(year), months[0], int(number)) if len(months) == 1 else None


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
