"""Numbers as the page writes them: rounded for a reader, with a true minus, a dash where there is none."""

from __future__ import annotations

import math
import re
from typing import Any, TypeGuard

from trialkit.words.phrases import DECIMALS, FINER

ABSENT = "–"
MINUS = "\u2212"
BEFORE_UNIT = re.compile(r"(?<=[0-9½¼¾]) (?=%|(?:g|kg|mg/L|L|mL|cm|oz|lb|US gal|tsp|°C|°F|h|d\.f\.)(?![A-Za-z]))")
CHANCE = re.compile(r"(?<=[0-9]) in 100\b")


def is_number(value: object) -> TypeGuard[float]:
    """Tell whether a value is a finite number (a truth value is not one).

    Examples
    --------
    >>> is_number(3), is_number(None), is_number(float("nan")), is_number(True)
    (True, False, False, False)
    """
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def fixed(value: Any, decimals: int = 1) -> str:
    """Write a number with so many decimals; a dash where there is none.

    Examples
    --------
    >>> fixed(3.14159, 2), fixed(-0.04), fixed(-2.5), fixed(None)
    ('3.14', '0.0', '−2.5', '–')
    """
    if not is_number(value):
        return ABSENT
    text = f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.removeprefix("-")
    return text.replace("-", MINUS)


def plain(value: Any, digits: int = 3) -> str:
    """Write a number to so many significant digits, never in scientific notation, no trailing zeros.

    Examples
    --------
    >>> plain(1234.4), plain(0.0456), plain(2.0), plain(20000)
    ('1234', '0.0456', '2', '20000')
    """
    if not is_number(value):
        return ABSENT
    if abs(value) >= 10**digits:
        return fixed(value, 0)
    text = f"{float(f'{value:.{digits}g}'):.10f}".rstrip("0").rstrip(".")
    return ("0" if text == "-0" else text).replace("-", MINUS)


def told(value: Any, quantity: str, *, finer: bool = False) -> str:
    """Write a number to the place that is told of its quantity; a dash where there is none.

    Examples
    --------
    >>> told(187.6, "g"), told(31.25, "days"), told(187.6, "g", finer=True), told(None, "g")
    ('188', '31.2', '187.6', '–')
    """
    return fixed(value, DECIMALS[quantity] + FINER * finer)


def signed(value: Any, quantity: str, *, finer: bool = False) -> str:
    """Write a difference with its sign.

    Examples
    --------
    >>> signed(21.34, "g"), signed(-3, "days"), signed(0.2, "g"), signed(21.34, "g", finer=True)
    ('+21', '−3.0', '0', '+21.3')
    """
    text = told(value, quantity, finer=finer)
    return f"+{text}" if is_number(value) and value > 0 and float(text) > 0 else text


def difference(value: Any, unit: str) -> str:
    """Write a difference of a response with its sign and unit.

    Examples
    --------
    >>> difference(-9.21, "g"), difference(2.77, "days"), difference(0.2, "g")
    ('−9 g', '+2.8 days', '0 g')
    """
    return f"{signed(value, unit)} {unit}"


def interval(lower: Any, upper: Any, quantity: str, *, finer: bool = False) -> str:
    """Write an interval, to be read aloud.

    Examples
    --------
    >>> interval(178.2, 196.9, "g"), interval(36.1, 40, "days"), interval(None, 3, "g")
    ('178 to 197', '36.1 to 40.0', '–')
    """
    if not is_number(lower) or not is_number(upper):
        return ABSENT
    return f"{told(lower, quantity, finer=finer)} to {told(upper, quantity, finer=finer)}"


def with_interval(mean: Any, lower: Any, upper: Any, unit: str) -> str:
    """Write a mean with its unit, and its interval.

    Examples
    --------
    >>> with_interval(98.4, 80.2, 117, "g"), with_interval(38.2, 36.1, 40, "days")
    ('98 g (80 to 117)', '38.2 days (36.1 to 40.0)')
    """
    return f"{told(mean, unit)} {unit} ({interval(lower, upper, unit)})"


def difference_interval(lower: Any, upper: Any, quantity: str, *, finer: bool = False) -> str:
    """Write an interval of a difference.

    Examples
    --------
    >>> difference_interval(-4.21, 12, "g"), difference_interval(-4.21, 12, "days")
    ('−4 to +12', '−4.2 to +12.0')
    """
    if not is_number(lower) or not is_number(upper):
        return ABSENT
    return f"{signed(lower, quantity, finer=finer)} to {signed(upper, quantity, finer=finer)}"


def p_value(p: Any) -> str:
    """Write a p-value to three decimals.

    Examples
    --------
    >>> p_value(0.0234), p_value(0.00004), p_value(0.9999), p_value(None)
    ('0.023', '< 0.001', '> 0.999', '–')
    """
    if not is_number(p):
        return ABSENT
    return "< 0.001" if p < 0.001 else "> 0.999" if p > 0.999 else f"{p:.3f}"


def whole_percent(share: Any) -> str:
    """Write a share that was recorded or worked out as a whole percentage.

    Examples
    --------
    >>> whole_percent(0.412), whole_percent(None)
    ('41 %', '–')
    """
    return f"{fixed(share * 100, 0)} %" if is_number(share) else ABSENT


def percent(share: Any) -> str:
    """Write a share that somebody stated as a percentage.

    Examples
    --------
    >>> percent(0.95), percent(0.125)
    ('95 %', '12.5 %')
    """
    return f"{plain(share * 100)} %" if is_number(share) else ABSENT


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


def tie(text: str) -> str:
    """Keep a number and its unit on one line.

    Examples
    --------
    >>> tie("193 g, 96 in 100") == "193" + chr(160) + "g, 96" + chr(160) + "in" + chr(160) + "100"
    True
    """
    return CHANCE.sub("\u00a0in\u00a0100", BEFORE_UNIT.sub("\u00a0", text))
