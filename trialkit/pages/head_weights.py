"""What heads weigh, gain and give up: grams that become ounces where the kitchen's measures are read."""

from __future__ import annotations

from collections.abc import Callable

from trialkit.documents.decision import Gain
from trialkit.domain.units import OUNCE_G, Measures
from trialkit.pages.numerals import ABSENT, difference_interval, interval, is_number, signed, told, with_interval
from trialkit.words.measures import Sentence, each_way


def as_told(value: float, unit: str, measures: Measures) -> tuple[float, str]:
    """Turn an amount in the unit of a response into the one that it is told in.

    Examples
    --------
    >>> as_told(28.349523125, "g", "kitchen"), as_told(28.0, "g", "both"), as_told(3.0, "days", "kitchen")
    ((1.0, 'oz'), (28.0, 'g'), (3.0, 'days'))
    """
    return (value / OUNCE_G, "oz") if unit == "g" and measures == "kitchen" else (value, unit)


def unit_told(unit: str, measures: Measures) -> str:
    """Name the unit that a response is told in.

    Examples
    --------
    >>> unit_told("g", "kitchen"), unit_told("days", "kitchen")
    ('oz', 'days')
    """
    return as_told(0.0, unit, measures)[1]


def told_weight(grams: float | None, measures: Measures, *, finer: bool = False) -> str:
    """Write what a head weighs in a table.

    Examples
    --------
    >>> told_weight(187.6, "both"), told_weight(187.6, "kitchen"), told_weight(None, "kitchen")
    ('188', '6.6', '–')
    """
    value, unit = as_told(grams or 0.0, "g", measures)
    return told(value if is_number(grams) else None, unit, finer=finer)


def gain_and_interval(gain: Gain, measures: Measures) -> tuple[str, str]:
    """Write a gain and its interval in the unit of a table.

    Examples
    --------
    >>> gain_and_interval(Gain(37.0, -4.0, 61.0), "both"), gain_and_interval(Gain(37.0, -4.0, 61.0), "kitchen")
    (('+37', '−4 to +61'), ('+1.3', '−0.1 to +2.2'))
    """
    (estimate, unit), (lower, _), (upper, _) = (
        as_told(one, "g", measures) for one in (gain.estimate, gain.lower, gain.upper)
    )
    return signed(estimate, unit), difference_interval(lower, upper, unit)


def gain_cells(gain: Gain | None, measures: Measures) -> tuple[str | Sentence, str | Sentence]:
    """Cells of a gain and of its interval, in each measure system; dashes where there is none."""
    if gain is None:
        return ABSENT, ABSENT
    return (
        each_way(lambda way: gain_and_interval(gain, way)[0], measures),
        each_way(lambda way: gain_and_interval(gain, way)[1], measures),
    )


def amount(value: float | None, unit: str, measures: Measures, *, finer: bool = False) -> str | Sentence:
    """Cell of an amount in the unit of a response, in each measure system; a dash where there is none."""
    if value is None:
        return ABSENT
    return each_way(lambda way: told(*as_told(value, unit, way), finer=finer), measures)


def limits(lower: float, upper: float, unit: str, measures: Measures, *, finer: bool = False) -> Sentence:
    """Cell of an interval in the unit of a response, in each measure system."""

    def said(way: Measures) -> str:
        (low, told_unit), (high, _) = (as_told(one, unit, way) for one in (lower, upper))
        return interval(low, high, told_unit, finer=finer)

    return each_way(said, measures)


def mean_words(mean: float, lower: float, upper: float, unit: str, measures: Measures) -> Sentence:
    """Write a mean with its interval in the unit of a response, in each measure system."""

    def said(way: Measures) -> str:
        (told_mean, told_unit), (low, _), (high, _) = (as_told(one, unit, way) for one in (mean, lower, upper))
        return with_interval(told_mean, low, high, told_unit)

    return each_way(said, measures)


def in_unit(say: Callable[[str], str], unit: str, measures: Measures) -> Sentence:
    """Say something of a unit, as the heading of a column or the title of an axis, in each measure system.

    Examples
    --------
    >>> in_unit("mean, {}".format, "g", "both").kitchen, in_unit("mean, {}".format, "days", "both").kitchen
    ('mean, oz', 'mean, days')
    """
    return each_way(lambda way: say(unit_told(unit, way)), measures)
