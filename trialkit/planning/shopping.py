"""What a trial needs: buckets, cups, cubes, seed, nutrient, acid and strips, with quantities and what they cost."""

from __future__ import annotations

import math
from collections.abc import Iterator

import pandas as pd

from trialkit.documents.plan import ShoppingItem, ShoppingList
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.protocol.trial_protocol import Protocol

SPARE = 0.1
"""Share bought beyond what is used (common practice, no source)."""
GERMINATION = 0.85
"""Share of seeds that come up (common practice, no source; the packet may say more)."""
READINGS_A_BUCKET = 2  # pH before and after the acid


def shopping_list(protocol: Protocol, products: pd.DataFrame, layout: pd.DataFrame) -> ShoppingList:
    """List what the laid-out trial needs."""
    items = tuple(_items(protocol, products, layout))
    cost = sum(item.cost or 0.0 for item in items)
    return ShoppingList(items, protocol.bucket.volume_l, protocol.bucket.heads, SPARE, GERMINATION, cost)


def grams_per_teaspoon(products: pd.DataFrame, product: str | None) -> float | None:
    """Weight of a level teaspoon of a product, g; None where it is not known."""
    return _known(products, product, "grams_per_tsp")


def _items(protocol: Protocol, products: pd.DataFrame, layout: pd.DataFrame) -> Iterator[ShoppingItem]:
    buckets, heads = len(layout), protocol.bucket.heads
    yield ShoppingItem("bucket", None, buckets, "piece", protocol.decision.cost_per_bucket * buckets or None)
    yield ShoppingItem("net cup", None, buckets * heads, "piece")
    seeds = {
        str(cultivar): math.ceil(_with_spare(int(count) * heads) / GERMINATION)
        for cultivar, count in layout["cultivar"].value_counts(sort=False).items()
    }
    yield ShoppingItem("starter cube", None, sum(seeds.values()), "piece")
    for cultivar, count in seeds.items():
        yield ShoppingItem("seed", cultivar or None, count, "seed")
    yield from _nutrient(protocol, products, layout)
    for acidifier, count in layout["acidifier"].value_counts(sort=False).items():
        if acidifier not in ("", NO_PRODUCT):
            yield ShoppingItem("acidifier", str(acidifier), int(count), "bucket")
    yield ShoppingItem("pH strip", None, _with_spare(READINGS_A_BUCKET * buckets), "piece")


def _nutrient(protocol: Protocol, products: pd.DataFrame, layout: pd.DataFrame) -> Iterator[ShoppingItem]:
    """Nutrient by weight where the grams in a teaspoon are known, else in teaspoons."""
    factor = protocol.factors.get("dose")
    teaspoons = float(layout["dose_tsp"].sum()) * (1 + SPARE)
    if factor is None:
        yield ShoppingItem("nutrient", None, len(layout), "bucket")
        return
    if not teaspoons:
        return
    yield _powder(products, factor.product, teaspoons)
    for name, each in factor.parts.items():
        yield _powder(products, name, each * teaspoons)


def _powder(products: pd.DataFrame, name: str | None, teaspoons: float) -> ShoppingItem:
    grams_per_tsp = grams_per_teaspoon(products, name)
    if grams_per_tsp is None:
        return ShoppingItem("nutrient", name, math.ceil(teaspoons), "tsp")
    grams = math.ceil(teaspoons * grams_per_tsp)
    price = _known(products, name, "price_per_kg")
    return ShoppingItem("nutrient", name, grams, "g", None if price is None else price * grams / 1000)


def _known(products: pd.DataFrame, product: str | None, column: str) -> float | None:
    row = products.loc[products["product"] == (product or "nutrient"), column]
    value = float(row.iloc[0]) if len(row) else math.nan
    return value if math.isfinite(value) else None


def _with_spare(count: int) -> int:
    return math.ceil(count * (1 + SPARE) - 1e-9)
