"""What the recorded mixings are by chemistry: moles of acid, nutrient in mg/L, and the pH and conductivity foreseen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from trialkit.protocol.trial_protocol import Protocol
from trialkit.solution.acids import AcidProduct, kitchen_fault
from trialkit.solution.carbonate import ph_after
from trialkit.solution.nutrients import ATOMIC_WEIGHTS, Conductivity, Feed, Product, conductivity, with_water

FARTHEST_VOLUME = 2.0
"""A recorded volume is taken at its word up to twice the protocol's and down to half of it; what is beyond was mistyped
(common practice, no source)."""
LABEL_COLUMNS: Mapping[str, str] = {"N": "n_pct", "P2O5": "p2o5_pct", "K2O": "k2o_pct", "Ca": "ca_pct", "Mg": "mg_pct"}


def nutrient_product(products: pd.DataFrame, name: str | None) -> Product | None:
    """Return a nutrient of products.csv; None where it is not listed, or its label or spoon is not known."""
    row = _row(products, name)
    if row is None or not _known(row["grams_per_tsp"]):
        return None
    analysis = {key: float(row[column]) for key, column in LABEL_COLUMNS.items() if _known(row[column])}
    if not analysis or sum(analysis.values()) > 100:
        return None
    return Product(str(row["product"]), analysis, float(row["grams_per_tsp"]))


def acid_product(products: pd.DataFrame, name: str | None) -> AcidProduct | None:
    """Return an acid of products.csv; None where it is not listed, not of the kitchen, or of unknown strength."""
    row = _row(products, name)
    if row is None or not row["acid"]:
        return None
    strength = float(row["acid_pct_w_v"]) if _known(row["acid_pct_w_v"]) else None
    if kitchen_fault(row["acid"], strength):
        return None
    if strength is not None:
        return AcidProduct(str(row["product"]), str(row["acid"]), pct_w_v=strength)
    if _known(row["grams_per_tsp"]):
        return AcidProduct(str(row["product"]), str(row["acid"]), grams_per_tsp=float(row["grams_per_tsp"]))
    return None


def feed_of(protocol: Protocol, products: pd.DataFrame) -> Feed | None:
    """Return what doses are doses of; None where no product is named, or the label or spoon of any is not known."""
    dose = protocol.factors.get("dose")
    base = nutrient_product(products, dose.product) if dose else None
    if dose is None or base is None:
        return None
    parts = [(nutrient_product(products, name), each) for name, each in dose.parts.items()]
    known = tuple((product, each) for product, each in parts if product)
    return Feed(base, known) if len(known) == len(parts) else None


def water_elements(site: Mapping[Any, Any]) -> dict[str, float]:
    """Calcium and magnesium of a garden's water, mg/L, as far as sites.csv tells."""
    told = {"Ca": site["calcium_mg_l"], "Mg": site["magnesium_mg_l"]}
    return {element: float(mg_l) for element, mg_l in told.items() if pd.notna(mg_l)}


def first_mixings(solution: pd.DataFrame) -> pd.DataFrame:
    """Return the first row of each bucket in which anything was added; the index is kept."""
    mixed = solution[solution["nutrient_tsp"].notna() | solution["acid_tsp"].notna()]
    return mixed.sort_values("measured_on", kind="stable").drop_duplicates("bucket")


def mixings(
    protocol: Protocol, products: pd.DataFrame, sites: pd.DataFrame, layout: pd.DataFrame, solution: pd.DataFrame
) -> pd.DataFrame:
    """Work out each bucket's first mixing.

    To the rows of `first_mixings`, with their index, come ``site``, ``acidifier``; ``acid`` (name of its chemistry, or
    ""), ``acid_mol_l``, ``phosphate_mol_l``, ``water_alkalinity`` (mg/L as calcium carbonate, of sites.csv),
    ``ph_start`` (as recorded before, else of sites.csv). Numbers that are not known are NaN.
    """
    first = first_mixings(solution)
    placed = layout.drop_duplicates("bucket").set_index("bucket").reindex(first["bucket"]).set_axis(first.index)
    water = sites.drop_duplicates("site").set_index("site").reindex(placed["site"]).set_axis(first.index)
    litres = first["volume_l"].fillna(protocol.bucket.volume_l)
    made = first.assign(
        site=placed["site"],
        acidifier=placed["acidifier"],
        water_alkalinity=water["alkalinity_mg_l_caco3"],
        ph_start=first["ph_before"].fillna(water["water_ph"]),
    )
    acids = {name: acid_product(products, name) for name in made["acidifier"].dropna().unique()}
    each = made["acidifier"].map({name: acid.mol_per_tsp for name, acid in acids.items() if acid}).astype(float)
    names = made["acidifier"].map({name: acid.acid for name, acid in acids.items() if acid})
    none = made["acid_tsp"].fillna(0.0) == 0
    feed = feed_of(protocol, products)
    teaspoons = made["nutrient_tsp"].fillna(0.0)
    phosphorus_g = 0.0 * teaspoons
    for product, tsp_each in feed.spoons(1.0) if feed else ():
        phosphorus_g += product.grams_per_tsp * (tsp_each * teaspoons) * (product.elements_pct().get("P", 0.0) / 100)
    return made.assign(
        acid=names.astype(object).where(names.notna(), ""),
        acid_mol_l=(each * made["acid_tsp"] / litres).where(~none, 0.0),
        phosphate_mol_l=phosphorus_g / ATOMIC_WEIGHTS["P"] / litres,
    )


def predicted_ph(mixed: pd.DataFrame, alkalinity: pd.Series) -> pd.Series:
    """Return the pH foreseen for mixings at an alkalinity, mg/L as calcium carbonate; NaN where it is not known."""
    known = mixed["acid_mol_l"].notna() & mixed["ph_start"].notna() & alkalinity.notna()
    found = pd.Series(np.nan, index=mixed.index)
    for name in mixed.loc[known, "acid"].unique():
        rows = known & (mixed["acid"] == name)
        found[rows] = ph_after(
            acid=name or "acetic",  # none was added: which one does not matter
            acid_mol_l=mixed.loc[rows, "acid_mol_l"].to_numpy(dtype=float),
            alkalinity_mg_l_caco3=alkalinity[rows].to_numpy(dtype=float),
            ph_start=mixed.loc[rows, "ph_start"].to_numpy(dtype=float),
            phosphate_mol_l=mixed.loc[rows, "phosphate_mol_l"].to_numpy(dtype=float),
        )
    return found


def strength(
    feed: Feed, teaspoons: float, volume_l: float, alkalinity: float, water_mg_l: Mapping[str, float]
) -> Conductivity:
    """Estimate the conductivity of so many teaspoons in a bucket of a water with an alkalinity and elements."""
    return conductivity(with_water(feed.elements_mg_l(teaspoons, volume_l), water_mg_l), alkalinity)


def _row(products: pd.DataFrame, name: str | None) -> Mapping[str, Any] | None:
    found = products[products["product"] == name] if name else products.iloc[:0]
    return found.iloc[0].to_dict() if len(found) else None


def _known(value: Any) -> bool:
    return bool(pd.notna(value)) and value > 0
