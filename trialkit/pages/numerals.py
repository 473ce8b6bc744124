"""Numbers as the page writes them: rounded for a reader, with a true minus, a dash where there is none."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any, TypeGuard

from trialkit.documents.decision import Gain
from trialkit.domain.units import OUNCE_G, Measures

ABSENT = "–"
DECIMALS: Mapping[str, int] = {"g": 0, "days": 1}
"""Of a response in sentences and pictures; tables for the statistician have one more."""
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


def measure(value: Any) -> str:
    """Write a response (grams, days): whole from 100 up, one decimal below.

    Examples
    --------
    >>> measure(187.6), measure(31.25), measure(None)
    ('188', '31.2', '–')
    """
    return fixed(value, _decimals(value))


def signed(value: Any, decimals: int = 1) -> str:
    """Write a difference with its sign.

    Examples
    --------
    >>> signed(21.34), signed(-3), signed(0.0)
    ('+21.3', '−3.0', '0.0')
    """
    text = fixed(value, decimals)
    return f"+{text}" if is_number(value) and value > 0 and float(text) > 0 else text


def difference(value: Any, unit: str) -> str:
    """Write a difference of a response with its sign and unit: grams of a head whole, days to a tenth.

    Examples
    --------
    >>> difference(-9.21, "g"), difference(2.77, "days"), difference(0.2, "g")
    ('−9 g', '+2.8 days', '0 g')
    """
    return f"{signed(value, DECIMALS.get(unit, 1))} {unit}"


def interval(lower: Any, upper: Any) -> str:
    """Write an interval, to be read aloud.

    Examples
    --------
    >>> interval(178.2, 196.9), interval(None, 3)
    ('178 to 197', '–')
    >>> interval(82.1, 118.4)
    '82 to 118'
    """
    if not is_number(lower) or not is_number(upper):
        return ABSENT
    decimals = _decimals(lower, upper)
    return f"{fixed(lower, decimals)} to {fixed(upper, decimals)}"


def with_interval(mean: Any, lower: Any, upper: Any, unit: str = "") -> str:
    """Write a mean and its interval, all to the same place.

    Examples
    --------
    >>> with_interval(98.4, 80.2, 117, "g"), with_interval(38.2, 36.1, 40)
    ('98 g (80 to 117)', '38.2 (36.1 to 40.0)')
    """
    return f"{mean_beside(mean, lower, upper)} {unit}".rstrip() + f" ({interval(lower, upper)})"


def in_ounces(mean: Any, lower: Any, upper: Any) -> str:
    """Write a mean of grams and its interval in ounces, to a tenth.

    Examples
    --------
    >>> in_ounces(167.0, 149.0, 185.0)
    '5.9 oz (5.3 to 6.5)'
    """
    limits = f" ({fixed(lower / OUNCE_G)} to {fixed(upper / OUNCE_G)})" if is_number(lower) and is_number(upper) else ""
    return f"{fixed(mean / OUNCE_G)} oz{limits}"


def mean_beside(mean: Any, lower: Any, upper: Any) -> str:
    """Write a mean to the place that its interval is written to.

    Examples
    --------
    >>> mean_beside(98.4, 80.2, 117)
    '98'
    """
    return fixed(mean, _decimals(mean, lower, upper))


def _decimals(*values: Any) -> int:
    return 0 if max((abs(value) for value in values if is_number(value)), default=0.0) >= 99.95 else 1


def difference_interval(lower: Any, upper: Any) -> str:
    """Write an interval of a difference.

    Examples
    --------
    >>> difference_interval(-4.21, 12)
    '−4.2 to +12.0'
    """
    return f"{signed(lower)} to {signed(upper)}" if is_number(lower) and is_number(upper) else ABSENT


def told_weight(grams: float | None, measures: Measures) -> str:
    """Write what a head weighs in a table: in ounces where only the kitchen's measures are asked for.

    Examples
    --------
    >>> told_weight(187.6, "both"), told_weight(187.6, "kitchen"), told_weight(None, "kitchen")
    ('188', '6.6', '–')
    """
    return fixed(grams, DECIMALS["g"]) if grams is None or measures != "kitchen" else fixed(grams / OUNCE_G)


def gain_and_interval(gain: Gain, measures: Measures) -> tuple[str, str]:
    """Write a gain and its interval in the unit of a table.

    Examples
    --------
    >>> gain_and_interval(Gain(37.0, -4.0, 61.0), "both"), gain_and_interval(Gain(37.0, -4.0, 61.0), "kitchen")
    (('+37.0', '−4.0 to +61.0'), ('+1.3', '−0.1 to +2.2'))
    """
    scale = OUNCE_G if measures == "kitchen" else 1.0
    return signed(gain.estimate / scale), difference_interval(gain.lower / scale, gain.upper / scale)


def loss_words(grams: float, measures: Measures) -> str:
    """Write what a choice gives up, to a tenth of a gram or a hundredth of an ounce.

    Examples
    --------
    >>> loss_words(3.24, "both"), loss_words(3.24, "kitchen")
    ('3.2', '0.11')
    """
    return fixed(grams / OUNCE_G, 2) if measures == "kitchen" else fixed(grams)


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


def percent(share: Any) -> str:
    """Write a share as a percentage.

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
