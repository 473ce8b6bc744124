"""What is needed, in words."""

from __future__ import annotations

import math
from collections.abc import Mapping

from trialkit.documents.plan import ItemKind, ItemUnit, ShoppingItem, ShoppingList
from trialkit.domain.units import OUNCE_G, TEASPOON_ML, Measures
from trialkit.words.care_words import BucketFacts
from trialkit.words.measures import in_measures, liquid_words, volume_words
from trialkit.words.phrases import count, in_percent, number

BOTTLE_ML, PACK_G = 1000.0, 100.0
"""As shops sell vinegar and citric acid (common practice, no source)."""

ITEM_WORDS: Mapping[ItemKind, str] = {
    "bucket": "food-grade bucket with a tight lid",
    "net cup": "net cup",
    "starter cube": "starter cube",
    "seed": "lettuce seed",
    "nutrient": "nutrient",
    "acidifier": "acid",
    "pH strip": "pH strip",
}
UNIT_WORDS: Mapping[ItemUnit, str] = {
    "piece": "",
    "seed": "seeds",
    "bucket": "buckets' worth",
    "tsp": "level teaspoons",
    "g": "g",
    "mL": "mL",
}


def item_name(item: ShoppingItem, needed: ShoppingList, measures: Measures = "both") -> str:
    """Name what is needed."""
    if item.kind == "bucket":
        bucket = BucketFacts(needed.volume_l, needed.heads_per_bucket, needed.brim_l)
        at_least = "" if bucket.brim_l else "at least "
        return f"{ITEM_WORDS[item.kind]}, {at_least}{volume_words(bucket.holds_l, measures)} to the brim"
    if item.product is None:
        return ITEM_WORDS[item.kind]
    return f"seed of {item.product}" if item.kind == "seed" else item.product


def item_amount(item: ShoppingItem, measures: Measures = "both") -> tuple[str, str]:
    """Say how much and in which unit: grams and millilitres, or ounces and cups where only US measures are told.

    Examples
    --------
    >>> item_amount(ShoppingItem("nutrient", None, 454.0, "g"), "kitchen")
    ('16', 'oz')
    >>> item_amount(ShoppingItem("acidifier", None, 1000.0, "mL"), "kitchen")
    ('4¼ cups', '')
    """
    if item.unit == "g" and measures == "kitchen":
        return number(item.quantity / OUNCE_G, 2), "oz"
    if item.unit == "mL" and measures == "kitchen":
        return liquid_words(item.quantity / TEASPOON_ML), ""
    return number(item.quantity, 6), UNIT_WORDS[item.unit]


def item_note(item: ShoppingItem, needed: ShoppingList, measures: Measures = "both") -> str:
    """Say how the quantity is worked out."""
    match item.kind:
        case "bucket":
            return "one for each bucket of the layout"
        case "net cup":
            return f"{needed.heads_per_bucket} for each bucket"
        case "starter cube":
            return "one for each seed"
        case "seed":
            coming_up = in_percent(needed.germination_share)
            return f"one for each head, where {coming_up} come up, and {in_percent(needed.spare_share)} more"
        case "nutrient":
            if item.unit == "bucket":
                return "trial.toml names no dose, so this is what is usually given"
            return f"what the buckets get and {in_percent(needed.spare_share)} more"
        case "acidifier":
            return _acid_note(item, needed, measures)
        case "pH strip":
            return (
                "in each bucket before the acid, after each step of it, after two days and every week, and "
                f"{in_percent(needed.spare_share)} more"
            )


def _acid_note(item: ShoppingItem, needed: ShoppingList, measures: Measures) -> str:
    if item.unit == "bucket":
        return "products.csv does not tell its strength, and how much depends on each garden's water"
    is_liquid = item.unit == "mL"
    size = BOTTLE_ML if is_liquid else PACK_G
    held = ("34 fl oz", "1 L") if is_liquid else ("3.5 oz", "100 g")
    pack = f"{'bottle' if is_liquid else 'pack'} of {in_measures('metric' if measures == 'both' else measures, *held)}"
    bought = count(max(math.ceil(item.quantity / size), 1), pack, pack.replace(" of", "s of", 1))
    waters = (
        f", with {count(needed.waters_assumed, 'garden')} of unknown alkalinity taken as medium"
        if needed.waters_assumed
        else ""
    )
    return f"{bought}: by each garden's alkalinity, and {in_percent(needed.spare_share)} more{waters}"
