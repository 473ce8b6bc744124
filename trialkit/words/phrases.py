"""Treatments, chances and numbers in words that can be read aloud; the report uses the same."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from trialkit.domain.treatment import Treatment

VERDICT_WORDS: Mapping[str, str] = {
    "adopt": "change the default",
    "keep current": "keep the current default",
    "keep current, retest": "keep the current default for now, and test again",
    "no practical difference: take the cheaper": "no practical difference: take the cheaper",
}
FRACTIONS = {0.25: "¼", 0.5: "½", 0.75: "¾"}


def number(value: float, digits: int = 3) -> str:
    """Write a number to so many significant digits, never in scientific notation.

    Examples
    --------
    >>> number(1234.4), number(0.0456), number(2.0)
    ('1230', '0.0456', '2')
    """
    return f"{float(f'{value:.{digits}g}'):.10f}".rstrip("0").rstrip(".")


def spoons(dose_tsp: Any) -> str:
    """Write a number of teaspoons as a cook would.

    Examples
    --------
    >>> spoons(6.0), spoons(2.5), spoons(0.25), spoons(1.3)
    ('6', '2½', '¼', '1.3')
    """
    if not isinstance(dose_tsp, int | float):
        return str(dose_tsp)
    whole = math.floor(dose_tsp)
    fraction = FRACTIONS.get(dose_tsp - whole)
    return number(dose_tsp, 4) if fraction is None else f"{whole or ''}{fraction}"


def teaspoons(dose_tsp: Any) -> str:
    """Say a dose in level teaspoons.

    Examples
    --------
    >>> teaspoons(6), teaspoons(1), teaspoons(0.5), teaspoons(0)
    ('6 level teaspoons', '1 level teaspoon', '½ level teaspoon', 'no nutrient')
    """
    if dose_tsp == 0:
        return "no nutrient"
    single = isinstance(dose_tsp, int | float) and dose_tsp <= 1
    return f"{spoons(dose_tsp)} level teaspoon{'' if single else 's'}"


def acid_words(acidifier: Any) -> str:
    """Name an acidifier.

    Examples
    --------
    >>> acid_words("none"), acid_words("white vinegar 5 %")
    ('no acid', 'white vinegar 5 %')
    """
    return "no acid" if acidifier in ("none", "", None) else str(acidifier)


def treatment_words(given: Treatment | Mapping[str, Any]) -> str:
    """Describe a treatment in kitchen measures.

    Examples
    --------
    >>> treatment_words(Treatment("Fenleaf", 6.0, "none"))
    'Fenleaf with 6 level teaspoons of nutrient a bucket and no acid'
    """
    treatment = given if isinstance(given, Treatment) else Treatment.of(given)
    parts = []
    if treatment.dose_tsp is not None:
        dose = teaspoons(treatment.dose_tsp)
        parts.append(dose if treatment.dose_tsp == 0 else f"{dose} of nutrient a bucket")
    if treatment.acidifier is not None:
        parts.append(acid_words(treatment.acidifier))
    if treatment.cultivar is None:
        return " and ".join(parts)
    return f"{treatment.cultivar} with {' and '.join(parts)}" if parts else treatment.cultivar


def level_words(column: str, level: Any) -> str:
    """Name one level of a factor.

    Examples
    --------
    >>> level_words("dose_tsp", 6.0), level_words("acidifier", "none"), level_words("cultivar", "Fenleaf")
    ('6 level teaspoons', 'no acid', 'Fenleaf')
    """
    if column == "dose_tsp":
        return teaspoons(level)
    return acid_words(level) if column == "acidifier" else str(level)


def count(number: Any, one: str, many: str | None = None) -> str:
    """Count things.

    Examples
    --------
    >>> count(1, "garden"), count(4, "garden")
    ('1 garden', '4 gardens')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def chance(probability: float) -> str:
    """Say a probability as a chance in a hundred, never as certainty.

    Examples
    --------
    >>> chance(0.934), chance(0.9999), chance(0.0)
    ('93 in 100', 'more than 99 in 100', 'less than 1 in 100')
    """
    if probability > 0.99:
        return "more than 99 in 100"
    return "less than 1 in 100" if probability < 0.01 else f"{round(probability * 100)} in 100"


def asked_chance(probability: float) -> str:
    """Say a chance that somebody asks for, exactly.

    Examples
    --------
    >>> asked_chance(0.9), asked_chance(0.999)
    ('90 in 100', '99.9 in 100')
    """
    return f"{probability * 100:g} in 100"


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
