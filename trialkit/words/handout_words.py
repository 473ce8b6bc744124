"""The gardeners' handout in short sentences, made from the facts of the recommended defaults."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from trialkit.documents.decision import Candidate, Evidence, Stood
from trialkit.documents.recommended import AcidForClass, Practice, Recommended
from trialkit.domain.ph_window import WINDOW_PH
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.domain.units import CUP_ML, OUNCE_G, TEASPOON_ML, Measures
from trialkit.languages import gettext, ngettext, pgettext, translatable
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
from trialkit.words.phrases import between, chance, count, decimals, from_to, listed, number, season_words

NOTABLE_LOSS = 0.9
"""Where a smaller share of the plants becomes fit to eat, gardeners are told (common practice, no source)."""
LEAST_SHARE = 0.06
"""Rounded, a smaller one is no plant in ten."""
LEAST_GAIN_G = 1.0
"""A smaller gain is not told: a change may be for what it saves (common practice, no source)."""
LACKING: Mapping[Scarce, str] = {
    "Ca": translatable(
        "This plant food has little calcium. If your water has little too, leaves may turn brown at the edges."
    ),
    "Mg": translatable(
        "This plant food has little magnesium. If your water has little too, old leaves may turn yellow."
    ),
}
"""In a few plain words what `trialkit.words.feed_words.SCARCE` says."""


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


def cultivar_words(best: Practice) -> str:
    """Name the cultivar."""
    return best.treatment.cultivar or gettext("lettuce")


def nutrient_words(best: Practice, measures: Measures) -> str | None:
    """Amount of nutrient for a bucket, in words."""
    dose, g_per_tsp = best.treatment.dose_tsp, best.nutrient_g_per_tsp
    if dose is None:
        return None
    beside = f" ({grams_words(dose * g_per_tsp)})" if g_per_tsp and dose and measures == "both" else ""
    system = MeasureSystem("kitchen" if measures == "both" else measures, g_per_tsp)
    product = best.product or gettext("plant food")
    return gettext("{amount} of {product}", amount=teaspoons(dose, system), product=product) + beside


def feed_words(best: Practice, measures: Measures) -> tuple[str, ...]:
    """Amounts of the nutrient and of all that goes in with it, in words; empty where no dose is known."""
    nutrient = nutrient_words(best, measures)
    parts = (part_words(part.product, part.tsp, part.g_per_tsp, measures) for part in best.parts)
    return () if nutrient is None else (nutrient, *parts)


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
        water=alkalinity_words(row.name) if row.lower or step is not None else pgettext("alkalinity", "next to none"),
        range=from_to(f"{row.lower:.0f}", f"{row.upper:.0f}"),
        amount=gettext("no acid") if step is None else told,
        millilitres=None if step is None or measures != "both" else millilitres,
        step=None if step is None else measure_words(step, "metric" if measures == "metric" else "kitchen"),
        ph=None if step is None else between(row.ph_at_lower, row.ph_at_upper),
        seen=row.gardens > 0,
    )


def alkalinity_words(name: str) -> str:
    """Name a class of alkalinity."""
    known = {
        "low": pgettext("alkalinity", "low"),
        "medium": pgettext("alkalinity", "medium"),
        "high": pgettext("alkalinity", "high"),
        "very high": pgettext("alkalinity", "very high"),
    }
    return known.get(name, name)


def learn_alkalinity() -> str:
    """Say how somebody learns the alkalinity of a tap, and what to do until then."""
    return gettext(
        "Alkalinity is what holds the pH of your water up. Ask us before you add any acid. Your water supplier's "
        "yearly report tells it. So does a drop test. Have a well tested. A water softener leaves it in: use a tap "
        "before the softener. Rain has next to none."
    )


def other_water() -> str:
    """Say what to do where acid serves no more, and what roof water is not for."""
    return gettext(
        "Over {most} mg/L? Blend in distilled or reverse-osmosis water, and ask us. Keep untreated roof water off the "
        "leaves.",
        most=f"{HIGHEST_ALKALINITY_MG_L:.0f}",
    )


def steps(document: Recommended) -> Iterator[str]:
    """What to do, one short sentence after the other."""
    best, measures = document.recommended, document.measures
    water = volume_words(best.volume_l, measures)
    yield gettext(
        "Set up the bucket as the care sheet shows. Fill it to the line with {water} of tap water.", water=water
    )
    nutrient = nutrient_words(best, measures)
    if nutrient:
        if measures == "metric" and best.nutrient_g_per_tsp:
            yield gettext("Weigh {nutrient}. Stir it in until you see no grains.", nutrient=nutrient)
        else:
            yield gettext("Stir in {nutrient}. Level the spoon. Stir until you see no grains.", nutrient=nutrient)
        for part in best.parts:
            told = part_words(part.product, part.tsp, part.g_per_tsp, measures)
            yield gettext("Then stir in {nutrient}.", nutrient=told)
    if nutrient and best.treatment.dose_tsp:
        rate = dose_by_volume(best.treatment.dose_tsp, best.volume_l, best.nutrient_g_per_tsp, measures)
        if best.parts:
            yield gettext(
                "Keep this order. Never mix the powders in a cup. For more or less water, use {rate} of the first. "
                "Change the rest alike.",
                rate=rate,
            )
        else:
            yield gettext("For more or less water, use {rate}.", rate=rate)
    if acid_name(best) and document.acid:
        if is_dissolved(document):
            yield _dissolve(measures)
        yield gettext(
            "Put on goggles. Add the acid for your water step by step, as the table says. Stir, wait one minute, and "
            "test with a pH strip. Stop when it shows {window}.",
            window=from_to(*(number(end) for end in WINDOW_PH)),
        )
    yield _set_plants(best.heads, wet_cups(measures))
    yield gettext("You need no pump. Let the water sink as the plants drink.")


def _dissolve(measures: Measures) -> str:
    if measures == "metric":
        return gettext(
            "Never put the acid powder in the bucket. Stir one level 5 mL spoon of it into each {amount} mL of water "
            "first.",
            amount=f"{CUP_ML:.0f}",
        )
    return gettext(
        "Never put the acid powder in the bucket. Stir one level teaspoon of it into each cup of water first."
    )


def _set_plants(heads: int, wet: str) -> str:
    if heads == 1:
        return gettext("Close the lid. Set one plant in a net cup: {wet}.", wet=wet)
    return gettext("Close the lid. Set {number} plants in net cups: {wet}.", number=_number_word(heads), wet=wet)


def climb(document: Recommended) -> str | None:
    """What the pH does in the bucket: between what the air leaves in it and what is left when the acid is eaten."""
    acid = [row for row in document.acid if row.step_tsp is not None]
    if not acid:
        return None
    low, high = min(row.ph_standing for row in acid), max(row.ph_acid_eaten for row in acid)
    return gettext(
        "Test again in two days, then each week. The pH may climb to {low}, even {high}. Is it too high then? Ask us "
        "before you add more acid. It goes in by the same steps.",
        low=decimals(low),
        high=decimals(high),
    )


def _number_word(number: int) -> str:
    words = (
        pgettext("of plants", "one"),
        pgettext("of plants", "two"),
        pgettext("of plants", "three"),
        pgettext("of plants", "four"),
        pgettext("of plants", "five"),
        pgettext("of plants", "six"),
        pgettext("of plants", "seven"),
        pgettext("of plants", "eight"),
        pgettext("of plants", "nine"),
        pgettext("of plants", "ten"),
    )
    return words[number - 1] if number <= len(words) else str(number)


def expectations(document: Recommended) -> Iterator[str]:
    """What a gardener may expect."""
    if document.days:
        days = document.days
        mean = f"{days.mean:.0f}"
        if days.new_lower is None:
            yield gettext("Ready to cut about {mean} days after you set the plants.", mean=mean)
        else:
            yield gettext(
                "Ready to cut about {mean} days after you set the plants (in your garden {range}).",
                mean=mean,
                range=from_to(f"{days.new_lower:.0f}", f"{days.new_upper:.0f}"),
            )
    yields, share = document.yield_g, document.decision.chosen.share_usable
    measures = document.measures
    yield gettext(
        "Each plant gives about {weight} of lettuce. Lost plants count as zero.", weight=_weight(yields.mean, measures)
    )
    if yields.new_lower is not None and yields.new_upper is not None:
        limits = yields.new_lower, yields.new_upper
        ounces, grams = (from_to(*(say(limit) for limit in limits)) for say in (_ounces, _grams))
        yield gettext("In your garden it may be {weight}.", weight=_beside(f"{ounces} oz", f"{grams} g", measures))
    yield from _lacking(document.recommended)
    if share < LEAST_SHARE:
        yield gettext("Most plants fail. Less than one in 10 grows fit to eat.")
    elif share < NOTABLE_LOSS:
        yield gettext("Some plants fail. About {number} in 10 grow fit to eat.", number=_number_word(round(10 * share)))


def _lacking(best: Practice) -> Iterator[str]:
    """What the plant food brings too little of, as far as its label tells, and what may follow."""
    for element in scarce_elements(best.elements_mg_l) if best.elements_mg_l else ():
        yield gettext(LACKING[element])


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
        yield gettext("We grew just this in {stood}.", stood=_stood(chosen.stood))
    elif tried:
        yield gettext("We did not try just this dose.")
        for one in tried:
            yield gettext("We tried {dose} in {stood}.", dose=_dose(one, document), stood=_stood(one.stood))
    else:
        yield gettext("We did not try just this mix. We tried its parts.")
    yield _all_that_stood(decision.evidence)
    gain, likely = chosen.gain, chosen.probability_better
    if gain is None or likely is None:
        yield gettext("Nothing that we tried was better by enough to change it.")
    else:
        if gain.estimate >= LEAST_GAIN_G:
            more = _beside(f"{_ounces(gain.estimate)} oz", f"{gain.estimate:.0f} g", document.measures)
            yield gettext("We expect about {more} more from each plant than with our old advice.", more=more)
        yield gettext("The chance that it beats our old advice in your garden is {chance}.", chance=chance(likely))
    if document.acid_ratio:
        yield ngettext(
            "We checked the acid on {number} bucket.",
            "We checked the acid on {number} buckets.",
            document.acid_ratio.mixings,
        )
    if not decision.verdict.is_settled:
        yield gettext("We will test it again.")


def _dose(one: Candidate, document: Recommended) -> str:
    dose, g_per_tsp = one.treatment.dose_tsp or 0.0, document.recommended.nutrient_g_per_tsp
    if document.measures == "metric" and g_per_tsp:
        return grams_words(dose * g_per_tsp)
    return gettext("{amount} spoons", amount=spoons(dose))


def _stood(stood: Stood | Evidence) -> str:
    parts = [count(stood.gardens, "garden", "gardens")]
    if stood.trials > 1:
        parts.append(count(stood.trials, "trial", "trials"))
    return gettext("{buckets} in {gardens}", buckets=count(stood.buckets, "bucket", "buckets"), gardens=listed(parts))


def _all_that_stood(evidence: Evidence) -> str:
    stood, seasons = _stood(evidence), [season_words(season) for season in evidence.seasons]
    if not seasons:
        return gettext("In all we filled {stood}.", stood=stood)
    first, last = seasons[0], seasons[-1]
    when = first if len(set(seasons)) == 1 else gettext("{first} to {last}", first=first, last=last)
    return gettext("In all we filled {stood}, {when}.", stood=stood, when=when)
