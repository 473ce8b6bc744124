"""Turning the text of one cell into a value, or into the reason why not. Pure functions of the text."""

import contextlib
import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date

from trialkit.documents.problems import FactValue
from trialkit.tables.formula_text import restored


@dataclass(frozen=True)
class Fault:
    """Why a cell's text is not a value, or is one only after a second look: a case of a rule, and its facts."""

    rule: str
    case: str = ""
    facts: Mapping[str, FactValue] = field(default_factory=dict)


@dataclass(frozen=True)
class Parsed:
    """A value (None: missing, or not readable) and what is wrong with it, if anything."""

    value: object
    fault: Fault | None = None


NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
NUMBER_WITH_COMMA = re.compile(r"[+-]?\d+(,\d+)+(\.\d+)?", re.ASCII)
NUMBER_WITH_UNIT = re.compile(r"([+-]?\d+(?:[.,]\d+)?)\s*([^\W\d_][\w/%. ]*|[%°].*)")
NOT_FINITE = {"nan", "inf", "infinity"}
GROUPED = re.compile(r"[+-]?\d{1,3}(?:[ _'’\u00a0\u202f]\d{3})+(?:\.\d+)?|\d+(?:_\d+)+", re.ASCII)
ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
SLASHED_DATE = re.compile(r"\d{1,2}([/.\- ])\d{1,2}\1\d{2}(\d{2})?", re.ASCII)
SERIAL_DATE = re.compile(r"[34]\d{4}", re.ASCII)
SIGNS = {0x2212: "-", 0xFF0D: "-", 0xFF0E: ".", 0xFF0C: ",", 0x066B: ".", 0x066C: ","}
"""The minus sign, full-width signs, and the Arabic separators of decimals and of thousands."""


def plain_figures(text: str) -> str:
    """Replace the Unicode minus sign, and figures and separators of other scripts and widths, by the plain ones.

    Examples
    --------
    >>> plain_figures("−１５２")
    '-152'
    """
    figures = (str(unicodedata.decimal(c)) if not c.isascii() and c.isdecimal() else c for c in text)
    return "".join(figures).translate(SIGNS)


def parse_text(text: str) -> Parsed:
    """Read a text cell: accents in their composed form, no control characters but the line end and the tab.

    Examples
    --------
    >>> parse_text("NA").value
    'NA'
    """
    if text.isascii() and text.isprintable():  # nearly all are
        return Parsed(restored(text))
    if any(unicodedata.category(c) == "Cc" and c not in "\n\r\t" for c in text):
        return Parsed(None, Fault("TK-V12", "control characters"))
    return Parsed(unicodedata.normalize("NFC", restored(text)))


def parse_number(text: str) -> Parsed:
    """Read a number in plain figures.

    Examples
    --------
    >>> parse_number("152.4").value
    152.4
    >>> parse_number("152,4").fault.rule
    'TK-V04'
    """
    plain = plain_figures(text)
    if NUMBER.fullmatch(plain):
        value = float(plain)
        if not math.isfinite(value):
            return Parsed(None, Fault("TK-V14"))
        return Parsed(value, None if plain == text else Fault("TK-V15", facts={"read": plain}))
    return Parsed(None, _number_fault(plain))


def _number_fault(text: str) -> Fault:
    if text.lstrip("+-").casefold() in NOT_FINITE:
        return Fault("TK-V14")
    if NUMBER_WITH_COMMA.fullmatch(text):
        return _comma_fault(text)
    if GROUPED.fullmatch(text):
        return Fault("TK-V02", "grouped", {"plain": re.sub(r"[^0-9.+-]", "", text)})
    if unit := NUMBER_WITH_UNIT.fullmatch(text):
        number, name = unit.groups()
        return Fault("TK-V03", "", {} if "," in number else {"unit": name.strip()[:20]})
    return Fault("TK-V02")


def _comma_fault(text: str) -> Fault:
    whole, _, rest = text.partition(",")
    readings: dict[str, FactValue] = {"decimal": f"{whole}.{rest}", "whole": f"{whole}{rest}"}
    if len(rest) == 3:
        return Fault("TK-V04", "either", readings)
    return Fault("TK-V04", "decimal", readings) if rest.isdigit() else Fault("TK-V04")


def parse_integer(text: str) -> Parsed:
    """Read a whole number.

    Examples
    --------
    >>> parse_integer("3").value, parse_integer("3.0").value, parse_integer("3.5").fault.rule
    (3, 3, 'TK-V05')
    """
    parsed = parse_number(text)
    if not isinstance(parsed.value, float):
        return parsed
    if not parsed.value.is_integer() or abs(parsed.value) > 2**53:
        return Parsed(None, Fault("TK-V05"))
    return Parsed(int(parsed.value), parsed.fault)


def parse_date(text: str) -> Parsed:
    """Read a date written year-month-day (ISO 8601), and no other form.

    Examples
    --------
    >>> parse_date("2026-04-03").value
    datetime.date(2026, 4, 3)
    >>> parse_date("03/04/26").fault.rule
    'TK-V07'
    >>> parse_date("20/05/2026").fault.facts
    {'readings': ('2026-05-20',)}
    """
    if ISO_DATE.fullmatch(text):
        try:
            return Parsed(date.fromisoformat(text))
        except ValueError:
            return Parsed(None, Fault("TK-V08"))
    if SLASHED_DATE.fullmatch(text):
        return Parsed(None, _date_fault(text))
    return Parsed(None, Fault("TK-V06", "day count" if SERIAL_DATE.fullmatch(text) else ""))


def _date_fault(text: str) -> Fault:
    """Offer the one or two readings that a date written in another order has, if its year is in full."""
    parts = [int(part) for part in re.findall(r"[0-9]+", text)]
    orders = ((2, 1, 0), (2, 0, 1))  # day or month first, the year last
    readings = set()
    for year, month, day in orders if len(parts) == 3 and parts[2] > 999 else ():
        with contextlib.suppress(ValueError):
            readings.add(date(parts[year], parts[month], parts[day]))
    case = ("", "one", "either")[len(readings)]
    return Fault("TK-V07", case, {"readings": tuple(day.isoformat() for day in sorted(readings))})


def boolean_parser(true_values: tuple[str, ...], false_values: tuple[str, ...]) -> Callable[[str], Parsed]:
    """Make a reader of yes and no from the spellings that a schema allows."""

    def parse_boolean(text: str) -> Parsed:
        if text in true_values:
            return Parsed(True)
        if text in false_values:
            return Parsed(False)
        return Parsed(None, Fault("TK-V09", facts={"yes": true_values[0], "no": false_values[0]}))

    return parse_boolean
