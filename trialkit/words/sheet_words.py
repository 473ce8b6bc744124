"""Record sheets in words: what a column is called, in the measures that whoever fills it in has."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated

from trialkit.domain.table_names import TableName
from trialkit.domain.units import GALLON_L, OUNCE_G, TEASPOON_ML, Measures
from trialkit.languages import gettext, translatable
from trialkit.tables.table_schema import load_schema
from trialkit.words.phrases import number

KITCHEN_UNITS: Mapping[str, str] = {"weight_g": "oz", "volume_l": translatable("US gal")}


@dataclass(frozen=True)
class SheetMeasures:
    """The measures of a garden's record sheets."""

    measures: Measures
    nutrient_g_per_tsp: Annotated[
        float | None, "Of its feed's base; None where nobody weighed it, or doses are not tried."
    ]
    has_liquid_acid: bool
    has_powdered_acid: bool

    def heading(self, table: TableName, name: str) -> str:
        """Head a column of a table."""
        field = load_schema(table).field(name)
        unit = self._unit(name)
        return f"{gettext(field.title)} ({unit})" if unit else field.heading

    def _unit(self, name: str) -> str | None:
        if self.measures == "kitchen":
            return gettext(KITCHEN_UNITS[name]) if name in KITCHEN_UNITS else None
        if self.measures != "metric":
            return None
        if name == "nutrient_tsp":
            return "g" if self.nutrient_g_per_tsp else None
        if name == "acid_tsp":
            kinds = (
                "mL" if self.has_liquid_acid else "",
                gettext("powder: teaspoons") if self.has_powdered_acid else "",
            )
            return ", ".join(filter(None, kinds)) or None
        return None

    @property
    def for_typing(self) -> str:
        """Say what the sheet's units are in those of the tables; nothing where they are the same."""
        parts = ", ".join(self._conversions())
        return gettext("Whoever types this in: {parts}.", parts=parts) if parts else ""

    def _conversions(self) -> Iterator[str]:
        if self.measures == "kitchen":
            yield f"1 oz = {number(OUNCE_G, 4)} g"
            yield gettext("1 US gal = {litres} L", litres=number(GALLON_L, 4))
        elif self.measures == "metric":
            if self.nutrient_g_per_tsp:
                yield gettext("{grams} g of nutrient = 1 teaspoon", grams=number(self.nutrient_g_per_tsp))
            if self.has_liquid_acid:
                yield gettext("{amount} mL of acid = 1 teaspoon", amount=number(TEASPOON_ML))
