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
    "cultivar": "Cultivars to try, separated by commas (one if every bucket has it, or leave empty)",
    "dose": "Doses to try, teaspoons of nutrient a bucket, as 2, 4, 6 (one if every bucket has it, or leave empty)",
    "acidifier": "Acids to try, such as white vinegar 5 %, citric acid (one if every bucket has it, or leave empty)",
}


def effect_label(term: str) -> str:
    """Name an effect of one factor, or of several together, by the columns of its term.

    Examples
    --------
    >>> effect_label("dose_tsp"), effect_label("cultivar:dose_tsp")
    ('dose', 'cultivar by dose')
    """
    return " by ".join(column.removesuffix("_tsp") for column in term.split(":"))
