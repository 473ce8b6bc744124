"""Amounts in the measures of a kitchen, as a cook would say them."""

from __future__ import annotations

import math
from typing import Any, Literal

from trialkit.words.phrases import number

Measures = Literal["kitchen", "metric", "both"]
FRACTIONS = {0.25: "¼", 0.5: "½", 0.75: "¾"}
FILLED_ONCE = {
    12.0: "a quarter of a cup",
    3.0: "a tablespoon",
    1.0: "a teaspoon",
    0.5: "half a teaspoon",
    0.25: "a quarter of a teaspoon",
}
"""Measures that somebody fills once, by their teaspoons."""


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


def measure_words(teaspoons: float) -> str:
    """Name a kitchen measure that somebody fills once.

    Examples
    --------
    >>> measure_words(12.0), measure_words(3.0), measure_words(0.5)
    ('a quarter of a cup', 'a tablespoon', 'half a teaspoon')
    """
    return FILLED_ONCE.get(teaspoons) or f"{spoons(teaspoons)} teaspoons"
