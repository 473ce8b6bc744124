"""Treatments and their levels in words: whole ones to be read aloud, short ones for a row or an axis."""

from __future__ import annotations

from collections.abc import Sequence

from trialkit.domain.treatment import NO_PRODUCT, Level, Treatment
from trialkit.languages import gettext, pgettext
from trialkit.words.measures import KITCHEN, MeasureSystem, short_dose, teaspoons
from trialkit.words.phrases import listed


def acid_words(acidifier: Level | None) -> str:
    """Name an acidifier.

    Examples
    --------
    >>> acid_words("none"), acid_words("white vinegar 5 %")
    ('no acid', 'white vinegar 5 %')
    """
    return gettext("no acid") if acidifier in (NO_PRODUCT, "", None) else str(acidifier)


def level_words(column: str, level: Level | None, system: MeasureSystem = KITCHEN) -> str:
    """Name one level of a factor.

    Examples
    --------
    >>> level_words("dose_tsp", 6.0), level_words("acidifier", "none"), level_words("cultivar", "Fenleaf")
    ('6 level teaspoons', 'no acid', 'Fenleaf')
    """
    if isinstance(level, float):
        return teaspoons(level, system)
    return acid_words(level) if column == "acidifier" else str(level)


def level_label(column: str, level: Level | None, system: MeasureSystem = KITCHEN) -> str:
    """Name one level, short enough for a row or an axis.

    Examples
    --------
    >>> level_label("dose_tsp", 6.0), level_label("acidifier", "none")
    ('6 tsp', 'no acid')
    """
    if isinstance(level, float):
        return short_dose(level, system)
    return acid_words(level) if column == "acidifier" else str(level)


def treatment_words(treatment: Treatment, system: MeasureSystem = KITCHEN) -> str:
    """Describe a treatment.

    Examples
    --------
    >>> treatment_words(Treatment("Fenleaf", 6.0, "none"))
    'Fenleaf with 6 level teaspoons of nutrient a bucket and no acid'
    """
    dose, acid = treatment.dose_tsp, treatment.acidifier
    parts = [] if dose is None else [_dose_words(dose, system)]
    parts += [] if acid is None else [acid_words(acid)]
    if not parts:
        return treatment.cultivar or ""
    gets_acid = acid not in (None, "", NO_PRODUCT)
    told = gettext("no nutrient and {acid}", acid=acid) if dose == 0 and gets_acid else listed(parts)
    if treatment.cultivar is None:
        return told
    if dose or (dose is None and gets_acid):
        return gettext("{cultivar} with {told}", cultivar=treatment.cultivar, told=told)
    return pgettext("first what it does not get", "{cultivar} with {told}", cultivar=treatment.cultivar, told=told)


def _dose_words(dose_tsp: float, system: MeasureSystem) -> str:
    dose = teaspoons(dose_tsp, system)
    return dose if dose_tsp == 0 else gettext("{dose} of nutrient a bucket", dose=dose)


def treatment_label(treatment: Treatment, columns: Sequence[str], system: MeasureSystem = KITCHEN) -> str:
    """Name a treatment by some of its columns.

    Examples
    --------
    >>> treatment_label(Treatment("Fenleaf", 6.0, "none"), ["dose_tsp", "acidifier"])
    '6 tsp, no acid'
    """
    levels = treatment.levels
    return ", ".join(level_label(column, levels[column], system) for column in columns if column in levels)
