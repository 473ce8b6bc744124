"""What a trial can vary: the factors, and the column and unit of each. Their order is that of every table and page."""

from dataclasses import dataclass
from typing import Annotated, Literal

FactorName = Literal["cultivar", "dose", "acidifier"]


@dataclass(frozen=True)
class Factor:
    """A treatment factor."""

    name: Annotated[FactorName, "As the protocol names it."]
    column: Annotated[str, "Of layout.csv."]
    unit: Annotated[str | None, "Of its levels; None where they are names."] = None


CULTIVAR = Factor("cultivar", "cultivar")
DOSE = Factor("dose", "dose_tsp", "tsp")
ACIDIFIER = Factor("acidifier", "acidifier")
FACTORS = (CULTIVAR, DOSE, ACIDIFIER)
FACTOR_COLUMNS = {factor.name: factor.column for factor in FACTORS}
"""Column of each factor, by its name in the protocol."""
