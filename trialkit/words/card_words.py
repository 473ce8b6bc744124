"""Mixing cards in words: what to do with a bucket, step by step, in kitchen measures with metric ones beside them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
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
KEEP_THE_AMOUNT = (
    "If the line in your bucket stands for another volume, keep to the amount, and write that volume down."
)
UNTIL_GONE = "Stir until nothing is left."
NO_ACID = "no acid"
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


@dataclass(frozen=True)
class AcidWay:
    """How one acid goes in, or why none does."""

    acid: str
    steps: tuple[str, ...]


@dataclass(frozen=True)
class MixingWords:
    """How a garden mixes all of its buckets: what is alike for all in order, then each acid, then what comes after."""

    steps: tuple[str, ...]
    acids: tuple[AcidWay, ...]
    after: tuple[str, ...]


def card_words(card: MixingCard, measures: Measures = "both") -> CardWords:
    """Say a card."""
    system = _system(card, measures)
    return CardWords(
        treatment_label(card.treatment, ["dose_tsp", "acidifier"], system) or "every bucket",
        tuple(_steps(card, system, measures)),
        tuple(_start(start, measures) for start in card.starts),
        tuple((garden, ", ".join(buckets)) for garden, buckets in card.buckets),
    )


def mixing_words(cards: Sequence[MixingCard], measures: Measures = "both") -> MixingWords:
    """Say how the buckets of one garden are mixed; `bucket_amounts` says how much goes into each."""
    is_fed, has_parts = any(card.nutrient for card in cards), any(card.parts for card in cards)
    acids = {card.acid.name or card.acid.use: card.acid for card in cards if card.acid.use != "not tried"}
    has_steps = any(acid.step for acid in acids.values())
    return MixingWords(
        (
            _fill(cards[0], measures),
            *([f"Stir in what the bucket's card says. {IN_ORDER if has_parts else UNTIL_GONE}"] if is_fed else ()),
            *([KEEP_THE_AMOUNT] if is_fed else ()),
        ),
        tuple(AcidWay(acid.name or NO_ACID, tuple(_acid_steps(acid, measures))) for acid in acids.values()),
        (_again(has_steps=has_steps),) if acids else (),
    )


def bucket_amounts(card: MixingCard, measures: Measures = "both") -> tuple[str, ...]:
    """Say what goes into one bucket of a garden, in order."""
    lines = []
    dose, system = card.treatment.dose_tsp, _system(card, measures)
    if dose is not None:
        lines.append(_dose(card, dose, system, measures))
    lines += [f"then {part_words(part.product, part.tsp, part.g_per_tsp, measures)}" for part in card.parts]
    acid = card.acid
    if acid.step:
        step = f"{acid.name}, {measure_words(acid.step.tsp, measures)} at a time"
        amounts = [_amount(start.acid, measures) for start in card.starts if start.acid]
        lines.append(f"{step}; about {amounts[0]} in all, but the strip decides" if amounts else step)
    elif acid.use == "none":
        lines.append(NO_ACID)
    elif acid.use != "not tried":
        lines.append(f"no {acid.name}: see how to mix")
    return tuple(lines)


def _system(card: MixingCard, measures: Measures) -> MeasureSystem:
    dose_tsp = card.treatment.dose_tsp
    g_per_tsp = card.nutrient_g / dose_tsp if card.nutrient_g and dose_tsp else None
    return MeasureSystem("kitchen" if measures == "both" else measures, g_per_tsp)


def _fill(card: MixingCard, measures: Measures) -> str:
    return f"Fill the bucket to the line, with {volume_words(card.volume_l, measures)} of your water, and read its pH."


def _dose(card: MixingCard, dose_tsp: float, system: MeasureSystem, measures: Measures) -> str:
    if not dose_tsp:
        return teaspoons(dose_tsp)
    beside = "" if card.nutrient_g is None or measures != "both" else f" ({grams_words(card.nutrient_g)})"
    return f"{teaspoons(dose_tsp, system)} of {card.nutrient}{beside}"


def _again(*, has_steps: bool) -> str:
    again = f" {ASK_AGAIN.format(whom='the adviser')}" if has_steps else ""
    return f"{READ_AGAIN}, and write it down: it climbs as the bucket stands.{again}"


def _steps(card: MixingCard, system: MeasureSystem, measures: Measures) -> Iterator[str]:
    yield _fill(card, measures)
    dose = card.treatment.dose_tsp
    if card.parts:
        yield IN_ORDER
    if dose is not None:
        if dose:
            rate = _rate(card, dose, system, measures)
            yield f"Stir in {_dose(card, dose, system, measures)} until nothing is left.{rate}"
        else:
            yield "No nutrient goes into this bucket."
        yield from (_part_step(part, measures) for part in card.parts)
    yield from _acid_steps(card.acid, measures)
    if card.acid.use != "not tried":
        yield _again(has_steps=card.acid.step is not None)


def _rate(card: MixingCard, dose_tsp: float, system: MeasureSystem, measures: Measures) -> str:
    """Say a dose by volume; the amount stays as randomised, and the analysis goes by the volume written down."""
    rate = dose_by_volume(dose_tsp, card.volume_l, system.nutrient_g_per_tsp, measures)
    return f" That is {rate}. {KEEP_THE_AMOUNT}"


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
