"""What is needed, in words."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.documents.plan import ItemKind, ItemUnit, ShoppingItem, ShoppingList
from trialkit.domain.units import OUNCE_G, Measures
from trialkit.words.care_words import BucketFacts
from trialkit.words.measures import volume_words
from trialkit.words.phrases import in_percent, number

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
    """Say how much and in which unit: grams, as shops weigh, or ounces where only US measures are told.

    Examples
    --------
    >>> item_amount(ShoppingItem("nutrient", None, 454.0, "g"), "kitchen")
    ('16', 'oz')
    """
    if item.unit == "g" and measures == "kitchen":
        return number(item.quantity / OUNCE_G, 2), "oz"
    return number(item.quantity, 6), UNIT_WORDS[item.unit]


def item_note(item: ShoppingItem, needed: ShoppingList) -> str:
    """Say how the quantity is worked out."""
    match item.kind:
        case "bucket":
            return "one a place in the layout"
        case "net cup":
            return f"{needed.heads_per_bucket} a bucket"
        case "starter cube":
            return "one a seed"
        case "seed":
            coming_up = in_percent(needed.germination_share)
            return f"one a head, {coming_up} coming up, {in_percent(needed.spare_share)} more"
        case "nutrient":
            if item.unit == "bucket":
                return "trial.toml names no dose: what is usually given"
            return f"what the buckets get and {in_percent(needed.spare_share)} more"
        case "acidifier":
            return "how much depends on each garden's water: add a little at a time and test with a strip"
        case "pH strip":
            return "before and after the acid in each bucket"
