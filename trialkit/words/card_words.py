"""Mixing cards in words: what to do with a bucket, step by step, in the measures that a gardener has."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from trialkit.documents.mixing_card import AcidStart, CardAcid, MixingCard
from trialkit.domain.units import CUP_ML, GALLON_L, TEASPOON_ML
from trialkit.solution.acid_steps import POWDER_TSP_PER_CUP, SOLUTION_TSP_PER_POWDER_TSP
from trialkit.solution.mixing import Spoons
from trialkit.words.measures import Measures, in_measures, measure_words, spoons, teaspoons
from trialkit.words.phrases import number
from trialkit.words.treatment_names import treatment_label

HALF_CUP_TSP = CUP_ML / TEASPOON_ML / 2
"""Beyond half a cup nobody counts teaspoons."""
READ_THE_STRIP = "stir, wait a minute, read the strip; stop between pH 5.5 and 6."
NO_SAFE_STEP = (
    "No acid goes into this bucket: its water has next to no alkalinity, and the first spoon would make it too sour. "
    "Read the pH and write it down, with 0 for the acid."
)


@dataclass(frozen=True)
class StartWords:
    """A garden, its alkalinity and where to start there."""

    garden: str
    amount: str
    alkalinity: str


@dataclass(frozen=True)
class CardWords:
    """A card as it is printed: what to do in order, starting points for acid, and the buckets it serves, by garden."""

    title: str
    steps: tuple[str, ...]
    starts: tuple[StartWords, ...]
    buckets: tuple[tuple[str, str], ...]


def card_words(card: MixingCard, measures: Measures = "both") -> CardWords:
    """Say a card."""
    return CardWords(
        treatment_label(card.treatment, ["dose_tsp", "acidifier"]) or "every bucket",
        tuple(_steps(card, measures)),
        tuple(_start(start, measures) for start in card.starts),
        tuple((garden, ", ".join(buckets)) for garden, buckets in card.buckets),
    )


def _steps(card: MixingCard, measures: Measures) -> Iterator[str]:
    metric, kitchen = f"{card.volume_l:g} L", f"{card.volume_l / GALLON_L:.1f} US gal"
    volume = f"{metric} ({kitchen})" if measures == "both" else in_measures(measures, kitchen, metric)
    yield f"Fill the bucket with {volume} of your water and read its pH."
    dose = card.treatment.dose_tsp
    if dose is not None:
        amount = f"{spoons(dose)} level teaspoon{'' if dose <= 1 else 's'}"
        grams = None if card.nutrient_g is None else f"{card.nutrient_g:.3g} g"
        if grams is not None and measures == "metric":
            yield f"Stir in {grams} of {card.nutrient} until nothing is left."
        else:
            beside = f" ({grams})" if grams is not None and measures == "both" else ""
            yield f"Stir in {amount} of {card.nutrient}{beside} until nothing is left."
    yield from _acid_steps(card.acid, measures)


def _acid_steps(acid: CardAcid, measures: Measures) -> Iterator[str]:
    """How the acid goes in: never faster than the water that holds the pH least can bear."""
    if acid.use == "none":
        yield "No acid goes into this bucket. Read the pH and write it down."
    elif acid.use == "strength unknown":
        yield (
            f"Add no {acid.name} yet: products.csv does not tell how strong it is, so nobody can say how much is safe "
            "at a time. Ask the adviser for a new card."
        )
    elif acid.use == "water unknown":
        yield (
            f"Add no {acid.name} yet: nobody has told how much alkalinity this water has, so nobody can say how much "
            "is safe at a time. Ask the water supplier or test it, tell the adviser, and get a new card."
        )
    elif acid.use == "no safe step":
        yield NO_SAFE_STEP
    if acid.step is None:
        return
    step = in_measures(measures, measure_words(acid.step.tsp), f"{acid.step.millilitres:.3g} mL")
    if acid.powder_g_per_tsp is None:
        yield f"Add {step} of {acid.name} at a time, no more, {READ_THE_STRIP}"
        yield "Write down how much went in, and the pH before and after."
        return
    powder = in_measures(measures, teaspoons(POWDER_TSP_PER_CUP), f"{acid.powder_g_per_tsp:.2g} g")
    cup = f"{CUP_ML:.0f} mL" if measures == "metric" else in_measures(measures, "cup", f"{CUP_ML:.0f} mL")
    yield (
        f"Never put {acid.name} into the bucket as powder. Dissolve {powder} in each {cup} of water; stir until it is "
        "clear."
    )
    yield f"Add {step} of this solution at a time, no more, {READ_THE_STRIP}"
    quarter = SOLUTION_TSP_PER_POWDER_TSP / 4
    if measures == "metric":
        held = f"{quarter * TEASPOON_ML:.0f} mL of the solution hold ¼ teaspoon of powder, 10 mL hold "
        held += f"{10 / TEASPOON_ML / SOLUTION_TSP_PER_POWDER_TSP:.2f}"
    else:
        held = f"{quarter:.0f} teaspoons of the solution hold ¼ teaspoon of powder, 1 holds "
        held += f"{1 / SOLUTION_TSP_PER_POWDER_TSP:.2f}"
    yield f"Write down the acid as powder: {held}. Write down the pH before and after."


def _start(start: AcidStart, measures: Measures) -> StartWords:
    if start.alkalinity_mg_l_caco3 is None:
        return StartWords(start.garden, "no acid until its alkalinity is known", "not known")
    amount = (
        "no acid, as its water would turn sour at the first spoon"
        if start.acid is None
        else f"about {_amount(start.acid, measures)}"
    )
    return StartWords(start.garden, amount, f"{start.alkalinity_mg_l_caco3:.0f} mg/L")


def _amount(acid: Spoons, measures: Measures) -> str:
    """Say an amount of acid as a cook measures it; of a powder, its solution."""
    what, powder, liquid_tsp = "", "", acid.tsp
    if acid.solution_tsp is not None:
        what, powder, liquid_tsp = " of the solution", f"; {acid.grams:.1f} g of powder", acid.solution_tsp
    millilitres = f"{acid.millilitres:.0f} mL"
    if measures == "metric":
        return f"{millilitres}{what}{powder}"
    if liquid_tsp > HALF_CUP_TSP:
        cups = f"{number(liquid_tsp / HALF_CUP_TSP / 2, 2)} cups"
        told = f"{cups}{what}" if measures == "kitchen" else f"{millilitres}{what}{powder}"
        return f"{told}, by a measuring cup"
    return in_measures(measures, f"{spoons(liquid_tsp)} tsp{what}", f"{millilitres}{powder}")
