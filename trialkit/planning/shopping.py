"""What a trial needs: buckets, cups, cubes, seed, nutrient, acid and strips, with quantities and what they cost."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pandas as pd

from trialkit._percent import in_percent
from trialkit.documents.plan import Item
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.protocol.trial_protocol import Protocol

SPARE = 0.1
"""Share bought beyond what is used (common practice, no source)."""
GERMINATION = 0.85
"""Share of seeds that come up (common practice, no source; the packet may say more)."""
READINGS_A_BUCKET = 2  # pH before and after the acid


def shopping_list(protocol: Protocol, products: pd.DataFrame, layout: pd.DataFrame) -> tuple[Item, ...]:
    """List what the laid-out trial needs.

    Parameters
    ----------
    protocol : Protocol
    products : pandas.DataFrame
        As ``products.csv``.
    layout : pandas.DataFrame
        One row a bucket, with cultivar, dose_tsp and acidifier.
    """
    return tuple(_items(protocol, products, layout))


def _items(protocol: Protocol, products: pd.DataFrame, layout: pd.DataFrame) -> Iterator[Item]:
    buckets, heads, volume_l = len(layout), protocol.bucket.heads, protocol.bucket.volume_l
    price = protocol.decision.cost_per_bucket
    yield Item(f"bucket with a lid, {volume_l:g} L", buckets, "", price * buckets or None, "one a place in the layout")
    yield Item("net cup", buckets * heads, "", None, f"{heads} a bucket")
    seeds = {
        str(cultivar): math.ceil(_with_spare(int(count) * heads) / GERMINATION)
        for cultivar, count in layout["cultivar"].value_counts(sort=False).items()
    }
    yield Item("starter cube", sum(seeds.values()), "", None, "one a seed")
    for cultivar, count in seeds.items():
        name = f"seed of {cultivar}" if cultivar else "lettuce seed"
        note = f"one a head, {in_percent(GERMINATION)} coming up, {in_percent(SPARE)} more"
        yield Item(name, count, "seeds", None, note)
    yield from _nutrient(protocol, products, layout)
    for acidifier, count in layout["acidifier"].value_counts(sort=False).items():
        if acidifier not in ("", NO_PRODUCT):
            yield Item(
                str(acidifier),
                int(count),
                "buckets' worth",
                None,
                "how much depends on each garden's water: add a little at a time and test with a strip",
            )
    yield Item(
        "pH strip", _with_spare(READINGS_A_BUCKET * buckets), "", None, "before and after the acid in each bucket"
    )


def _nutrient(protocol: Protocol, products: pd.DataFrame, layout: pd.DataFrame) -> Iterator[Item]:
    """Nutrient by weight where the grams in a teaspoon are known, else in teaspoons."""
    factor = protocol.factors.get("dose")
    teaspoons = float(layout["dose_tsp"].sum()) * (1 + SPARE)
    if factor is None:
        yield Item("nutrient", len(layout), "buckets' worth", None, "trial.toml names no dose: what is usually given")
        return
    if not teaspoons:
        return
    name, note = factor.product or "nutrient", f"what the buckets get and {in_percent(SPARE)} more"
    row = products[products["product"] == name]
    grams_per_tsp = float(row["grams_per_tsp"].iloc[0]) if len(row) else np.nan
    if not np.isfinite(grams_per_tsp):
        yield Item(name, math.ceil(teaspoons), "level teaspoons", None, note)
        return
    grams = math.ceil(teaspoons * grams_per_tsp)
    cost = float(row["price_per_kg"].iloc[0]) * grams / 1000
    yield Item(name, grams, "g", cost if np.isfinite(cost) else None, note)


def _with_spare(count: int) -> int:
    return math.ceil(count * (1 + SPARE) - 1e-9)
