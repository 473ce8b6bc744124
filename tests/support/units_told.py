"""Units of the two systems of measures, as texts for readers tell them."""

import re

KITCHEN = re.compile(
    r"teaspoons?|tablespoons?|\d spoons?\b|\btsp\b|\bUS gal|\boz\b|\blb\b|°F|\binch(?:es)?\b|[\d½¼¾] cups?\b"
)
LITRES = re.compile(r"\d (?:mL|L|cm|kg)\b|litres?\b|°C(?! d)")
GRAMS = re.compile(r"\d g\b|, g\b")
"""What the scale shows: heads are weighed and analysed in grams, so that pages for a statistician tell them."""


def foreign_units(text: str, measures: str, *, of_weights: bool) -> list[str]:
    """List units of the other measures, with the words around them; grams count where no weight of lettuce is told."""
    others = (KITCHEN,) if measures == "metric" else (LITRES, GRAMS) if of_weights else (LITRES,)
    return [text[max(m.start() - 40, 0) : m.end() + 10] for other in others for m in other.finditer(text)]
