"""Factors and effects by name."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.domain.factors import FactorName

FACTOR_LABELS: Mapping[FactorName, str] = {
    "cultivar": "cultivar",
    "dose": "nutrient dose",
    "acidifier": "acidifier",
}


LEVELS_QUESTIONS: Mapping[FactorName, str] = {
    "cultivar": "Cultivars to try, separated by commas (one alone if every bucket has it, empty if it plays no part)",
    "dose": "Doses to try, teaspoons of nutrient a bucket, such as 2, 4, 6 (one alone if every bucket gets it)",
    "acidifier": "Acids to try, such as white vinegar 5 %, none (one alone if every bucket gets it)",
}


def effect_label(term: str) -> str:
    """Name an effect of one factor, or of several together, by the columns of its term.

    Examples
    --------
    >>> effect_label("dose_tsp"), effect_label("cultivar:dose_tsp")
    ('dose', 'cultivar by dose')
    """
    return " by ".join(column.removesuffix("_tsp") for column in term.split(":"))
