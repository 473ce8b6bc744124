"""Mixing cards: what goes into the buckets of each treatment, in steps that the gardens' waters bear."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pandas as pd

from trialkit.documents.mixing_card import AcidStart, CardAcid, MixingCard
from trialkit.documents.recommended import PracticePart
from trialkit.domain.ph_window import TARGET_PH
from trialkit.domain.treatment import NO_PRODUCT, Treatment
from trialkit.forms.garden_buckets import garden_name, gardens_with_buckets
from trialkit.rules.mixings import acid_product, feed_of
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.solution.acid_steps import AcidStep, safe_acid_step
from trialkit.solution.acids import AcidProduct
from trialkit.solution.mixing import Water, mix, usual_water


def mixing_cards(trial: CheckedTrial, sites: Sequence[str]) -> tuple[MixingCard, ...]:
    """Make the cards of the treatments that stand in some gardens, in the order of the factors' levels.

    No dose of acid is made up: where a garden's alkalinity and the acid's strength are known a starting point is worked
    out by charge balance, and said to be an estimate.
    """
    own = trial.layout[trial.layout["site"].isin(sites)].sort_values(["block", "position"], kind="stable")
    standing = _mixtures(own)
    wanted = dict.fromkeys(_mixtures(trial.protocol.treatments()))
    of_card = {one: own[[mixture == one for mixture in standing]] for one in wanted}
    return tuple(_card(trial, treatment, rows, sites) for treatment, rows in of_card.items() if len(rows))


def _mixtures(rows: pd.DataFrame) -> list[Treatment]:
    """Return what each row's bucket is filled with."""
    return [Treatment.of(row).among(("dose_tsp", "acidifier")) for row in rows.to_dict("records")]


def _card(trial: CheckedTrial, treatment: Treatment, own: pd.DataFrame, sites: Sequence[str]) -> MixingCard:
    served = [site for site in gardens_with_buckets(trial) if (own["site"] == site).any()]
    feed, dose = feed_of(trial.protocol, trial.products), treatment.dose_tsp
    factor = trial.protocol.factors.get("dose")
    product = (factor.product if factor else None) or "nutrient"
    return MixingCard(
        treatment,
        trial.protocol.bucket.volume_l,
        "" if dose is None else product,
        dose * feed.base.grams_per_tsp if feed and dose is not None else None,
        tuple(PracticePart(part.name, tsp, part.grams_per_tsp) for part, tsp in feed.spoons(dose)[1:])
        if feed and dose
        else (),
        _card_acid(trial, treatment.acidifier, served),
        tuple(_starts(trial, treatment, sites)),
        tuple((garden_name(trial, site), tuple(map(str, own.loc[own["site"] == site, "bucket"]))) for site in served),
    )


def _card_acid(trial: CheckedTrial, name: str | None, sites: Sequence[str]) -> CardAcid:
    if name is None:
        return CardAcid("not tried")
    if name == NO_PRODUCT:
        return CardAcid("none")
    acid = acid_product(trial.products, name)
    if acid is None:
        return CardAcid("strength unknown", name)
    waters = [row for row in _rows(trial, sites) if not pd.isna(row["alkalinity_mg_l_caco3"])]
    if not waters:
        return CardAcid("water unknown", name)
    served = [row for row in waters if not _water(row).is_beyond_acid]
    if not served:
        return CardAcid("beyond acid", name)
    step = _step_for(trial, acid, served)
    return CardAcid("in steps" if step else "no safe step", name, step, acid.grams_per_tsp)


def _rows(trial: CheckedTrial, sites: Sequence[str]) -> list[dict[Any, Any]]:
    return list(trial.sites[trial.sites["site"].isin(sites)].to_dict("records"))


def _step_for(trial: CheckedTrial, acid: AcidProduct, waters: Sequence[Mapping[Any, Any]]) -> AcidStep | None:
    """Return what all of some known waters bear at a time; None where none of them bears anything.

    A garden whose water bears none, or is not known, is told so beside its name.
    """
    steps = [
        safe_acid_step(acid, trial.protocol.bucket.volume_l, water.alkalinity_mg_l_caco3, ph_start=water.ph)
        for water in map(_water, waters)
    ]
    return min((step for step in steps if step), key=lambda step: step.tsp, default=None)


def _water(site: Mapping[Any, Any]) -> Water:
    """A garden's water whose alkalinity is known."""
    return usual_water(float(site["alkalinity_mg_l_caco3"]), float(site["water_ph"]))


def _starts(trial: CheckedTrial, treatment: Treatment, sites: Sequence[str]) -> Iterator[AcidStart]:
    acid = acid_product(trial.products, treatment.acidifier)
    if acid is None:
        return
    feed = feed_of(trial.protocol, trial.products)
    rows = _rows(trial, sites)
    some_known = not all(pd.isna(row["alkalinity_mg_l_caco3"]) for row in rows)
    for row in rows:
        garden = garden_name(trial, row["site"])
        if pd.isna(row["alkalinity_mg_l_caco3"]):
            if some_known:  # else the card itself says that no acid goes in yet
                yield AcidStart(garden, None, None)
            continue
        water = _water(row)
        alkalinity = water.alkalinity_mg_l_caco3
        made = mix(
            trial.protocol.bucket.volume_l,
            water,
            feed,
            treatment.dose_tsp or 0.0 if feed else 0.0,
            acid,
            ph_target=TARGET_PH,
        )
        if made.acid_step is None:
            yield AcidStart(garden, alkalinity, None, water.is_beyond_acid)
        elif made.acid and made.acid.tsp > 0:
            yield AcidStart(garden, alkalinity, made.acid, ph_later=(made.ph_standing, made.ph_acid_eaten))
