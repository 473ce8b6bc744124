"""What ``trialkit mix`` works out and says."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trialkit.domain.errors import WrongCall

if TYPE_CHECKING:
    import pandas as pd

    from trialkit.solution.acids import AcidProduct
    from trialkit.solution.mixing import Spoons
    from trialkit.solution.nutrients import Product
    from trialkit.solution.water import AlkalinityEstimate

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

        found = VOLUME.fullmatch(self.volume)
        if (
            not found
            or not 0.1 <= (amount := litres(float(found[1]), "gal" if "gal" in (found[2] or "") else "L")) <= 1000
        ):
            raise WrongCall(f'"{self.volume}" is no volume: write litres or US gallons, such as "20 L" or "5 gal".')
        return amount


def mix_document(asked: Asked) -> dict[str, Any]:
    """Answer as plain data."""
    from trialkit.solution.mixing import Water, mix
    from trialkit.solution.nutrients import USUAL_RECIPE, gaps

    alkalinity = _alkalinity(asked)
    product, acid = _nutrient(asked), _acid(asked)
    if product is None and acid is None:
        raise WrongCall("Ask for --nutrient, or --acid, or both: there is nothing to mix.")
    made = mix(
        asked.volume_l,
        Water(alkalinity.value, asked.ph, asked.temperature),
        product,
        _teaspoons(asked, product, alkalinity.value),
        acid,
        ph_target=asked.target_ph if acid and asked.acid_teaspoons is None else None,
        acid_tsp=asked.acid_teaspoons if acid else None,
    )
    shares = gaps(made.elements_mg_l) if product else ()
    return {
        "schema": "trialkit-mix-1",
        "volume_l": made.volume_l,
        "water": {"alkalinity_mg_l_caco3": asdict(alkalinity), "ph": asked.ph, "temperature_c": asked.temperature},
        "nutrient": _amount(made.nutrient, product),
        "acid": _amount(made.acid, acid),
        "acid_step": asdict(made.acid_step) if made.acid_step else None,
        "elements_mg_l": dict(made.elements_mg_l),
        "recipe": {"name": USUAL_RECIPE, "shares": {gap.element: gap.share for gap in shares}},
        "ec_ms_cm": asdict(made.ec),
        "ph": made.ph,
        "ph_range": list(made.ph_range),
        "ph_strip": made.strip,
        "ph_standing": made.ph_standing,
        "warnings": [*_unsure(alkalinity), *made.warnings],
        "cautions": _cautions(acid is not None),
    }


def _amount(spoons: Spoons | None, thing: Product | AcidProduct | None) -> dict[str, Any] | None:
    if spoons is None or thing is None:
        return None
    return {"name": thing.name, **asdict(spoons), "rounding_pct": spoons.rounding_pct}


def _alkalinity(asked: Asked) -> AlkalinityEstimate:
    from trialkit.solution.water import AlkalinityEstimate, alkalinity_from_ph_and_hardness

    if asked.alkalinity is not None:
        return AlkalinityEstimate(asked.alkalinity, asked.alkalinity, asked.alkalinity)
    if asked.hardness is None:
        raise WrongCall(
            "How much acid a water takes hangs on its alkalinity: give --alkalinity from a test kit or the water "
            "company, or --hardness from a strip for a guess."
        )
    return alkalinity_from_ph_and_hardness(asked.ph, asked.hardness, asked.temperature)


def _unsure(alkalinity: AlkalinityEstimate) -> Iterator[str]:
    if alkalinity.lower < alkalinity.upper:
        apart = "" if alkalinity.agrees else " pH and hardness contradict each other (softened water?)."
        yield (
            f"Alkalinity is a guess, {alkalinity.value:.0f} mg/L, and may be {alkalinity.lower:.0f} to "
            f"{alkalinity.upper:.0f}.{apart} Add acid bit by bit and read the strip, or test the alkalinity."
        )


def _nutrient(asked: Asked) -> Product | None:
    from trialkit.rules.mixings import nutrient_product
    from trialkit.solution.nutrients import Product

    if asked.nutrient is None:
        return None
    if label := LABEL.fullmatch(asked.nutrient.strip()):
        analysis = {key: float(value) for key, value in zip(("N", "P2O5", "K2O"), label.groups(), strict=True)}
        return Product(f"nutrient {label[0]}", analysis, asked.grams_per_tsp or USUAL_GRAMS_PER_TSP)
    products = _products(asked, asked.nutrient, "--nutrient", "a label such as 9-12-30")
    product = nutrient_product(products, asked.nutrient)
    if product is None:
        raise WrongCall(f'products.csv does not tell the label of "{asked.nutrient}", or what a level teaspoon weighs.')
    return replace(product, grams_per_tsp=asked.grams_per_tsp) if asked.grams_per_tsp else product


def _acid(asked: Asked) -> AcidProduct | None:
    from trialkit.rules.mixings import acid_product
    from trialkit.solution.acids import AcidProduct

    if asked.acid is None:
        return None
    if asked.acid == "vinegar":
        return AcidProduct(f"vinegar {asked.acid_strength:g} %", "acetic", pct_w_v=asked.acid_strength)
    if asked.acid == "citric":
        return AcidProduct("citric acid powder", "citric", grams_per_tsp=asked.acid_grams_per_tsp)
    product = acid_product(_products(asked, asked.acid, "--acid", "vinegar or citric"), asked.acid)
    if product is None:
        raise WrongCall(f'products.csv does not tell the strength of "{asked.acid}".')
    return product


def _products(asked: Asked, name: str, option: str, otherwise: str) -> pd.DataFrame:
    """Read the trial's products.csv, which must list a name."""
    if asked.trial is None:
        raise WrongCall(f'{option} "{name}" is not {otherwise}; a name of products.csv needs --trial DIR beside it.')
    from trialkit.rules.check import read_trial

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
    ec = None if asked.nitrogen is not None else asked.ec if asked.ec is not None else USUAL_EC
    return nutrient_for(
        product, asked.volume_l, nitrogen_mg_l=asked.nitrogen, ec_ms_cm=ec, alkalinity_mg_l_caco3=alkalinity
    )


def _cautions(with_acid: bool) -> list[dict[str, str]]:
    from trialkit.pages.cautions import CAUTIONS as ALL

    return [
        {"title": caution.title, "text": caution.text}
        for caution in ALL
        if caution.title in CAUTIONS and (with_acid or caution.title != "Acid")
    ]


def mix_lines(document: Mapping[str, Any]) -> list[str]:
    """Say the answer."""
    water = document["water"]
    lines = [
        f"{_volume(document['volume_l'])} of water with an alkalinity of "
        f"{water['alkalinity_mg_l_caco3']['value']:.0f} mg/L and pH {water['ph']:g}:"
    ]
    lines += [f"  {_spoons(amount)}" for amount in (document["nutrient"], document["acid"]) if amount]
    if document["acid_step"] and document["acid"]["tsp"] > 0:
        lines.append(f"  {_step(document['acid_step'], document['acid'])}")
    if document["elements_mg_l"]:
        lines.append(
            "Nutrients, mg/L: " + ", ".join(f"{key} {value:.0f}" for key, value in document["elements_mg_l"].items())
        )
    if document["recipe"]["shares"]:
        shares = ", ".join(f"{key} {100 * value:.0f} %" for key, value in document["recipe"]["shares"].items())
        lines.append(f"Of a published solution ({document['recipe']['name']}): {shares}")
    ec = document["ec_ms_cm"]
    lines.append(f"Conductivity: about {ec['value']:.1f} mS/cm ({ec['lower']:.1f} to {ec['upper']:.1f})")
    low, high = document["ph_range"]
    solution = " of its solution" if document["acid"] and document["acid"]["solution_tsp"] is not None else ""
    slack = f", {low:.1f} to {high:.1f} if the acid is off by an eighth of a teaspoon{solution}" if high > low else ""
    lines.append(f"pH: {document['ph']:.1f}; a strip shows {document['ph_strip']:g}{slack}")
    lines += [f"Note: {warning}" for warning in document["warnings"]]
    return [*lines, *(f"{caution['title']}: {caution['text']}" for caution in document["cautions"])]


def _volume(litres: float) -> str:
    from trialkit.domain.units import GALLON_L

    return f"{litres:.3g} L ({litres / GALLON_L:.2g} US gal)"


def _step(step: Mapping[str, Any], acid: Mapping[str, Any]) -> str:
    """Say how the acid goes in."""
    from trialkit.words.measures import measure_words

    powder = " Never add the powder itself." if acid["solution_tsp"] is not None else ""
    return (
        f"Add it in steps of {measure_words(step['tsp'])} ({step['millilitres']:.3g} mL) at most; after each stir, "
        f"wait a minute, read the strip, and stop between pH 5.5 and 6.{powder}"
    )


def _spoons(amount: Mapping[str, Any]) -> str:
    from trialkit.words.measures import spoons

    if not amount["tsp"]:
        return f"no {amount['name']}"
    if amount["solution_tsp"] is not None:
        plural = "" if amount["solution_tsp"] <= 1 else "s"
        return (
            f"{spoons(amount['solution_tsp'])} teaspoon{plural} of a solution: 1 level teaspoon of {amount['name']} in "
            f"each cup of water ({amount['millilitres']:.0f} mL; {amount['grams']:.2g} g of powder)"
        )
    measured = f"{amount['grams']:.0f} g" if amount["grams"] is not None else f"{amount['millilitres']:.0f} mL"
    plural = "" if amount["tsp"] <= 1 else "s"
    rounding = f"; rounding adds {amount['rounding_pct']:+.0f} %" if abs(amount["rounding_pct"]) >= 0.5 else ""
    return f"{spoons(amount['tsp'])} level teaspoon{plural} of {amount['name']} ({measured}{rounding})"


def table_document(asked: Asked) -> dict[str, Any]:
    """Answer for each class of alkalinity."""
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
    return {
        "schema": "trialkit-mix-table-1",
        "volume_l": asked.volume_l,
        "acid": acid.name,
        "target_ph": asked.target_ph,
        "nutrient_tsp": nutrient_tsp,
        "rows": [asdict(row) for row in rows],
        "cautions": _cautions(True),
    }


def _table_acid(document: Mapping[str, Any]) -> str:
    if any(row["acid"]["solution_tsp"] is not None for row in document["rows"]):
        return f"a solution of 1 level teaspoon of {document['acid']} in each cup of water"
    return str(document["acid"])


def table_lines(document: Mapping[str, Any]) -> list[str]:
    """Say the table."""
    from trialkit.words.measures import spoons

    lines = [
        f"Teaspoons of {_table_acid(document)} for {_volume(document['volume_l'])}, to pH {document['target_ph']:g}:",
        f"{'alkalinity':<12}{'mg/L':>10}{'teaspoons':>12}{'most at a time':>18}{'pH at the ends':>18}",
    ]
    for row in document["rows"]:
        ends = f"{row['ph_at_lower']:.1f} to {row['ph_at_upper']:.1f}"
        span = f"{row['lower']:.0f}-{row['upper']:.0f}"
        amount = row["acid"]["tsp"] if row["acid"]["solution_tsp"] is None else row["acid"]["solution_tsp"]
        told, step = ("no acid", "-") if row["step"] is None else (spoons(amount), spoons(row["step"]["tsp"]))
        lines.append(f"{row['name']:<12}{span:>10}{told:>12}{step:>18}{ends:>18}")
    lines.append(
        "Stir after each step, wait a minute, read the strip; stop between pH 5.5 and 6, however little it took."
    )
    return [*lines, *(f"{caution['title']}: {caution['text']}" for caution in document["cautions"])]
