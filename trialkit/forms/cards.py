"""Mixing cards: what goes into the buckets of a treatment, in kitchen measures with grams and millilitres beside."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit.analysis.wording import acid_words, spoons
from trialkit.forms.gardens import gardens_of
from trialkit.pages.wording import count, treatment_label
from trialkit.solution.mixing import TARGET_PH, AcidProduct, Spoons, Water, mix
from trialkit.solution.volumes import CUP_ML, GALLON_L, TEASPOON_ML
from trialkit.trial.check import Trial
from trialkit.trial.mixings import acid_product, nutrient_of

NO_ACID = ("none", "", None)
HALF_CUP_TSP = CUP_ML / TEASPOON_ML / 2
"""Beyond half a cup nobody counts teaspoons."""


@dataclass(frozen=True)
class AcidStart:
    """Where to start with acid in a garden's water: an estimate."""

    garden: str
    amount: str
    alkalinity: str


@dataclass(frozen=True)
class Card:
    """A treatment's card.

    `steps` are what to do, in order; `starts` are starting points for its acid, by garden; `buckets` names the buckets
    that it serves, by garden.
    """

    title: str
    steps: tuple[str, ...]
    starts: tuple[AcidStart, ...]
    buckets: tuple[tuple[str, str], ...]


def mixing_cards(trial: Trial, sites: Sequence[str]) -> tuple[Card, ...]:
    """Make the cards of the treatments that stand in some gardens.

    Parameters
    ----------
    trial : Trial
        Read as far as its layout.
    sites : sequence of str
        Short names of the gardens.

    Returns
    -------
    tuple of Card
        In the order of the factors' levels. No dose of acid is made up: where a garden's alkalinity and the acid's
        strength are known a starting point is worked out by charge balance, and said to be an estimate.
    """
    own = trial.layout[trial.layout["site"].isin(sites)]
    wanted = [key for key in ("cultivar", "dose_tsp", "acidifier") if key in ("dose_tsp", "acidifier")]
    mixes = trial.protocol.treatments()[wanted].drop_duplicates().to_dict("records")
    return tuple(card for row in mixes for card in [_card(trial, row, own[_is(own, row)], sites)] if card.buckets)


def _is(layout: pd.DataFrame, row: Mapping[str, Any]) -> pd.Series:
    same = pd.Series(True, index=layout.index)
    for column, level in row.items():
        same &= layout[column].isna() if level is None or level != level else layout[column] == level
    return same


def _card(trial: Trial, row: Mapping[str, Any], own: pd.DataFrame, sites: Sequence[str]) -> Card:
    told = {column: level for column, level in row.items() if level not in (None, "") and level == level}
    names = dict(zip(trial.sites["site"], trial.sites["name"], strict=True))
    served = tuple(
        (names.get(site) or site, ", ".join(own[own["site"] == site].sort_values(["block", "position"])["bucket"]))
        for site in gardens_of(trial)
        if site in sites and (own["site"] == site).any()
    )
    return Card(
        treatment_label(told, ["dose_tsp", "acidifier"]) or "every bucket",
        tuple(_steps(trial, told)),
        tuple(_starts(trial, told, sites, names)),
        served,
    )


def _steps(trial: Trial, told: Mapping[str, Any]) -> Iterator[str]:
    litres = trial.protocol.bucket.volume_l
    yield f"Fill the bucket with {litres:g} L ({litres / GALLON_L:.1f} US gal) of your water and read its pH."
    nutrient, dose = nutrient_of(trial.protocol, trial.products), told.get("dose_tsp")
    if dose is not None:
        factor = trial.protocol.factors["dose"]
        name = nutrient.name if nutrient else factor.product or "nutrient"
        grams = f" ({dose * nutrient.grams_per_tsp:.3g} g)" if nutrient else ""
        yield f"Stir in {spoons(dose)} level teaspoon{'' if dose <= 1 else 's'} of {name}{grams} until nothing is left."
    acid = told.get("acidifier")
    if acid is None:
        return
    if acid in NO_ACID:
        yield "No acid goes into this bucket. Read the pH and write it down."
        return
    yield (
        f"Add {acid_words(acid)} bit by bit, a teaspoon ({TEASPOON_ML:.0f} mL) at most at a time, stir, wait a minute, "
        "read the strip; stop between pH 5.5 and 6. Write down how much went in, and the pH before and after."
    )


def _starts(
    trial: Trial, told: Mapping[str, Any], sites: Sequence[str], names: Mapping[str, str]
) -> Iterator[AcidStart]:
    acid = acid_product(trial.products, told.get("acidifier"))
    if acid is None:
        return
    product = nutrient_of(trial.protocol, trial.products)
    for row in trial.sites[trial.sites["site"].isin(sites)].to_dict("records"):
        if pd.isna(row["alkalinity_mg_l_caco3"]):
            continue
        ph = 7.5 if pd.isna(row["water_ph"]) else float(row["water_ph"])
        made = mix(
            trial.protocol.bucket.volume_l,
            Water(float(row["alkalinity_mg_l_caco3"]), ph),
            product,
            float(told.get("dose_tsp") or 0.0) if product else 0.0,
            acid,
            ph_target=TARGET_PH,
        )
        if made.acid and made.acid.tsp > 0:
            alkalinity = f"{row['alkalinity_mg_l_caco3']:.0f} mg/L"
            yield AcidStart(names.get(row["site"]) or row["site"], _amount(made.acid, acid), alkalinity)


def _amount(spoonful: Spoons, acid: AcidProduct) -> str:
    """Say an amount of acid as a cook measures it."""
    measured = f"{spoonful.millilitres:.0f} mL" if acid.pct_w_v else f"{spoonful.grams:.1f} g"
    if spoonful.tsp > HALF_CUP_TSP:
        return f"{measured}, by a measuring cup"
    return f"{count(spoonful.tsp, 'tsp', 'tsp').replace(f'{spoonful.tsp:g}', spoons(spoonful.tsp))} ({measured})"
