"""What ``trialkit mix`` works out."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.domain.errors import WrongCall
from trialkit.domain.ph_window import TARGET_PH
from trialkit.domain.usual_water import USUAL_PH, USUAL_TEMPERATURE_C
from trialkit.tables.nearest import meant

if TYPE_CHECKING:
    import pandas as pd

    from trialkit.documents.answers import MixAmount, MixAnswer, MixBlend, MixCaution, MixTableAnswer
    from trialkit.rules.trial_folder import CheckedTrial
    from trialkit.solution.acids import AcidProduct
    from trialkit.solution.mixing import Mix, Spoons, Water
    from trialkit.solution.nutrients import Feed, Product
    from trialkit.solution.tap_alkalinity import AlkalinityEstimate

VOLUME = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(L|l|litres?|liters?|gal|gallons?)?\s*")
LABEL = re.compile(r"(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)((?:\+\d+(?:\.\d+)?(?:Ca|Mg))*)")
MORE_OF_LABEL = re.compile(r"\+(\d+(?:\.\d+)?)(Ca|Mg)")
A_LABEL = "a label such as 9-12-30 or 15.5-0-0+19Ca"
PROPORTION = re.compile(r"\d+(?:\.\d+)?")
MOST_TSP_OF_PART = 10.0
USUAL_EC = 1.2
USUAL_GRAMS_PER_TSP = 5.0
OF_NUTRIENT = ("--with", "--grams-per-tsp", "--teaspoons", "--nitrogen", "--ec")
NOT_OF_A_TABLE = {
    "alkalinity": "--alkalinity",
    "hardness": "--hardness",
    "drops": "--drops",
    "mg_per_drop": "--mg-per-drop",
    "blend": "--blend",
    "calcium": "--calcium",
    "magnesium": "--magnesium",
    "acid_teaspoons": "--acid-teaspoons",
}


@dataclass(frozen=True)
class Asked:
    """What was asked, by the names of the command's options."""

    volume: str | None = None
    alkalinity: float | None = None
    hardness: float | None = None
    drops: int | None = None
    mg_per_drop: float | None = None
    blend: float = 0.0
    ph: float = USUAL_PH
    temperature: float = USUAL_TEMPERATURE_C
    trial: Path | None = None
    calcium: float | None = None
    magnesium: float | None = None
    nutrient: str | None = None
    parts: tuple[str, ...] = ()
    grams_per_tsp: float | None = None
    teaspoons: float | None = None
    nitrogen: float | None = None
    ec: float | None = None
    acid: str | None = None
    acid_strength: float = 5.0
    acid_grams_per_tsp: float = 4.6
    target_ph: float = TARGET_PH
    acid_teaspoons: float | None = None

    @property
    def of_nutrient(self) -> tuple[str, ...]:
        """Options given that say how much nutrient, or what goes with it."""
        given = [self.parts or None, self.grams_per_tsp, self.teaspoons, self.nitrogen, self.ec]
        return tuple(option for option, one in zip(OF_NUTRIENT, given, strict=True) if one is not None)

    @cached_property
    def read(self) -> CheckedTrial | None:
        """The trial, if one was named."""
        from trialkit.rules.trial_folder import read_trial

        return read_trial(self.trial, stage="plan") if self.trial else None

    @property
    def volume_l(self) -> float:
        """Litres asked for, or those of the trial's buckets, or what is usual."""
        from trialkit.domain.units import litres
        from trialkit.protocol.sections import Bucket
        from trialkit.words.mix_words import no_volume

        if self.volume is None:
            return (self.read.protocol.bucket if self.read else Bucket()).volume_l
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
    from trialkit.solution.mixing import alkalinity_notes, mix, rain_share_for
    from trialkit.solution.nutrients import USUAL_RECIPE, shares_of_recipe
    from trialkit.words.mix_words import note_words

    tap = _alkalinity(asked)
    feed, acid = _feed(asked), _acid(asked)
    if feed is None and acid is None:
        raise WrongCall("There is nothing to mix: give --nutrient, or --acid, or both.")
    whole = _water(asked, tap)
    water, volume_l = whole.blended(asked.blend), asked.volume_l
    nutrient_tsp = _teaspoons(asked, feed, water, volume_l)

    def made_of(water: Water) -> Mix:
        return mix(
            volume_l,
            water,
            feed,
            nutrient_tsp,
            acid,
            ph_target=asked.target_ph if acid and asked.acid_teaspoons is None else None,
            acid_tsp=asked.acid_teaspoons if acid else None,
        )

    made = made_of(water)
    share = rain_share_for(tap.value)
    instead = made_of(whole.blended(share)) if acid and water.is_beyond_acid else None
    left = 1.0 - asked.blend
    alkalinity = replace(tap, value=left * tap.value, lower=left * tap.lower, upper=left * tap.upper)
    notes = (*alkalinity_notes(alkalinity, by_drops=asked.drops is not None), *made.notes)
    return MixAnswer(
        schema="trialkit-mix-2",
        volume_l=made.volume_l,
        water=MixWater(
            alkalinity,
            asked.ph,
            asked.temperature,
            water.elements_mg_l,
            _is_hardness_used(asked),
            asked.blend,
            tap.value,
        ),
        nutrient=_amount(made.nutrient, feed.base if feed else None),
        parts=_amounts(made.parts, feed),
        acid=_amount(made.acid, acid),
        acid_step=made.acid_step,
        elements_mg_l=made.elements_mg_l,
        recipe=MixRecipe(USUAL_RECIPE, shares_of_recipe(made.elements_mg_l) if feed else {}),
        ec_ms_cm=made.ec,
        ph=made.ph,
        ph_range=made.ph_range,
        ph_strip=made.strip,
        ph_standing=made.ph_standing,
        ph_acid_eaten=made.ph_acid_eaten,
        blend=_blend(share, tap.value, instead, acid),
        notes=notes,
        warnings=tuple(map(note_words, notes)),
        cautions=_cautions(volume_l, with_acid=acid is not None),
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


def _amounts(parts: tuple[Spoons, ...], feed: Feed | None) -> tuple[MixAmount, ...]:
    pairs = zip(parts, feed.parts, strict=True) if feed else ()
    return tuple(made for spoons, (product, _) in pairs if (made := _amount(spoons, product)))


def _is_hardness_used(asked: Asked) -> bool:
    """Whether hardness says what calcium and magnesium the water has, as a guess."""
    return asked.hardness is not None and (asked.calcium is None or asked.magnesium is None)


def _water(asked: Asked, alkalinity: AlkalinityEstimate) -> Water:
    from trialkit.solution.mixing import Water
    from trialkit.solution.nutrients import elements_of_hardness

    guessed = {} if asked.hardness is None else elements_of_hardness(asked.hardness)
    told = {"Ca": asked.calcium, "Mg": asked.magnesium}
    elements = guessed | {element: mg_l for element, mg_l in told.items() if mg_l is not None}
    return Water(alkalinity.value, asked.ph, asked.temperature, alkalinity.lower, elements)


def _alkalinity(asked: Asked) -> AlkalinityEstimate:
    from trialkit.solution.tap_alkalinity import (
        AlkalinityEstimate,
        alkalinity_from_drops,
        alkalinity_from_ph_and_hardness,
    )
    from trialkit.words.mix_words import NO_ALKALINITY

    if (asked.drops is None) != (asked.mg_per_drop is None):
        raise WrongCall("Give --drops and --mg-per-drop together: the kit's leaflet says what a drop stands for.")
    if asked.alkalinity is not None and asked.drops is not None:
        raise WrongCall("Give either --alkalinity or --drops, not both.")
    if asked.alkalinity is not None:
        return AlkalinityEstimate(asked.alkalinity, asked.alkalinity, asked.alkalinity)
    if asked.drops is not None and asked.mg_per_drop is not None:
        return alkalinity_from_drops(asked.drops, asked.mg_per_drop)
    if asked.hardness is None:
        raise WrongCall(NO_ALKALINITY)
    return alkalinity_from_ph_and_hardness(asked.ph, asked.hardness, asked.temperature)


def _feed(asked: Asked) -> Feed | None:
    """What goes in as nutrient: as asked, or the feed of the trial whose base it is."""
    from trialkit.rules.mixings import feed_of
    from trialkit.solution.nutrients import Feed

    of_trial = feed_of(asked.read.protocol, asked.read.products) if asked.read else None
    if asked.nutrient is not None:
        base = _product(asked, asked.nutrient, "--nutrient")
    elif not (of_nutrient := asked.of_nutrient):
        return None
    elif of_trial:
        base = of_trial.base
    else:
        raise WrongCall(f"{of_nutrient[0]} says something of a nutrient: give --nutrient, too.")
    parts = tuple(_part(asked, part) for part in asked.parts)
    if not parts and of_trial and of_trial.base.name == base.name:
        parts = of_trial.parts
    return Feed(replace(base, grams_per_tsp=asked.grams_per_tsp) if asked.grams_per_tsp else base, parts)


def _part(asked: Asked, part: str) -> tuple[Product, float]:
    """Read what goes with the base: a label or name, and its teaspoons for each of the base."""
    name, _, each = part.rpartition("=")
    if not PROPORTION.fullmatch(each.strip()) or not 0 < float(each) <= MOST_TSP_OF_PART:
        raise WrongCall(
            f'--with "{part}" is not PRODUCT=TEASPOONS, such as 15.5-0-0+19Ca=0.5. Write how many teaspoons go with '
            f"each teaspoon of --nutrient, up to {MOST_TSP_OF_PART:g}."
        )
    return _product(asked, name.strip(), "--with"), float(each)


def _product(asked: Asked, name: str, option: str) -> Product:
    from trialkit.rules.mixings import nutrient_product
    from trialkit.solution.nutrients import Product
    from trialkit.words.mix_words import nutrient_not_told

    if label := LABEL.fullmatch(name.strip()):
        analysis = {key: float(value) for key, value in zip(("N", "P2O5", "K2O"), label.groups(), strict=False)}
        analysis |= {element: float(value) for value, element in MORE_OF_LABEL.findall(label[4])}
        return Product(f"nutrient {label[0]}", analysis, USUAL_GRAMS_PER_TSP)
    product = nutrient_product(_products(asked, name, option, A_LABEL), name)
    if product is None:
        raise WrongCall(nutrient_not_told(name))
    return product


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
    if asked.read is None:
        raise WrongCall(other_acid(asked.acid))
    product = acid_product(_products(asked, asked.acid, "--acid", "vinegar or citric"), asked.acid)
    if product is None:
        raise WrongCall(f'products.csv does not tell the strength of "{asked.acid}": write it there.')
    return product


def _products(asked: Asked, name: str, option: str, otherwise: str) -> pd.DataFrame:
    """Read the trial's products.csv, which must list a name."""
    if asked.read is None:
        raise WrongCall(
            f'{option} "{name}" is not {otherwise}. If it is a name of products.csv, give --trial DIR, too.'
        )
    products = asked.read.products
    if name not in set(products["product"]):
        listed = list(products["product"])
        raise WrongCall(f'products.csv lists no "{name}". It lists {", ".join(listed)}.{meant(name, listed)}')
    return products


def _teaspoons(asked: Asked, feed: Feed | None, water: Water, volume_l: float) -> float:
    from trialkit.solution.mixing import nutrient_for

    if feed is None:
        return 0.0
    given = [value for value in (asked.teaspoons, asked.nitrogen, asked.ec) if value is not None]
    if len(given) > 1:
        raise WrongCall("Give only one of --teaspoons, --nitrogen and --ec.")
    if asked.teaspoons is not None:
        return asked.teaspoons
    ec = USUAL_EC if asked.ec is None else asked.ec
    return nutrient_for(feed, volume_l, nitrogen_mg_l=asked.nitrogen, ec_ms_cm=ec, water=water)


def _cautions(volume_l: float, *, with_acid: bool) -> tuple[MixCaution, ...]:
    from trialkit.documents.answers import MixCaution
    from trialkit.words.cautions import cautions_for

    said = cautions_for("mix", volume_l, with_acid=with_acid)
    return tuple(MixCaution(caution.title, caution.text) for caution in said)


def table_answer(asked: Asked) -> MixTableAnswer:
    """Work out the acid for each class of alkalinity."""
    from trialkit.documents.answers import MixTableAnswer
    from trialkit.solution.mixing import MEDIUM_ALKALINITY_MG_L, Water, acid_by_class, mix

    unused = [option for name, option in NOT_OF_A_TABLE.items() if getattr(asked, name) not in (None, 0.0)]
    if unused:
        raise WrongCall(
            f"--table tells the acid for water of every alkalinity, so it knows nothing of yours. Leave out "
            f"{', '.join(unused)}, or leave out --table."
        )
    acid, feed, volume_l = _acid(asked), _feed(asked), asked.volume_l
    if acid is None:
        raise WrongCall("--table tells amounts of acid: give --acid vinegar, --acid citric, or a name of products.csv.")
    water = Water(MEDIUM_ALKALINITY_MG_L, asked.ph, asked.temperature)
    nutrient_tsp = _teaspoons(asked, feed, water, volume_l)
    fed = mix(volume_l, water, feed, nutrient_tsp)
    rows = acid_by_class(
        volume_l,
        acid,
        asked.target_ph,
        ph_start=asked.ph,
        temperature_c=asked.temperature,
        feed=feed,
        nutrient_tsp=nutrient_tsp,
    )
    return MixTableAnswer(
        schema="trialkit-mix-table-3",
        volume_l=volume_l,
        acid=acid.name,
        target_ph=asked.target_ph,
        nutrient=_amount(fed.nutrient, feed.base if feed else None),
        parts=_amounts(fed.parts, feed),
        rows=rows,
        cautions=_cautions(volume_l, with_acid=True),
    )
