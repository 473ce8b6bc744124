"""What a trial needs: buckets, cups, cubes, seed, nutrient, acid and strips, with quantities and what they cost."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit.documents.plan import ShoppingItem, ShoppingList
from trialkit.domain.ph_window import TARGET_PH
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.protocol.trial_protocol import Protocol
from trialkit.rules.mixings import acid_product, feed_of
from trialkit.solution.mixing import MEDIUM_ALKALINITY_MG_L, Water, mix, usual_water

SPARE = 0.1
"""Share bought beyond what is used (common practice, no source)."""
GERMINATION = 0.85
"""Share of seeds that come up (common practice, no source; the packet may say more)."""
DAYS_A_WEEK = 7


@dataclass(frozen=True)
class _Mixed:
    """Mixing a bucket, as chemistry foresees it: mL of a liquid acid or g of a powder, and steps of it."""

    acid: float
    steps: int


def shopping_list(
    protocol: Protocol, products: pd.DataFrame, layout: pd.DataFrame, sites: pd.DataFrame
) -> ShoppingList:
    """List what the laid-out trial needs."""
    items = tuple(_items(protocol, products, layout, sites))
    cost = sum(item.cost or 0.0 for item in items)
    bucket = protocol.bucket
    known = sites.loc[sites["alkalinity_mg_l_caco3"].notna(), "site"]
    acid = layout[~layout["acidifier"].isin(["", NO_PRODUCT])]
    assumed = len(set(acid["site"]) - set(known))
    return ShoppingList(items, bucket.volume_l, bucket.heads, SPARE, GERMINATION, assumed, cost, bucket.brim_l)


def grams_per_teaspoon(products: pd.DataFrame, product: str | None) -> float | None:
    """Weight of a level teaspoon of a product, g; None where it is not known."""
    return _known(products, product, "grams_per_tsp")


def _items(
    protocol: Protocol, products: pd.DataFrame, layout: pd.DataFrame, sites: pd.DataFrame
) -> Iterator[ShoppingItem]:
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
    steps = 0
    for acidifier in layout["acidifier"].unique():
        if acidifier not in ("", NO_PRODUCT):
            own = layout[layout["acidifier"] == acidifier]
            mixed = _mixed(protocol, products, own, sites)
            # Of unknown strength: one after the acid.
            steps += sum(one.steps for one in mixed) if mixed else len(own)
            yield _acid(products, str(acidifier), mixed, len(own))
    # Before anything, after each step, after two days and every week until the last visit.
    later = 1 + protocol.schedule.harvest_after_days[1] // DAYS_A_WEEK
    yield ShoppingItem("pH strip", None, _with_spare((1 + later) * buckets + steps), "piece")


def _mixed(protocol: Protocol, products: pd.DataFrame, own: pd.DataFrame, sites: pd.DataFrame) -> list[_Mixed]:
    """Mix the buckets of an acid in their gardens' waters; nothing where its strength is not known."""
    acid, feed = acid_product(products, str(own["acidifier"].iloc[0])), feed_of(protocol, products)
    if acid is None:
        return []
    waters = {str(row["site"]): _water(row) for row in sites.to_dict("records")}
    alike = own.groupby(["site", "dose_tsp"], dropna=False, sort=False).size()
    found = []
    for (site, dose), count in alike.items():
        dose_tsp = float(dose) if feed and math.isfinite(dose) else 0.0
        made = mix(
            protocol.bucket.volume_l,
            waters.get(str(site), Water(MEDIUM_ALKALINITY_MG_L)),
            feed,
            dose_tsp,
            acid,
            ph_target=TARGET_PH,
        )
        if made.acid is None or made.acid_step is None:
            found += [_Mixed(0.0, 0)] * int(count)
            continue
        liquid_tsp = made.acid.tsp if made.acid.solution_tsp is None else made.acid.solution_tsp
        amount = made.acid.grams if acid.is_powder else made.acid.millilitres
        found += [_Mixed(amount or 0.0, math.ceil(liquid_tsp / made.acid_step.tsp))] * int(count)
    return found


def _water(site: Mapping[Any, Any]) -> Water:
    """A garden's water, of medium alkalinity where that is not known."""
    alkalinity = float(site["alkalinity_mg_l_caco3"])
    return usual_water(alkalinity if math.isfinite(alkalinity) else MEDIUM_ALKALINITY_MG_L, float(site["water_ph"]))


def _acid(products: pd.DataFrame, acidifier: str, mixed: Sequence[_Mixed], buckets: int) -> ShoppingItem:
    """Acid by what the gardens' waters take, or by buckets where its strength is not known."""
    acid = acid_product(products, acidifier)
    if acid is None:
        return ShoppingItem("acidifier", acidifier, buckets, "bucket")
    amount = math.ceil(sum(one.acid for one in mixed) * (1 + SPARE) - 1e-9)
    price = _known(products, acidifier, "price_per_kg" if acid.is_powder else "price_per_l")
    cost = None if price is None else price * amount / 1000
    return ShoppingItem("acidifier", acidifier, amount, "g" if acid.is_powder else "mL", cost)


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
