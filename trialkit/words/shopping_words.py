"""What is needed, in words."""

from __future__ import annotations

import math
from collections.abc import Mapping

from trialkit.documents.plan import ItemKind, ItemUnit, ShoppingItem, ShoppingList
from trialkit.words.phrases import count, in_percent

BOTTLE_ML, PACK_G = 1000.0, 100.0
"""As shops sell vinegar and citric acid (common practice, no source)."""

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
    "mL": "mL",
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
            return _acid_note(item, needed)
        case "pH strip":
            return (
                "in each bucket before the acid, after each step of it, after two days and every week, and "
                f"{in_percent(needed.spare_share)} more"
            )


def _acid_note(item: ShoppingItem, needed: ShoppingList) -> str:
    if item.unit == "bucket":
        return "products.csv does not tell its strength: how much depends on each garden's water"
    size, packs = (BOTTLE_ML, "bottle of 1 L") if item.unit == "mL" else (PACK_G, "pack of 100 g")
    many = packs.replace(" of", "s of", 1)
    bought = count(max(math.ceil(item.quantity / size), 1), packs, many)
    waters = (
        f"; {count(needed.waters_assumed, 'garden')} of unknown alkalinity taken as medium"
        if needed.waters_assumed
        else ""
    )
    return f"{bought}: by each garden's alkalinity, and {in_percent(needed.spare_share)} more{waters}"
