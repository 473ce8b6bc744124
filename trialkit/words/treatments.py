"""Treatments and their levels in words: whole ones to be read aloud, short ones for a row or an axis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from trialkit.domain.treatment import Treatment
from trialkit.words.measures import spoons, teaspoons


def acid_words(acidifier: Any) -> str:
    """Name an acidifier.

    Examples
    --------
    >>> acid_words("none"), acid_words("white vinegar 5 %")
    ('no acid', 'white vinegar 5 %')
    """
    return "no acid" if acidifier in ("none", "", None) else str(acidifier)


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


def level_label(column: str, level: Any) -> str:
    """Name one level, short enough for a row or an axis.

    Examples
    --------
    >>> level_label("dose_tsp", 6.0), level_label("acidifier", "none")
    ('6 tsp', 'no acid')
    """
    if column == "dose_tsp":
        return f"{spoons(level)} tsp"
    return acid_words(level) if column == "acidifier" else str(level)


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


def treatment_label(given: Treatment | Mapping[str, Any], columns: Sequence[str]) -> str:
    """Name a treatment by some of its columns.

    Examples
    --------
    >>> treatment_label(Treatment("Fenleaf", 6.0, "none"), ["dose_tsp", "acidifier"])
    '6 tsp, no acid'
    """
    levels = (given if isinstance(given, Treatment) else Treatment.of(given)).levels
    return ", ".join(level_label(column, levels[column]) for column in columns if column in levels)
