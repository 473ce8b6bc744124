"""The gardeners' handout in short sentences, made from the facts of the recommended defaults."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from trialkit.documents.decision import Candidate, Evidence, Stood
from trialkit.documents.recommended import AcidForClass, Practice, Recommended
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.domain.units import CUP_ML, OUNCE_G, TEASPOON_ML, Measures
from trialkit.solution.acid_steps import HIGHEST_ALKALINITY_MG_L
from trialkit.solution.nutrients import Scarce, scarce_elements
from trialkit.words.care_words import dose_by_volume, wet_cups
from trialkit.words.feed_words import part_words
from trialkit.words.measures import (
    MeasureSystem,
    grams_words,
    in_measures,
    liquid_words,
    measure_words,
    spoons,
    teaspoons,
    volume_words,
)
from trialkit.words.ph_words import ASK_AGAIN, window_words
from trialkit.words.phrases import between, chance, count, number

NOTABLE_LOSS = 0.9
"""Where a smaller share of the plants becomes fit to eat, gardeners are told (common practice, no source)."""
LEAST_GAIN_G = 1.0
"""A smaller gain is not told: a change may be for what it saves (common practice, no source)."""
LEARN_ALKALINITY = (
    "Until you know, ask us before you add any. Your water supplier's yearly report tells its alkalinity. So does a "
    "drop test. Test a well. A water softener does not take it out: use a tap before it. Rain has next to none."
)
LACKING: Mapping[Scarce, tuple[str, str]] = {
    "Ca": ("calcium", "leaves may turn brown at the edges"),
    "Mg": ("magnesium", "old leaves may turn yellow"),
}
"""In a few plain words what `trialkit.words.feed_words.SCARCE` says."""
OTHER_WATER = (
    f"Over {HIGHEST_ALKALINITY_MG_L:.0f} mg/L? Blend in distilled or reverse-osmosis water, and ask us. Keep untreated "
    "roof water off the leaves."
)


@dataclass(frozen=True)
class AcidLine:
    """Acid for one class of water: how to know it, how much in all and at a time, and the pH that all of it gives."""

    water: str
    range: str
    amount: str
    millilitres: str | None
    step: str | None
    ph: str | None
    seen: bool


def nutrient_words(best: Practice, measures: Measures) -> str | None:
    """Amount of nutrient for a bucket, in words."""
    dose, g_per_tsp = best.treatment.dose_tsp, best.nutrient_g_per_tsp
    if dose is None:
        return None
    beside = f" ({grams_words(dose * g_per_tsp)})" if g_per_tsp and dose and measures == "both" else ""
    system = MeasureSystem("kitchen" if measures == "both" else measures, g_per_tsp)
    return f"{teaspoons(dose, system)} of {best.product or 'plant food'}{beside}"


def feed_words(best: Practice, measures: Measures) -> str | None:
    """Amounts of the nutrient and of all that goes in with it, in words."""
    nutrient = nutrient_words(best, measures)
    parts = (part_words(part.product, part.tsp, part.g_per_tsp, measures) for part in best.parts)
    return None if nutrient is None else " and ".join([nutrient, *parts])


def acid_name(best: Practice) -> str | None:
    """Name the acid; None where there is none."""
    name = best.treatment.acidifier
    return None if name == NO_PRODUCT else name


def is_acid_compared(document: Recommended) -> bool:
    """Whether going without acid was compared with acid, so that it is a finding."""
    tried = {one.treatment.acidifier for one in document.decision.candidates if one.stood.buckets} - {None}
    return NO_PRODUCT in tried and len(tried) > 1


def is_dissolved(document: Recommended) -> bool:
    """Whether the acid is a powder, whose amounts are those of its solution."""
    return any(row.solution_tsp is not None for row in document.acid)


def acid_line(row: AcidForClass, measures: Measures) -> AcidLine:
    """Say how much acid goes into one class of water."""
    amount, step = row.acid_tsp if row.solution_tsp is None else row.solution_tsp, row.step_tsp
    millilitres = f"{amount * TEASPOON_ML:.0f} mL"
    told = millilitres if measures == "metric" else liquid_words(amount)
    return AcidLine(
        water=row.name if row.lower or step is not None else "next to none",
        range=f"{row.lower:.0f} to {row.upper:.0f}",
        amount="no acid" if step is None else told,
        millilitres=None if step is None or measures != "both" else millilitres,
        step=None if step is None else measure_words(step, "metric" if measures == "metric" else "kitchen"),
        ph=None if step is None else between(row.ph_at_lower, row.ph_at_upper),
        seen=row.gardens > 0,
    )


def acid_seen(document: Recommended) -> str:
    """Say from how many mixings the amounts come; empty where they are by chemistry alone."""
    found = document.acid_ratio
    return f"We checked this on {count(found.mixings, 'bucket')} in our trials." if found else ""


def steps(document: Recommended) -> Iterator[str]:
    """What to do, one short sentence after the other."""
    best, measures = document.recommended, document.measures
    water = volume_words(best.volume_l, measures)
    yield f"Set up the bucket as the care sheet shows. Fill it to the line with {water} of tap water."
    nutrient = nutrient_words(best, measures)
    if nutrient:
        level = "Weigh it." if measures == "metric" and best.nutrient_g_per_tsp else "Level the spoon."
        yield f"Stir in {nutrient}. {level} Stir until you see no grains."
        for part in best.parts:
            yield f"Then stir in {part_words(part.product, part.tsp, part.g_per_tsp, measures)}."
    if nutrient and best.treatment.dose_tsp:
        rate = dose_by_volume(best.treatment.dose_tsp, best.volume_l, best.nutrient_g_per_tsp, measures)
        order = "Keep this order. Never mix the powders in a cup. " if best.parts else ""
        rest = " of the first, and change the rest alike" if best.parts else ""
        yield f"{order}For more or less water, use {rate}{rest}."
    if acid_name(best) and document.acid:
        if is_dissolved(document):
            some = "one level 5 mL spoon" if measures == "metric" else "one level teaspoon"
            each = f"{CUP_ML:.0f} mL" if measures == "metric" else "cup"
            yield f"Never put the acid powder in the bucket. Stir {some} of it into each {each} of water first."
        yield (
            "Add the acid for your water step by step, as the table says. Stir, wait one minute, and test with a pH "
            f"strip. Stop when it is {window_words()}."
        )
    plants = "one plant" if best.heads == 1 else f"{_number_word(best.heads)} plants"
    yield f"Close the lid. Set {plants} in net cups: {wet_cups(measures)}."
    yield "Do not pump. Let the water sink as the plants drink."


def climb(document: Recommended) -> str | None:
    """What the pH does in the bucket: between what the air leaves in it and what is left when the acid is eaten."""
    acid = [row for row in document.acid if row.step_tsp is not None]
    if not acid:
        return None
    low, high = min(row.ph_standing for row in acid), max(row.ph_acid_eaten for row in acid)
    return (
        f"Test again in two days, then each week. The pH may climb to {low:.1f}, even {high:.1f}. "
        + ASK_AGAIN.format(whom="us")
    )


def _number_word(number: int) -> str:
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return words[number] if number < len(words) else str(number)


def expectations(document: Recommended) -> Iterator[str]:
    """What a gardener may expect."""
    if document.days:
        days = document.days
        here = "" if days.new_lower is None else f" (in your garden {days.new_lower:.0f} to {days.new_upper:.0f})"
        yield f"Ready to cut about {days.mean:.0f} days after you set the plants{here}."
    yields, share = document.yield_g, document.decision.chosen.share_usable
    measures = document.measures
    yield f"Each plant gives about {_weight(yields.mean, measures)} of lettuce. Lost plants count as none."
    if yields.new_lower is not None and yields.new_upper is not None:
        limits = yields.new_lower, yields.new_upper
        ounces, grams = (f"{say(limits[0])} to {say(limits[1])}" for say in (_ounces, _grams))
        yield f"In your garden it may be {_beside(f'{ounces} oz', f'{grams} g', measures)}."
    yield from _lacking(document.recommended)
    if share < NOTABLE_LOSS:
        yield f"Some plants fail. About {_of_ten(share)} in 10 grow fit to eat."


def _lacking(best: Practice) -> Iterator[str]:
    """What the plant food brings too little of, as far as its label tells, and what may follow."""
    for element in scarce_elements(best.elements_mg_l) if best.elements_mg_l else ():
        name, sign = LACKING[element]
        yield f"This plant food has little {name}. If your water has little too, {sign}."


def _of_ten(share: float) -> str:
    return _number_word(round(10 * share)) if share >= 0.05 else "less than one"


def _weight(grams: float, measures: Measures) -> str:
    return _beside(f"{_ounces(grams)} oz", f"{_grams(grams)} g", measures)


def _beside(kitchen: str, metric: str, measures: Measures) -> str:
    """Weights of lettuce are told as the scale shows them, ounces beside."""
    return f"{metric} ({kitchen})" if measures == "both" else in_measures(measures, kitchen, metric)


def _ounces(grams: float) -> str:
    """To the ounce, small ones to the half."""
    ounces = grams / OUNCE_G
    return f"{ounces:.0f}" if ounces >= 2 else number(max(round(2 * ounces) / 2, 0.5), 2)


def _grams(grams: float) -> str:
    """To five grams: a kitchen scale is not finer, and nor is the forecast."""
    return f"{5 * math.floor(grams / 5 + 0.5):.0f}"


def evidence(document: Recommended) -> str:
    """The evidence in a few honest sentences: how often just this stood, and what is hoped of it."""
    return " ".join(_evidence(document))


def _evidence(document: Recommended) -> Iterator[str]:
    decision = document.decision
    chosen = decision.chosen
    tried = decision.stood_as(chosen)
    if tried == (chosen,):
        yield f"We grew just this in {_stood(chosen.stood)}."
    elif tried:
        doses = " and ".join(f"{_dose(one, document)} in {_stood(one.stood)}" for one in tried)
        yield f"We did not try just this dose. We tried {doses}."
    else:
        yield "We did not try just this mix. We tried its parts."
    yield f"In all we filled {_stood(decision.evidence)}{_when(decision.evidence.seasons)}."
    gain, likely = chosen.gain, chosen.probability_better
    if gain is None or likely is None:
        yield "Nothing that we tried was better by enough to change it."
    else:
        if gain.estimate >= LEAST_GAIN_G:
            more = _beside(f"{_ounces(gain.estimate)} oz", f"{gain.estimate:.0f} g", document.measures)
            yield f"We expect about {more} more from each plant than with our old advice."
        yield f"The chance that it beats our old advice in your garden is {chance(likely)}."
    if not decision.verdict.is_settled:
        yield "We will test it again."


def _dose(one: Candidate, document: Recommended) -> str:
    dose, g_per_tsp = one.treatment.dose_tsp or 0.0, document.recommended.nutrient_g_per_tsp
    if document.measures == "metric" and g_per_tsp:
        return grams_words(dose * g_per_tsp)
    return f"{spoons(dose)} spoons"


def _stood(stood: Stood | Evidence) -> str:
    trials = f" and {count(stood.trials, 'trial')}" if stood.trials > 1 else ""
    return f"{count(stood.buckets, 'bucket')} in {count(stood.gardens, 'garden')}{trials}"


def _when(seasons: Sequence[str]) -> str:
    if not seasons:
        return ""
    return f", {seasons[0]}" if len(set(seasons)) == 1 else f", {seasons[0]} to {seasons[-1]}"
