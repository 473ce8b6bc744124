"""The gardeners' handout in short sentences and kitchen measures, made from the facts of the recommended defaults."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from trialkit.documents.recommended import AcidForClass, Practice, Recommended
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.domain.units import GALLON_L, OUNCE_G, TEASPOON_ML
from trialkit.words.measures import measure_words, spoons
from trialkit.words.phrases import chance, count

TABLESPOON_TSP = 3
WATER_WORDS = {
    "low": "soft",
    "medium": "fairly soft",
    "high": "hard",
    "very high": "very hard",
}
SHORT_CAUTIONS = (
    "Your local rules and the label on the pack come first.",
    "Pour acid into water. Never pour water into acid. Wear goggles. Keep bleach far away.",
    "Keep plant food, acid and full buckets out of reach of children and pets. A child can drown in a bucket.",
    "Keep the lid tight, so that no mosquitoes breed. Look at it each week.",
    "Drill the lid before you fill the bucket. Clamp it, and wear goggles.",
    "Wash your hands before you pick. Do not pick when you are ill. Rinse the leaves.",
    "Do not pour used water into drains or streams. Ask where it may go.",
)


@dataclass(frozen=True)
class AcidLine:
    """Acid for one class of water: how to know it, how much in all, and how much at a time."""

    water: str
    range: str
    amount: str
    millilitres: str | None
    step: str | None
    seen: bool


def bucket_words(best: Practice) -> str:
    """Say how large the bucket is."""
    return f"{best.volume_l:g} L ({best.volume_l / GALLON_L:.0f} US gallon)"


def nutrient_words(best: Practice) -> str | None:
    """Amount of nutrient for a bucket, in words."""
    dose = best.treatment.dose_tsp
    if dose is None:
        return None
    return f"{spoons(dose)} level teaspoon{'' if dose <= 1 else 's'} of {best.product or 'plant food'}"


def acid_name(best: Practice) -> str | None:
    """Name the acid; None where there is none."""
    name = best.treatment.acidifier
    return None if name == NO_PRODUCT else name


def is_acid_compared(document: Recommended) -> bool:
    """Whether going without acid was compared with acid, so that it is a finding."""
    tried = {row.treatment.acidifier for row in document.compared} - {None}
    return NO_PRODUCT in tried and len(tried) > 1


def is_dissolved(document: Recommended) -> bool:
    """Whether the acid is a powder, whose amounts are those of its solution."""
    return any(row.solution_tsp is not None for row in document.acid)


def acid_line(row: AcidForClass) -> AcidLine:
    """Say how much acid goes into one class of water."""
    amount, step = row.acid_tsp if row.solution_tsp is None else row.solution_tsp, row.step_tsp
    return AcidLine(
        water=WATER_WORDS.get(row.name, row.name) if row.lower else "very soft",
        range=f"{row.lower:.0f} to {row.upper:.0f}" if row.name != "very high" else f"over {row.lower:.0f}",
        amount="no acid" if step is None else kitchen_measure(amount),
        millilitres=None if step is None else f"{amount * TEASPOON_ML:.0f} mL",
        step=None if step is None else measure_words(step),
        seen=row.gardens > 0,
    )


def kitchen_measure(teaspoons: float) -> str:
    """Say an amount in spoons as a cook measures it, to a quarter of a teaspoon.

    Examples
    --------
    >>> kitchen_measure(1.75), kitchen_measure(6.75), kitchen_measure(18.0), kitchen_measure(0.0)
    ('1¾ teaspoons', '2 tablespoons and ¾ teaspoon', '6 tablespoons', 'none')
    """
    quarters = round(teaspoons * 4)
    big, small = divmod(quarters, 4 * TABLESPOON_TSP)
    if big < 2:
        big, small = 0, quarters
    parts = [count(big, "tablespoon")] if big else []
    if small:
        parts.append(f"{spoons(small / 4)} teaspoon{'' if small <= 4 else 's'}")
    return " and ".join(parts) or "none"


def steps(document: Recommended) -> Iterator[str]:
    """What to do, one short sentence after the other."""
    best = document.recommended
    yield f"Put the bucket where it will stay. Fill it with {bucket_words(best)} of tap water."
    nutrient = nutrient_words(best)
    if nutrient:
        yield f"Stir in {nutrient}. Level the spoon. Stir until you see no grains."
    if acid_name(best) and document.acid:
        if is_dissolved(document):
            yield "Never put the acid powder in the bucket. Stir one level teaspoon of it into each cup of water first."
        yield "Add the acid for your water step by step. The table says how big a step may be. Stir."
        yield "Wait one minute. Test with a pH strip. Stop when it is 5.5 to 6."
    plants = "one plant" if best.heads == 1 else f"{_number_word(best.heads)} plants"
    yield f"Close the lid. Set {plants} in net cups, so that the roots just touch the water."
    yield "Do not stir or pump. Let the water sink as the plants drink. Leave an air gap."


def _number_word(number: int) -> str:
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return words[number] if number < len(words) else str(number)


def expectations(document: Recommended) -> Iterator[str]:
    """What a gardener may expect."""
    if document.days:
        yield f"Ready to cut about {document.days.mean:.0f} days after you set the plants."
    yields = document.yield_g
    measured = f"{_round(yields.mean):.0f} g ({yields.mean / OUNCE_G:.0f} oz)"
    yield f"Each plant gives about {measured} of lettuce. Lost plants count as none."
    if yields.new_lower is not None and yields.new_upper is not None:
        yield f"In your garden it may be {_round(yields.new_lower):.0f} to {_round(yields.new_upper):.0f} g."


def _round(grams: float) -> float:
    """To five grams: a kitchen scale is not finer, and nor is the forecast."""
    return 5 * math.floor(grams / 5 + 0.5)


def evidence(document: Recommended) -> str:
    """The evidence in one honest line."""
    trials, likely = document.evidence, document.probability_better
    seasons = [one.season for one in trials if one.season]
    when = "" if not seasons else f", {seasons[0]}" if len(set(seasons)) == 1 else f", {seasons[0]} to {seasons[-1]}"
    buckets, gardens = count(sum(one.buckets for one in trials), "bucket"), count(document.gardens, "garden")
    said = f"This rests on {count(len(trials), 'trial')} with {buckets} in {gardens}{when}."
    if document.recommended != document.current and likely is not None:
        return f"{said} The chance that it beats our old advice in your garden is {chance(likely)}."
    return f"{said} Nothing that we tried was surely better."
