"""What goes into a bucket, in words: spoons, with grams and millilitres for scales and jugs beside them."""

from __future__ import annotations

from collections.abc import Iterator

from trialkit.documents.answers import MixAmount, MixAnswer, MixBlend, MixTableAnswer
from trialkit.domain.units import TEASPOON_ML
from trialkit.solution.acid_steps import AcidStep
from trialkit.solution.mixing import HALF_A_QUARTER_TSP, LITTLE_OF, ClassRow, MixNote
from trialkit.words.care_words import dose_by_volume
from trialkit.words.feed_words import IN_ORDER, part_words, scarce_words
from trialkit.words.measures import grams_words, liquid_words, measure_words, spoons, volume_words
from trialkit.words.ph_words import (
    ASK_AGAIN,
    LEARN_ALKALINITY,
    OTHER_WATER,
    READ_AGAIN,
    ROOF_WATER,
    WATER_WITHOUT_ALKALINITY,
    beyond_acid_words,
    later_words,
    share_words,
    stop_words,
)
from trialkit.words.phrases import between

NO_POWDER = " Never add the powder itself."
NO_ALKALINITY = (
    "How much acid a water takes depends on its alkalinity. Give --alkalinity, or --drops and --mg-per-drop of a test "
    f"kit. For a guess, give --hardness from a strip. {LEARN_ALKALINITY}"
)


def no_volume(asked: str) -> str:
    """Say that what was asked for is no volume, and how to write one."""
    return f'"{asked}" is no volume: write litres or US gallons, such as "16 L" or "4.2 gal".'


def nutrient_not_told(product: str) -> str:
    """Say what products.csv lacks of a nutrient."""
    return f'products.csv lacks the label of "{product}", or what a level teaspoon weighs: write it there.'


def mix_lines(mix: MixAnswer) -> Iterator[str]:
    """Say what goes into a bucket, what comes of it, and what to mind; one text a line."""
    alkalinity = mix.water.alkalinity_mg_l_caco3.value
    yield f"{volume_words(mix.volume_l)} of water with an alkalinity of {alkalinity:.0f} mg/L and pH {mix.water.ph:g}:"
    if mix.water.rain_share:
        share, tap = share_words(mix.water.rain_share), mix.water.tap_alkalinity_mg_l_caco3
        yield f"  {share} of it is {WATER_WITHOUT_ALKALINITY}: alkalinity {tap:.0f} falls to {alkalinity:.0f} mg/L"
    yield from _feed(mix)
    if mix.nutrient and mix.nutrient.tsp and mix.nutrient.grams is not None:
        g_per_tsp = mix.nutrient.grams / mix.nutrient.tsp
        rest = f" of {mix.nutrient.name}, and the rest in proportion" if mix.parts else ""
        yield f"  For another volume: {dose_by_volume(mix.nutrient.tsp, mix.volume_l, g_per_tsp)}{rest}."
    if mix.acid:
        yield f"  {_amount(mix.acid)}"
    if mix.acid_step and mix.acid and mix.acid.tsp > 0:
        yield f"  {_step(mix.acid_step, mix.acid)}"
    elif mix.acid and mix.acid.tsp > 0:
        powder = NO_POWDER if mix.acid.solution_tsp is not None else ""
        yield f"  Do not add it: no step of it suits this water. Below is what it would do.{powder}"
    if mix.elements_mg_l:
        yield "Nutrients, mg/L: " + ", ".join(f"{element} {mg_l:.0f}" for element, mg_l in mix.elements_mg_l.items())
    if mix.water.elements_mg_l:
        own = " and ".join(f"{element} {mg_l:.0f}" for element, mg_l in mix.water.elements_mg_l.items())
        guessed = ", guessed from its hardness" if mix.water.elements_guessed else ""
        yield f"  of these from the water itself: {own}{guessed}"
    if mix.recipe.shares:
        shares = ", ".join(f"{element} {100 * share:.0f} %" for element, share in mix.recipe.shares.items())
        yield f"Share of a published solution ({mix.recipe.name}, figures from memory): {shares}"
    ec = mix.ec_ms_cm
    value, span = f"{ec.value:.1f}", between(ec.lower, ec.upper)
    yield f"Conductivity: about {value} mS/cm{'' if span == value else f' ({span})'}"
    yield f"pH: {mix.ph:.1f}; a strip shows {mix.ph_strip:g}{_slack(mix)}"
    yield from (f"Note: {note_words(note)}" for note in mix.notes)
    if mix.blend:
        yield f"Instead: {_blend(mix.blend)}"
    yield from (f"{caution.title}: {caution.text}" for caution in mix.cautions)


def _feed(fed: MixAnswer | MixTableAnswer) -> Iterator[str]:
    if fed.nutrient:
        yield f"  {_amount(fed.nutrient)}"
    yield from (f"  {_part(part)}" for part in fed.parts if part.tsp)
    if any(part.tsp for part in fed.parts):
        yield f"  {IN_ORDER}"


def _amount(amount: MixAmount) -> str:
    if not amount.tsp:
        return f"no {amount.name}"
    if amount.solution_tsp is not None:
        return _dissolved(amount, amount.solution_tsp)
    rounding = f"rounding adds {amount.rounding_pct:+.0f} %" if abs(amount.rounding_pct) >= 0.5 else ""
    if amount.grams is None:
        kitchen, metric = liquid_words(amount.tsp), f"{amount.millilitres:.0f} mL"
    else:
        kitchen, metric = (
            f"{spoons(amount.tsp)} level teaspoon{'' if amount.tsp <= 1 else 's'}",
            grams_words(amount.grams),
        )
    return f"{kitchen} of {amount.name} ({'; '.join(filter(None, (metric, rounding)))})"


def _part(part: MixAmount) -> str:
    """Say a part of a feed as the card does."""
    return part_words(part.name, part.exact_tsp, (part.grams or 0.0) / part.tsp)


def _dissolved(amount: MixAmount, solution_tsp: float) -> str:
    powder = grams_words(amount.grams or 0.0)
    return (
        f"{liquid_words(solution_tsp)} of a solution: 1 level teaspoon of "
        f"{amount.name} in each cup of water ({amount.millilitres:.0f} mL; {powder} of powder)"
    )


def _step(step: AcidStep, acid: MixAmount) -> str:
    """Say how the acid goes in."""
    powder = NO_POWDER if acid.solution_tsp is not None else ""
    return (
        f"Add it in steps of {measure_words(step.tsp)} ({step.millilitres:.3g} mL) at most. After each, stir, wait a "
        f"minute, read the strip, and {stop_words()}.{powder}"
    )


def _blend(blend: MixBlend) -> str:
    """Say what thinning gives, and the acid for it."""
    thinned = (
        f"fill {share_words(blend.rain_share)} of the bucket with {WATER_WITHOUT_ALKALINITY}: the alkalinity is then "
    )
    thinned += f"{blend.alkalinity_mg_l_caco3:.0f} mg/L"
    if not blend.acid or not blend.acid_step or not blend.acid.tsp:
        return f"{thinned}."
    step = measure_words(blend.acid_step.tsp)
    return f"{thinned}, which takes {_amount(blend.acid)}, at most {step} at a time."


def _slack(mix: MixAnswer) -> str:
    told = between(*mix.ph_range)
    if told == f"{mix.ph:.1f}":
        return ""
    off = f"an eighth of a teaspoon ({HALF_A_QUARTER_TSP * TEASPOON_ML:.1g} mL)"
    solution = " of its solution" if mix.acid and mix.acid.solution_tsp is not None else ""
    return f", {told} if the acid is off by {off}{solution}"


def note_words(note: MixNote) -> str:
    """Say what is to be minded, and what to do about it."""
    if note.code in ("alkalinity guessed", "alkalinity contradicted"):
        apart = " pH and hardness contradict each other (softened water?)." if "contradicted" in note.code else ""
        return (
            f"The alkalinity of {note.value:.0f} mg/L is a guess. It may be {note.lower:.0f} to {note.upper:.0f}."
            f"{apart} Test it, or go by the strip after every small step of acid. {LEARN_ALKALINITY}"
        )
    if note.code == "alkalinity by drops":
        return (
            f"By the drops, the alkalinity is between {note.lower:.0f} and {note.upper:.0f} mg/L. The steps of acid "
            "are safe for the lower."
        )
    if note.code == "beyond acid":
        return (
            f"{beyond_acid_words()}: so much of it feeds microbes, and the pH climbs back. This water has "
            f"{note.value:.0f}: {OTHER_WATER}. {ROOF_WATER}."
        )
    if note.code == "no safe step of acid":
        smallest = f"{measure_words(note.value)} ({note.value * TEASPOON_ML:.2g} mL)"
        return (
            f"Next to nothing in this water holds the pH. Even {smallest} could take it past {note.lower:g} to "
            f"{note.upper:g}. Add no acid, and read a strip again after some days."
        )
    if note.code == "needs no acid":
        return f"Without acid it is at pH {note.value:.1f}, so it needs none."
    if note.code in ("ph too low", "ph too high"):
        low = note.code == "ph too low"
        what = (
            "use less acid, or none. If there is none in it, water of more alkalinity would raise the pH"
            if low
            else "use more acid, or water of less alkalinity"
        )
        return f"pH {note.value:.1f} is outside the window for lettuce ({note.lower:g} to {note.upper:g}): {what}."
    if note.code == "ph drifts":
        eaten = note.value if note.upper is None else note.upper
        return (
            f"In a bucket that stands the pH climbs: {later_words(note.value, eaten)}. How fast is common practice, "
            f"no source. Roots that take up nitrate add to it. {READ_AGAIN}. {ASK_AGAIN.format(whom='the adviser')}"
        )
    for element, code in LITTLE_OF.items():
        if note.code == code:
            return scarce_words(element, note.value)
    if note.code == "too little for spoons":
        return f"Spoons measure {note.value:.2g} teaspoons of {note.product} badly: mix a larger volume, or weigh it."
    return f"About {note.value:.1f} mS/cm is {note.code} for lettuce (published: {note.lower:g} to {note.upper:g})."


def table_lines(table: MixTableAnswer) -> Iterator[str]:
    """Say the acid for each class of alkalinity, one class a line."""
    with_feed = ", with this in it" if table.nutrient else ""
    yield f"{_table_acid(table)} for {volume_words(table.volume_l)}{with_feed}, to pH {table.target_ph:g}:"
    yield from _feed(table)
    yield f"{'alkalinity':<12}{'mg/L':>10}{'in all, about':>28}{'mL':>6}{'most at a time':>24}{'pH with all of it':>20}"
    for row in table.rows:
        ends = between(row.ph_at_lower, row.ph_at_upper)
        told, millilitres, step = _class_amounts(row)
        yield f"{row.name:<12}{f'{row.lower:.0f}-{row.upper:.0f}':>10}{told:>28}{millilitres:>6}{step:>24}{ends:>20}"
    yield f"Stir after each step, wait a minute, read the strip and {stop_words()}, however little it took."
    yield f"{beyond_acid_words()}: {OTHER_WATER}. {ROOF_WATER}."
    acid = [row for row in table.rows if row.step]
    if acid:
        again = ASK_AGAIN.format(whom="the adviser")
        standing, eaten = min(row.ph_standing for row in acid), max(row.ph_acid_eaten for row in acid)
        yield f"In a bucket that stands the pH climbs: {later_words(standing, eaten)}. {READ_AGAIN}. {again}"
    yield f"Which alkalinity? {LEARN_ALKALINITY}"
    yield from (f"{caution.title}: {caution.text}" for caution in table.cautions)


def _class_amounts(row: ClassRow) -> tuple[str, str, str]:
    if row.step is None:
        return "no acid", "-", "-"
    amount = row.acid.tsp if row.acid.solution_tsp is None else row.acid.solution_tsp
    return liquid_words(amount), f"{row.acid.millilitres:.0f}", measure_words(row.step.tsp)


def _table_acid(table: MixTableAnswer) -> str:
    if all(row.acid.solution_tsp is None for row in table.rows):
        return table.acid
    return f"A solution of 1 level teaspoon of {table.acid} in each cup of water"
