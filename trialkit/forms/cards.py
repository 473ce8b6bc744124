"""Mixing cards: what goes into the buckets of a treatment, in kitchen measures with grams and millilitres beside."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit.domain.units import CUP_ML, GALLON_L, TEASPOON_ML
from trialkit.forms.gardens import gardens_of
from trialkit.rules.check import Trial
from trialkit.rules.mixings import acid_product, nutrient_of
from trialkit.solution.acid_steps import (
    POWDER_TSP_PER_CUP,
    SOLUTION_TSP_PER_POWDER_TSP,
    AcidStep,
    safe_acid_step,
    smallest_acid_step,
)
from trialkit.solution.acids import AcidProduct
from trialkit.solution.mixing import TARGET_PH, Spoons, Water, mix
from trialkit.words.measures import measure_words, spoons, teaspoons
from trialkit.words.treatments import treatment_label

NO_ACID = ("none", "", None)
HALF_CUP_TSP = CUP_ML / TEASPOON_ML / 2
"""Beyond half a cup nobody counts teaspoons."""
USUAL_PH = 7.5
READ_THE_STRIP = "stir, wait a minute, read the strip; stop between pH 5.5 and 6."
NO_SAFE_STEP = (
    "No acid goes into this bucket: its water has next to no alkalinity, and the first spoon would make it too sour. "
    "Read the pH and write it down, with 0 for the acid."
)


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
        tuple(
            _steps(trial, told, [site for site in gardens_of(trial) if site in sites and (own["site"] == site).any()])
        ),
        tuple(_starts(trial, told, sites, names)),
        served,
    )


def _steps(trial: Trial, told: Mapping[str, Any], sites: Sequence[str]) -> Iterator[str]:
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
    yield from _acid_steps(trial, str(acid), sites)


def _acid_steps(trial: Trial, name: str, sites: Sequence[str]) -> Iterator[str]:
    """How the acid goes in: never faster than the water that holds the pH least can bear."""
    acid = acid_product(trial.products, name)
    if acid is None:
        yield (
            f"Add no {name} yet: products.csv does not tell how strong it is, so nobody can say how much is safe at a "
            "time. Ask the adviser for a new card."
        )
        return
    step = _step_for(trial, acid, sites)
    if step is None:
        yield NO_SAFE_STEP
        return
    what = name
    if acid.is_powder:
        what = "this solution"
        yield (
            f"Never put {name} into the bucket as powder. Dissolve {teaspoons(POWDER_TSP_PER_CUP)} "
            f"({acid.grams_per_tsp:.2g} g) in each cup ({CUP_ML:.0f} mL) of water; stir until it is clear."
        )
    yield f"Add {measure_words(step.tsp)} ({step.millilitres:.3g} mL) of {what} at a time, no more, {READ_THE_STRIP}"
    if acid.is_powder:
        yield (
            f"Write down the acid as powder: {SOLUTION_TSP_PER_POWDER_TSP / 4:.0f} teaspoons of the solution hold ¼ "
            f"teaspoon of powder, 1 holds {1 / SOLUTION_TSP_PER_POWDER_TSP:.2f}. Write down the pH before and after."
        )
    else:
        yield "Write down how much went in, and the pH before and after."


def _step_for(trial: Trial, acid: AcidProduct, sites: Sequence[str]) -> AcidStep | None:
    """Return what all of some gardens bear at a time; None where none of them bears anything.

    A garden of unknown water is given the smallest measure. One that bears none is told so beside its name.
    """
    steps = [
        smallest_acid_step(acid)
        if pd.isna(row["alkalinity_mg_l_caco3"])
        else safe_acid_step(
            acid, trial.protocol.bucket.volume_l, float(row["alkalinity_mg_l_caco3"]), ph_start=_ph(row)
        )
        for row in trial.sites[trial.sites["site"].isin(sites)].to_dict("records")
    ]
    return min((step for step in steps if step), key=lambda step: step.tsp, default=None)


def _ph(site: Mapping[str, Any]) -> float:
    return USUAL_PH if pd.isna(site["water_ph"]) else float(site["water_ph"])


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
        made = mix(
            trial.protocol.bucket.volume_l,
            Water(float(row["alkalinity_mg_l_caco3"]), _ph(row)),
            product,
            float(told.get("dose_tsp") or 0.0) if product else 0.0,
            acid,
            ph_target=TARGET_PH,
        )
        alkalinity = f"{row['alkalinity_mg_l_caco3']:.0f} mg/L"
        garden = names.get(row["site"]) or row["site"]
        if made.acid_step is None:
            yield AcidStart(garden, "no acid, as its water would turn sour at the first spoon", alkalinity)
        elif made.acid and made.acid.tsp > 0:
            yield AcidStart(garden, f"about {_amount(made.acid)}", alkalinity)


def _amount(amount: Spoons) -> str:
    """Say an amount of acid as a cook measures it; of a powder, its solution."""
    dissolved = amount.solution_tsp is not None
    liquid_tsp = amount.solution_tsp if amount.solution_tsp is not None else amount.tsp
    measured = f"{amount.millilitres:.0f} mL{f'; {amount.grams:.1f} g of powder' if dissolved else ''}"
    what = " of the solution" if dissolved else ""
    if liquid_tsp > HALF_CUP_TSP:
        return f"{measured.replace(' mL', f' mL{what}', 1)}, by a measuring cup"
    return f"{spoons(liquid_tsp)} tsp{what} ({measured})"
