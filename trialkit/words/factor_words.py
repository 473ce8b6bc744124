"""Factors and effects by name."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.domain.factors import FactorName
from trialkit.words.phrases import listed

FACTOR_LABELS: Mapping[FactorName, str] = {
    "cultivar": "cultivar",
    "dose": "nutrient dose",
    "acidifier": "acid",
}


SHORT_NAMES: Mapping[str, str] = {"cultivar": "cultivar", "dose_tsp": "dose", "acidifier": "acid"}
"""By the column that holds a factor's levels."""
LEVELS_QUESTIONS: Mapping[FactorName, str] = {
    "cultivar": "Cultivars to try, separated by commas (one if every bucket has it, or leave empty)",
    "dose": "Doses to try, teaspoons of nutrient a bucket, as 2, 4, 6 (one if every bucket has it, or leave empty)",
    "acidifier": "Acids to try, such as white vinegar 5 %, citric acid (one if every bucket has it, or leave empty)",
}


def effect_label(term: str) -> str:
    """Name an effect of one factor, or of several together, by the columns of its term.

    Examples
    --------
    >>> effect_label("dose_tsp"), effect_label("cultivar:acidifier")
    ('dose', 'cultivar by acid')
    """
    return " by ".join(_short_names(term))


def effect_words(term: str) -> str:
    """Say what an effect is, to be read aloud.

    Examples
    --------
    >>> effect_words("dose_tsp"), effect_words("cultivar:dose_tsp")
    ('the effect of dose', 'what cultivar and dose do together')
    """
    names = _short_names(term)
    return f"the effect of {names[0]}" if len(names) == 1 else f"what {listed(names)} do together"


def _short_names(term: str) -> list[str]:
    return [SHORT_NAMES.get(column, column) for column in term.split(":")]
