"""A treatment: what a bucket is given, of all that a trial varies."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Annotated, Any

from trialkit.domain.rounding import ROUNDING

Level = str | float
NO_PRODUCT = "none"
"""The acidifier level that stands for adding nothing."""
SAME_DOSE_TSP = 0.01
"""Doses nearer than this are one: the smallest measuring spoons hold 1/64 teaspoon (common practice, no source)."""
SAME_STRENGTH = 0.05
"""Doses of different products are one where their nitrogen is within so much of the greater (common practice)."""


@dataclass(frozen=True)
class Treatment:
    """Levels of the treatment factors; None of a factor that plays no part.

    Examples
    --------
    >>> Treatment("Fenleaf", 6.0).levels
    {'cultivar': 'Fenleaf', 'dose_tsp': 6.0}
    """

    cultivar: Annotated[str | None, "The one grown."] = None
    dose_tsp: Annotated[float | None, "Level teaspoons of nutrient a bucket."] = None
    acidifier: Annotated[str | None, '"none" where acid was tried and this has none.'] = None

    @classmethod
    def of(cls, levels: Mapping[Any, Any]) -> Treatment:
        """Take the levels out of a row of a table; empty texts and missing numbers are no levels."""
        cultivar, dose, acidifier = (
            level if _is_level(level) else None
            for level in (levels.get(column) for column in ("cultivar", "dose_tsp", "acidifier"))
        )
        return cls(
            None if cultivar is None else str(cultivar),
            None if dose is None else float(dose),
            None if acidifier is None else str(acidifier),
        )

    @property
    def levels(self) -> dict[str, Level]:
        """Levels by column, of the factors that play a part, in factorial order."""
        return {column: level for column, level in asdict(self).items() if level is not None}

    def level(self, column: str) -> Level | None:
        """Return the level in a column."""
        return self.levels.get(column)

    def among(self, columns: Iterable[str]) -> Treatment:
        """Return the treatment with the levels of some columns only."""
        return Treatment.of({column: self.level(column) for column in columns})

    def __bool__(self) -> bool:
        """Whether anything plays a part."""
        return bool(self.levels)


def is_same_dose(one_tsp: float, other_tsp: float) -> bool:
    """Whether no measuring spoon tells two doses apart.

    Examples
    --------
    >>> is_same_dose(6.0, 6.001), is_same_dose(6.0, 6.25), is_same_dose(2.0, 2.01)
    (True, False, False)
    """
    return abs(one_tsp - other_tsp) < SAME_DOSE_TSP * (1 - ROUNDING)


def is_same_strength(one_mg_l: float, other_mg_l: float) -> bool:
    """Whether two strengths of nitrogen, mg/L, count as one dose.

    Examples
    --------
    >>> is_same_strength(100.0, 104.0), is_same_strength(100.0, 110.0)
    (True, False)
    """
    return abs(one_mg_l - other_mg_l) <= SAME_STRENGTH * max(one_mg_l, other_mg_l, 1.0)


def _is_level(level: Any) -> bool:
    return level is not None and bool(level == level) and str(level) != ""
