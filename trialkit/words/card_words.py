"""Mixing cards in words: what to do with a bucket, step by step, in kitchen measures with metric ones beside them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from trialkit.documents.mixing_card import AcidStart, CardAcid, MixingCard
from trialkit.documents.recommended import PracticePart
from trialkit.domain.units import CUP_ML, TEASPOON_ML, Measures
from trialkit.languages import gettext, translatable
from trialkit.solution.acid_steps import POWDER_TSP_PER_CUP, SOLUTION_TSP_PER_POWDER_TSP, AcidStep
from trialkit.solution.mixing import Spoons
from trialkit.words.care_words import dose_by_volume
from trialkit.words.feed_words import IN_ORDER, of_product, part_words
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
    LEARN_ALKALINITY,
    OTHER_WATER,
    READ_AGAIN,
    ROOF_WATER,
    beyond_acid_words,
    later_words,
    stop_words,
)
from trialkit.words.phrases import decimals, number
from trialkit.words.treatment_names import acid_words, treatment_label

BEFORE_MIXING = translatable(
    "Spoons are level. Pour acid into water, never water into acid. Wear goggles. Keep children and pets away. The "
    "product's label comes first."
)
KEEP_THE_AMOUNT = translatable(
    "Does the line in your bucket stand for another volume? Keep to the amount, and write that volume down."
)
NO_SAFE_STEP = translatable(
    "No acid goes into this bucket. Its water has next to no alkalinity: the first spoon would make it too sour. Read "
    "the pH and write it down, with 0 for the acid."
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
        treatment_label(card.treatment, ["dose_tsp", "acidifier"], system) or gettext("every bucket"),
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
            *(_what_the_card_says(has_parts=has_parts) if is_fed else ()),
        ),
        tuple(AcidWay(acid_words(acid.name), tuple(_acid_steps(acid, measures))) for acid in acids.values()),
        (_again(has_steps=has_steps),) if acids else (),
    )


def _what_the_card_says(*, has_parts: bool) -> Iterator[str]:
    if has_parts:
        yield " ".join((gettext("Take what the bucket's card says."), gettext(IN_ORDER)))
    else:
        yield gettext("Add what the bucket's card says. Stir until nothing is left.")
    yield gettext(KEEP_THE_AMOUNT)


def bucket_amounts(card: MixingCard, measures: Measures = "both") -> tuple[str, ...]:
    """Say what goes into one bucket of a garden, in order."""
    lines = []
    dose, system = card.treatment.dose_tsp, _system(card, measures)
    if dose is not None:
        lines.append(_dose(card, dose, system, measures))
    parts = (part_words(part.product, part.tsp, part.g_per_tsp, measures) for part in card.parts)
    lines += [gettext("then {amount}", amount=part) for part in parts]
    acid = card.acid
    if acid.step:
        told = {"acid": acid.name, "step": measure_words(acid.step.tsp, measures)}
        amounts = [_amount(start.acid, measures) for start in card.starts if start.acid]
        step = gettext("{acid}, {step} at a time; the strip decides when to stop.", **told)
        some = [gettext("Expect about {amount}.", amount=amount) for amount in amounts[:1]]
        lines.append(" ".join((step, *some)))
    elif acid.use == "none":
        lines.append(acid_words(None))
    elif acid.use != "not tried":
        lines.append(gettext("no {acid}: see how to mix", acid=acid.name))
    return tuple(lines)


def _system(card: MixingCard, measures: Measures) -> MeasureSystem:
    dose_tsp = card.treatment.dose_tsp
    g_per_tsp = card.nutrient_g / dose_tsp if card.nutrient_g and dose_tsp else None
    return MeasureSystem("kitchen" if measures == "both" else measures, g_per_tsp)


def _fill(card: MixingCard, measures: Measures) -> str:
    volume = volume_words(card.volume_l, measures)
    return gettext("Fill the bucket to the line, with {volume} of your water, and read its pH.", volume=volume)


def _dose(card: MixingCard, dose_tsp: float, system: MeasureSystem, measures: Measures) -> str:
    if not dose_tsp:
        return teaspoons(dose_tsp)
    beside = "" if card.nutrient_g is None or measures != "both" else f" ({grams_words(card.nutrient_g)})"
    return of_product(teaspoons(dose_tsp, system), card.nutrient) + beside


def _again(*, has_steps: bool) -> str:
    again = gettext("{read_again}, and write it down: it climbs as the bucket stands.", read_again=gettext(READ_AGAIN))
    return " ".join((again, gettext(ASK_AGAIN, whom=gettext("the adviser")))) if has_steps else again


def _steps(card: MixingCard, system: MeasureSystem, measures: Measures) -> Iterator[str]:
    yield _fill(card, measures)
    dose = card.treatment.dose_tsp
    if card.parts:
        yield gettext(IN_ORDER)
    if dose is not None:
        if dose:
            stir = gettext("Stir in {amount} until nothing is left.", amount=_dose(card, dose, system, measures))
            yield f"{stir} {_rate(card, dose, system, measures)}"
        else:
            yield gettext("No nutrient goes into this bucket.")
        yield from (_part_step(part, measures) for part in card.parts)
    yield from _acid_steps(card.acid, measures)
    if card.acid.use != "not tried":
        yield _again(has_steps=card.acid.step is not None)


def _rate(card: MixingCard, dose_tsp: float, system: MeasureSystem, measures: Measures) -> str:
    """Say a dose by volume; the amount stays as randomised, and the analysis goes by the volume written down."""
    rate = dose_by_volume(dose_tsp, card.volume_l, system.nutrient_g_per_tsp, measures)
    return " ".join((gettext("That is {rate}.", rate=rate), gettext(KEEP_THE_AMOUNT)))


def _part_step(part: PracticePart, measures: Measures) -> str:
    amount = part_words(part.product, part.tsp, part.g_per_tsp, measures)
    return gettext("Then stir in {amount} until nothing is left.", amount=amount)


def _acid_steps(acid: CardAcid, measures: Measures) -> Iterator[str]:
    """How the acid goes in: never faster than the water that holds the pH least can bear."""
    if acid.use == "none":
        yield gettext("No acid goes into this bucket. Read the pH and write it down.")
    elif acid.use == "strength unknown":
        yield gettext(
            "Add no {acid} yet. Nobody has told how strong it is, so no amount is known to be safe. Ask the adviser "
            "for a new card.",
            acid=acid.name,
        )
    elif acid.use == "water unknown":
        yield gettext(
            "Add no {acid} yet. Nobody has told how much alkalinity this water has, so no amount is known to be safe. "
            "{learn} Tell the adviser, and get a new card.",
            acid=acid.name,
            learn=gettext(LEARN_ALKALINITY),
        )
    elif acid.use == "beyond acid":
        yield gettext(
            "Add no {acid}. {beyond_acid}. Ask the adviser for a new card; {other_water}. {roof_water}.",
            acid=acid.name,
            beyond_acid=beyond_acid_words(),
            other_water=gettext(OTHER_WATER),
            roof_water=gettext(ROOF_WATER),
        )
    elif acid.use == "no safe step":
        yield gettext(NO_SAFE_STEP)
    if acid.step:
        yield from _steps_of(acid, acid.step, measures)


def _steps_of(acid: CardAcid, one: AcidStep, measures: Measures) -> Iterator[str]:
    told = {"step": measure_words(one.tsp, measures), "acid": acid.name}
    strip = gettext("Stir, wait a minute, read the strip; {stop}.", stop=stop_words())
    if acid.powder_g_per_tsp is None:
        yield " ".join((gettext("Add {step} of {acid} at a time, no more.", **told), strip))
        yield gettext("Write down how much went in, and the pH before and after.")
        return
    powder = in_measures(measures, teaspoons(POWDER_TSP_PER_CUP), grams_words(acid.powder_g_per_tsp))
    cup = in_measures(measures, gettext("cup"), f"{CUP_ML:.0f} mL")
    yield gettext(
        "Never put {acid} into the bucket as powder. Dissolve {powder} in each {cup} of water. Stir until it is clear.",
        acid=acid.name,
        powder=powder,
        cup=cup,
    )
    yield " ".join((gettext("Add {step} of this solution at a time, no more.", **told), strip))
    quarter = SOLUTION_TSP_PER_POWDER_TSP / 4
    is_metric = measures == "metric"
    yield gettext(
        "Write down the acid as powder: {amount} of the solution hold ¼ teaspoon of powder, {one} holds "
        "{hundredths}. Write down the pH before and after.",
        amount=f"{quarter * TEASPOON_ML:.0f} mL" if is_metric else liquid_words(quarter),
        one=f"{number(TEASPOON_ML)} mL" if is_metric else "1",
        hundredths=decimals(1 / SOLUTION_TSP_PER_POWDER_TSP, 2),
    )


def _start(start: AcidStart, measures: Measures) -> StartWords:
    if start.alkalinity_mg_l_caco3 is None:
        return StartWords(start.garden, "no acid until its alkalinity is known", "not known")
    if start.acid:
        amount = f"about {_amount(start.acid, measures)}"
        if start.ph_later:
            amount += f". Left alone, its pH climbs {later_words(*start.ph_later)}"
    elif start.beyond_acid:
        amount = f"no acid, as it has too much alkalinity for that: {OTHER_WATER}. {ROOF_WATER}"
    else:
        amount = "no acid, as its water would turn sour at the first spoon"
    return StartWords(start.garden, amount, f"{start.alkalinity_mg_l_caco3:.0f} mg/L")


def _amount(acid: Spoons, measures: Measures) -> str:
    """Say an amount of acid as a cook measures it; of a powder, its solution."""
    is_powder = acid.solution_tsp is not None
    liquid_tsp = acid.tsp if acid.solution_tsp is None else acid.solution_tsp

    def of_what(amount: str) -> str:
        return gettext("{amount} of the solution", amount=amount) if is_powder else amount

    metric = f"{acid.millilitres:.0f} mL"
    powder = [gettext("{grams} of powder", grams=grams_words(acid.grams or 0.0))] if is_powder else []
    if measures == "metric":
        return " ".join((of_what(metric), *(f"({grams})" for grams in powder)))
    is_spooned = liquid_tsp <= MOST_SPOONS_TSP
    told = of_what(gettext("{amount} tsp", amount=spoons(liquid_tsp)) if is_spooned else liquid_words(liquid_tsp))
    return told if measures == "kitchen" else f"{told} ({'; '.join([metric, *powder])})"
