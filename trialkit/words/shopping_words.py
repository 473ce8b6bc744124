"""What is needed, in words."""

from __future__ import annotations

from collections.abc import Mapping

from trialkit.documents.plan import ItemKind, ItemUnit, ShoppingItem, ShoppingList
from trialkit.words.phrases import in_percent

ITEM_WORDS: Mapping[ItemKind, str] = {
    "bucket": "bucket with a lid",
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


def item_name(item: ShoppingItem, needed: ShoppingList) -> str:
    """Name what is needed."""
    if item.kind == "bucket":
        return f"{ITEM_WORDS[item.kind]}, {needed.volume_l:g} L"
    if item.product is None:
        return ITEM_WORDS[item.kind]
    return f"seed of {item.product}" if item.kind == "seed" else item.product


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
