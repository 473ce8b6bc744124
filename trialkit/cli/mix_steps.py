"""What ``trialkit mix`` works out."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.domain.errors import WrongCall

if TYPE_CHECKING:
    import pandas as pd

    from trialkit.documents.answers import MixAmount, MixAnswer, MixBlend, MixCaution, MixTableAnswer
    from trialkit.solution.acids import AcidProduct
    from trialkit.solution.mixing import Mix, Spoons
    from trialkit.solution.nutrients import Product
    from trialkit.solution.tap_alkalinity import AlkalinityEstimate

VOLUME = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(L|l|litres?|liters?|gal|gallons?)?\s*")
LABEL = re.compile(r"(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)")
USUAL_EC = 1.2
USUAL_GRAMS_PER_TSP = 5.0
CAUTIONS = ("Local rules come first", "Acid", "Fertiliser", "Standing water")


@dataclass(frozen=True)
class Asked:
    """What was asked on the command line, by the names of its options."""

    volume: str
    alkalinity: float | None
    hardness: float | None
    drops: int | None
    mg_per_drop: float | None
    blend: float
    ph: float
    temperature: float
    trial: Path | None
    nutrient: str | None
    grams_per_tsp: float | None
    teaspoons: float | None
    nitrogen: float | None
    ec: float | None
    acid: str | None
    acid_strength: float
    acid_grams_per_tsp: float
    target_ph: float
    acid_teaspoons: float | None

    @property
    def volume_l(self) -> float:
        """Litres asked for."""
        from trialkit.domain.units import litres
        from trialkit.words.mix_words import no_volume

        found = VOLUME.fullmatch(self.volume)
        if (
            not found
            or not 0.1 <= (amount := litres(float(found[1]), "gal" if "gal" in (found[2] or "") else "L")) <= 1000
        ):
            raise WrongCall(no_volume(self.volume))
        return amount


def mix_answer(asked: Asked) -> MixAnswer:
    """Work out what goes into a bucket."""
    from trialkit.documents.answers import MixAnswer, MixRecipe, MixWater
    from trialkit.solution.mixing import Water, alkalinity_notes, mix, rain_share_for
    from trialkit.solution.nutrients import USUAL_RECIPE, shares_of_recipe
    from trialkit.words.mix_words import note_words

    tap = _alkalinity(asked)
    product, acid = _nutrient(asked), _acid(asked)
    if product is None and acid is None:
        raise WrongCall("Ask for --nutrient, or --acid, or both: there is nothing to mix.")
    whole = Water(tap.value, asked.ph, asked.temperature, lowest_alkalinity_mg_l_caco3=tap.lower)

    def made_of(water: Water) -> Mix:
        return mix(
            asked.volume_l,
            water,
            product,
            _teaspoons(asked, product, water.alkalinity_mg_l_caco3),
            acid,
            ph_target=asked.target_ph if acid and asked.acid_teaspoons is None else None,
            acid_tsp=asked.acid_teaspoons if acid else None,
        )

    made = made_of(whole.blended(asked.blend))
    share = rain_share_for(tap.value)
    instead = made_of(whole.blended(share)) if acid and whole.blended(asked.blend).is_beyond_acid else None
    left = 1.0 - asked.blend
    alkalinity = replace(tap, value=left * tap.value, lower=left * tap.lower, upper=left * tap.upper)
    notes = (*alkalinity_notes(alkalinity, by_drops=asked.drops is not None), *made.notes)
    return MixAnswer(
        schema="trialkit-mix-2",
        volume_l=made.volume_l,
        water=MixWater(alkalinity, asked.ph, asked.temperature, asked.blend, tap.value),
        nutrient=_amount(made.nutrient, product),
        acid=_amount(made.acid, acid),
        acid_step=made.acid_step,
        elements_mg_l=made.elements_mg_l,
        recipe=MixRecipe(USUAL_RECIPE, shares_of_recipe(made.elements_mg_l) if product else {}),
        ec_ms_cm=made.ec,
        ph=made.ph,
        ph_range=made.ph_range,
        ph_strip=made.strip,
        ph_standing=made.ph_standing,
        ph_acid_eaten=made.ph_acid_eaten,
        blend=_blend(share, tap.value, instead, acid),
        notes=notes,
        warnings=tuple(map(note_words, notes)),
        cautions=_cautions(with_acid=acid is not None),
    )


def _blend(share: float, tap: float, instead: Mix | None, acid: AcidProduct | None) -> MixBlend | None:
    from trialkit.documents.answers import MixBlend

    if instead is None:
        return None
    return MixBlend(share, (1.0 - share) * tap, _amount(instead.acid, acid), instead.acid_step)


def _amount(spoons: Spoons | None, thing: Product | AcidProduct | None) -> MixAmount | None:
    from trialkit.documents.answers import MixAmount

    if spoons is None or thing is None:
        return None
    return MixAmount(thing.name, **vars(spoons), rounding_pct=spoons.rounding_pct)


def _alkalinity(asked: Asked) -> AlkalinityEstimate:
    from trialkit.solution.tap_alkalinity import (
        AlkalinityEstimate,
        alkalinity_from_drops,
        alkalinity_from_ph_and_hardness,
    )
    from trialkit.words.mix_words import NO_ALKALINITY

    if (asked.drops is None) != (asked.mg_per_drop is None):
        raise WrongCall("--drops and --mg-per-drop go together: the kit's leaflet says what a drop stands for.")
    told = [value for value in (asked.alkalinity, asked.drops, asked.hardness) if value is not None]
    if len(told) > 1:
        raise WrongCall("Give --alkalinity, --drops or --hardness: one of them.")
    if asked.alkalinity is not None:
        return AlkalinityEstimate(asked.alkalinity, asked.alkalinity, asked.alkalinity)
    if asked.drops is not None and asked.mg_per_drop is not None:
        return alkalinity_from_drops(asked.drops, asked.mg_per_drop)
    if asked.hardness is None:
        raise WrongCall(NO_ALKALINITY)
    return alkalinity_from_ph_and_hardness(asked.ph, asked.hardness, asked.temperature)


def _nutrient(asked: Asked) -> Product | None:
    from trialkit.rules.mixings import nutrient_product
    from trialkit.solution.nutrients import Product
    from trialkit.words.mix_words import nutrient_not_told

    if asked.nutrient is None:
        return None
    if label := LABEL.fullmatch(asked.nutrient.strip()):
        analysis = {key: float(value) for key, value in zip(("N", "P2O5", "K2O"), label.groups(), strict=True)}
        return Product(f"nutrient {label[0]}", analysis, asked.grams_per_tsp or USUAL_GRAMS_PER_TSP)
    products = _products(asked, asked.nutrient, "--nutrient", "a label such as 9-12-30")
    product = nutrient_product(products, asked.nutrient)
    if product is None:
        raise WrongCall(nutrient_not_told(asked.nutrient))
    return replace(product, grams_per_tsp=asked.grams_per_tsp) if asked.grams_per_tsp else product


def _acid(asked: Asked) -> AcidProduct | None:
    from trialkit.rules.mixings import acid_product
    from trialkit.solution.acids import AcidProduct, kitchen_fault
    from trialkit.words.ph_words import other_acid, vinegar_refused

    if asked.acid is None:
        return None
    if asked.acid == "vinegar":
        if kitchen_fault("acetic", asked.acid_strength):
            raise WrongCall(vinegar_refused(asked.acid_strength))
        return AcidProduct(f"vinegar {asked.acid_strength:g} %", "acetic", pct_w_v=asked.acid_strength)
    if asked.acid == "citric":
        return AcidProduct("citric acid powder", "citric", grams_per_tsp=asked.acid_grams_per_tsp)
    if asked.trial is None:
        raise WrongCall(other_acid(asked.acid))
    product = acid_product(_products(asked, asked.acid, "--acid", "vinegar or citric"), asked.acid)
    if product is None:
        raise WrongCall(f'products.csv does not tell the strength of "{asked.acid}".')
    return product


def _products(asked: Asked, name: str, option: str, otherwise: str) -> pd.DataFrame:
    """Read the trial's products.csv, which must list a name."""
    if asked.trial is None:
        raise WrongCall(f'{option} "{name}" is not {otherwise}; a name of products.csv needs --trial DIR beside it.')
    from trialkit.rules.trial_folder import read_trial

    products = read_trial(asked.trial, stage="plan").products
    if name not in set(products["product"]):
        raise WrongCall(f'products.csv lists no "{name}"; it lists {", ".join(products["product"])}.')
    return products


def _teaspoons(asked: Asked, product: Product | None, alkalinity: float) -> float:
    from trialkit.solution.mixing import nutrient_for

    if product is None:
        return 0.0
    given = [value for value in (asked.teaspoons, asked.nitrogen, asked.ec) if value is not None]
    if len(given) > 1:
        raise WrongCall("Ask for --teaspoons, --nitrogen or --ec: one of them.")
    if asked.teaspoons is not None:
        return asked.teaspoons
    ec = USUAL_EC if asked.ec is None else asked.ec
    return nutrient_for(
        product, asked.volume_l, nitrogen_mg_l=asked.nitrogen, ec_ms_cm=ec, alkalinity_mg_l_caco3=alkalinity
    )


def _cautions(*, with_acid: bool) -> tuple[MixCaution, ...]:
    from trialkit.documents.answers import MixCaution
    from trialkit.pages.cautions import CAUTIONS as ALL

    return tuple(
        MixCaution(caution.title, caution.text)
        for caution in ALL
        if caution.title in CAUTIONS and (with_acid or caution.title != "Acid")
    )


def table_answer(asked: Asked) -> MixTableAnswer:
    """Work out the acid for each class of alkalinity."""
    from trialkit.documents.answers import MixTableAnswer
    from trialkit.solution.mixing import acid_by_class

    acid, product = _acid(asked), _nutrient(asked)
    if acid is None:
        raise WrongCall("A table is of acid: give --acid vinegar, --acid citric, or a name of products.csv.")
    nutrient_tsp = _teaspoons(asked, product, 100.0)
    rows = acid_by_class(
        asked.volume_l,
        acid,
        asked.target_ph,
        ph_start=asked.ph,
        temperature_c=asked.temperature,
        product=product,
        nutrient_tsp=nutrient_tsp,
    )
    return MixTableAnswer(
        schema="trialkit-mix-table-2",
        volume_l=asked.volume_l,
        acid=acid.name,
        target_ph=asked.target_ph,
        nutrient_tsp=nutrient_tsp,
        rows=rows,
        cautions=_cautions(with_acid=True),
    )
