"""Mixing cards in words: what to do with a bucket, step by step, in kitchen measures with metric ones beside them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from trialkit.documents.mixing_card import AcidStart, CardAcid, MixingCard
from trialkit.documents.recommended import PracticePart
from trialkit.domain.units import CUP_ML, TEASPOON_ML, Measures
from trialkit.solution.acid_steps import POWDER_TSP_PER_CUP, SOLUTION_TSP_PER_POWDER_TSP, AcidStep
from trialkit.solution.mixing import Spoons
from trialkit.words.care_words import dose_by_volume
from trialkit.words.feed_words import IN_ORDER, part_words
from trialkit.words.measures import (
    MOST_SPOONS_TSP,
    MeasureSystem,
    grams_words,
    in_measures,
    liquid_words,
    measure_words,
    spoons,
    teaspoons,
    volume_words,
)
from trialkit.words.ph_words import (
    ASK_AGAIN,
    BEYOND_ACID,
    LEARN_ALKALINITY,
    OTHER_WATER,
    READ_AGAIN,
    ROOF_WATER,
    STOP,
    later_words,
)
from trialkit.words.treatment_names import treatment_label

BEFORE_MIXING = (
    "Spoons are level. Acid into water, never water into acid; eyes protected; children and pets away; the label comes "
    "first."
)
READ_THE_STRIP = f"stir, wait a minute, read the strip; {STOP}."
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
    dose_tsp = card.treatment.dose_tsp
    g_per_tsp = card.nutrient_g / dose_tsp if card.nutrient_g and dose_tsp else None
    system = MeasureSystem("kitchen" if measures == "both" else measures, g_per_tsp)
    return CardWords(
        treatment_label(card.treatment, ["dose_tsp", "acidifier"], system) or "every bucket",
        tuple(_steps(card, system, measures)),
        tuple(_start(start, measures) for start in card.starts),
        tuple((garden, ", ".join(buckets)) for garden, buckets in card.buckets),
    )


def _steps(card: MixingCard, system: MeasureSystem, measures: Measures) -> Iterator[str]:
    yield f"Fill the bucket to the line, with {volume_words(card.volume_l, measures)} of your water, and read its pH."
    dose = card.treatment.dose_tsp
    if card.parts:
        yield IN_ORDER
    if dose is not None:
        beside = "" if card.nutrient_g is None or measures != "both" else f" ({grams_words(card.nutrient_g)})"
        amount = f"{teaspoons(dose, system)} of {card.nutrient}{beside}"
        yield f"Stir in {amount} until nothing is left.{_rate(card, system, measures)}"
        yield from (_part_step(part, measures) for part in card.parts)
    yield from _acid_steps(card.acid, measures)


def _rate(card: MixingCard, system: MeasureSystem, measures: Measures) -> str:
    """Say a dose by volume; the amount stays as randomised, and the analysis goes by the volume written down."""
    if not card.treatment.dose_tsp:
        return ""
    rate = dose_by_volume(card.treatment.dose_tsp, card.volume_l, system.nutrient_g_per_tsp, measures)
    return (
        f" That is {rate}. If the line in your bucket stands for another volume, keep to the amount, and write that "
        "volume down."
    )


def _part_step(part: PracticePart, measures: Measures) -> str:
    return f"Then stir in {part_words(part.product, part.tsp, part.g_per_tsp, measures)} until nothing is left."


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
            f"is safe at a time. {LEARN_ALKALINITY} Tell the adviser, and get a new card."
        )
    elif acid.use == "beyond acid":
        yield f"Add no {acid.name}. {BEYOND_ACID}: ask the adviser; {OTHER_WATER}, and get a new card. {ROOF_WATER}."
    elif acid.use == "no safe step":
        yield NO_SAFE_STEP
    if acid.step:
        yield from _steps_of(acid, acid.step, measures)
    if acid.use != "not tried":
        again = f" {ASK_AGAIN.format(whom='the adviser')}" if acid.step else ""
        yield f"{READ_AGAIN}, and write it down: it climbs as the bucket stands.{again}"


def _steps_of(acid: CardAcid, one: AcidStep, measures: Measures) -> Iterator[str]:
    step = measure_words(one.tsp, measures)
    if acid.powder_g_per_tsp is None:
        yield f"Add {step} of {acid.name} at a time, no more, {READ_THE_STRIP}"
        yield "Write down how much went in, and the pH before and after."
        return
    powder = in_measures(measures, teaspoons(POWDER_TSP_PER_CUP), grams_words(acid.powder_g_per_tsp))
    each = in_measures(measures, "cup", f"{CUP_ML:.0f} mL")
    yield (
        f"Never put {acid.name} into the bucket as powder. Dissolve {powder} in each {each} of water; stir until it is "
        "clear."
    )
    yield f"Add {step} of this solution at a time, no more, {READ_THE_STRIP}"
    quarter = SOLUTION_TSP_PER_POWDER_TSP / 4
    some = f"{quarter * TEASPOON_ML:.0f} mL" if measures == "metric" else f"{quarter:.0f} teaspoons"
    each_spoon = f"{TEASPOON_ML:.3g} mL" if measures == "metric" else "1"
    yield (
        f"Write down the acid as powder: {some} of the solution hold ¼ teaspoon of powder, {each_spoon} holds "
        f"{1 / SOLUTION_TSP_PER_POWDER_TSP:.2f}. Write down the pH before and after."
    )


def _start(start: AcidStart, measures: Measures) -> StartWords:
    if start.alkalinity_mg_l_caco3 is None:
        return StartWords(start.garden, "no acid until its alkalinity is known", "not known")
    if start.acid:
        amount = f"about {_amount(start.acid, measures)}"
        if start.ph_later:
            amount += f". Left alone, its pH climbs {later_words(*start.ph_later)}"
    elif start.beyond_acid:
        amount = f"no acid, as it has too much alkalinity for that: ask the adviser; {OTHER_WATER}. {ROOF_WATER}"
    else:
        amount = "no acid, as its water would turn sour at the first spoon"
    return StartWords(start.garden, amount, f"{start.alkalinity_mg_l_caco3:.0f} mg/L")


def _amount(acid: Spoons, measures: Measures) -> str:
    """Say an amount of acid as a cook measures it; of a powder, its solution."""
    what, powder, liquid_tsp = "", "", acid.tsp
    if acid.solution_tsp is not None:
        what, powder, liquid_tsp = (
            " of the solution",
            f"; {grams_words(acid.grams or 0.0)} of powder",
            acid.solution_tsp,
        )
    millilitres = f"{acid.millilitres:.0f} mL"
    if measures == "metric":
        return f"{millilitres}{what}{powder}, by a measuring cup"
    kitchen = f"{spoons(liquid_tsp)} tsp" if liquid_tsp <= MOST_SPOONS_TSP else liquid_words(liquid_tsp)
    return f"{kitchen}{what}" if measures == "kitchen" else f"{kitchen}{what} ({millilitres}{powder})"
