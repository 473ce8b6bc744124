"""What a trial can vary: the factors, and the column and unit of each. Their order is that of every table and page."""

from dataclasses import dataclass
from typing import Literal

FactorName = Literal["cultivar", "dose", "acidifier"]


@dataclass(frozen=True)
class Factor:
    """A treatment factor.

    Attributes
    ----------
    name : str
        As the protocol names it.
    column : str
        Of layout.csv.
    unit : str or None
        Of its levels; None where they are names.
    """

    name: FactorName
    column: str
    unit: str | None = None


CULTIVAR = Factor("cultivar", "cultivar")
DOSE = Factor("dose", "dose_tsp", "tsp")
ACIDIFIER = Factor("acidifier", "acidifier")
FACTORS = (CULTIVAR, DOSE, ACIDIFIER)
FACTOR_COLUMNS = {factor.name: factor.column for factor in FACTORS}
"""Column of each factor, by its name in the protocol."""
