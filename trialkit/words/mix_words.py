"""What goes into a bucket, in words: spoons, with grams and millilitres for scales and jugs beside them."""

from __future__ import annotations

from collections.abc import Iterator

from trialkit.documents.answers import MixAmount, MixAnswer, MixTableAnswer
from trialkit.domain.units import TEASPOON_ML
from trialkit.solution.acid_steps import AcidStep
from trialkit.solution.mixing import HALF_A_QUARTER_TSP, LITTLE_OF, ClassRow, MixNote
from trialkit.words.feed_words import IN_ORDER, scarce_words
from trialkit.words.measures import measure_words, spoons, volume_words

NO_POWDER = " Never add the powder itself."


def no_volume(asked: str) -> str:
    """Say that what was asked for is no volume, and how to write one."""
    return f'"{asked}" is no volume: write litres or US gallons, such as "20 L" or "5 gal".'


def nutrient_not_told(product: str) -> str:
    """Say what products.csv lacks of a nutrient."""
    return f'products.csv does not tell the label of "{product}", or what a level teaspoon weighs.'


def mix_lines(mix: MixAnswer) -> Iterator[str]:
    """Say what goes into a bucket, what comes of it, and what to mind; one text a line."""
    alkalinity = mix.water.alkalinity_mg_l_caco3.value
    yield f"{volume_words(mix.volume_l)} of water with an alkalinity of {alkalinity:.0f} mg/L and pH {mix.water.ph:g}:"
    yield from (f"  {_amount(amount)}" for amount in (mix.nutrient, *mix.parts) if amount)
    if mix.parts:
        yield f"  {IN_ORDER}"
    if mix.acid:
        yield f"  {_amount(mix.acid)}"
    if mix.acid_step and mix.acid and mix.acid.tsp > 0:
        yield f"  {_step(mix.acid_step, mix.acid)}"
    elif mix.acid and mix.acid.tsp > 0:
        powder = NO_POWDER if mix.acid.solution_tsp is not None else ""
        yield f"  Do not add it: no step of it is safe in this water; what follows is what it would do.{powder}"
    if mix.elements_mg_l:
        yield "Nutrients, mg/L: " + ", ".join(f"{element} {mg_l:.0f}" for element, mg_l in mix.elements_mg_l.items())
    if mix.water.elements_mg_l:
        own = " and ".join(f"{element} {mg_l:.0f}" for element, mg_l in mix.water.elements_mg_l.items())
        guessed = ", guessed from its hardness" if mix.water.elements_guessed else ""
        yield f"  of these from the water itself: {own}{guessed}"
    if mix.recipe.shares:
        shares = ", ".join(f"{element} {100 * share:.0f} %" for element, share in mix.recipe.shares.items())
        yield f"Of a published solution ({mix.recipe.name}, figures from memory): {shares}"
    ec = mix.ec_ms_cm
    yield f"Conductivity: about {ec.value:.1f} mS/cm ({ec.lower:.1f} to {ec.upper:.1f})"
    yield f"pH: {mix.ph:.1f}; a strip shows {mix.ph_strip:g}{_slack(mix)}"
    yield from (f"Note: {note_words(note)}" for note in mix.notes)
    yield from (f"{caution.title}: {caution.text}" for caution in mix.cautions)


def _amount(amount: MixAmount) -> str:
    if not amount.tsp:
        return f"no {amount.name}"
    if amount.solution_tsp is not None:
        return _dissolved(amount, amount.solution_tsp)
    metric = f"{amount.grams:.0f} g" if amount.grams is not None else f"{amount.millilitres:.0f} mL"
    rounding = f"rounding adds {amount.rounding_pct:+.0f} %" if abs(amount.rounding_pct) >= 0.5 else ""
    kitchen = f"{spoons(amount.tsp)} level teaspoon{'' if amount.tsp <= 1 else 's'}"
    return f"{kitchen} of {amount.name} ({'; '.join(filter(None, (metric, rounding)))})"


def _dissolved(amount: MixAmount, solution_tsp: float) -> str:
    return (
        f"{spoons(solution_tsp)} teaspoon{'' if solution_tsp <= 1 else 's'} of a solution: 1 level teaspoon of "
        f"{amount.name} in each cup of water ({amount.millilitres:.0f} mL; {amount.grams:.2g} g of powder)"
    )


def _step(step: AcidStep, acid: MixAmount) -> str:
    """Say how the acid goes in."""
    powder = NO_POWDER if acid.solution_tsp is not None else ""
    return (
        f"Add it in steps of {measure_words(step.tsp)} ({step.millilitres:.3g} mL) at most; after each stir, wait a "
        f"minute, read the strip, and stop between pH 5.5 and 6.{powder}"
    )


def _slack(mix: MixAnswer) -> str:
    low, high = mix.ph_range
    if high <= low:
        return ""
    off = f"an eighth of a teaspoon ({HALF_A_QUARTER_TSP * TEASPOON_ML:.1g} mL)"
    solution = " of its solution" if mix.acid and mix.acid.solution_tsp is not None else ""
    return f", {low:.1f} to {high:.1f} if the acid is off by {off}{solution}"


def note_words(note: MixNote) -> str:
    """Say what is to be minded, and what to do about it."""
    if note.code in ("alkalinity guessed", "alkalinity contradicted"):
        apart = " pH and hardness contradict each other (softened water?)." if "contradicted" in note.code else ""
        return (
            f"Alkalinity is a guess, {note.value:.0f} mg/L, and may be {note.lower:.0f} to {note.upper:.0f}.{apart} "
            "Test the alkalinity, or go by the strip after every small step of acid."
        )
    if note.code == "no safe step of acid":
        smallest = f"{measure_words(note.value)} ({note.value * TEASPOON_ML:.2g} mL)"
        return (
            f"Next to nothing in this water holds the pH: even {smallest} could take it past {note.lower:g} to "
            f"{note.upper:g}. Add no acid, and read a strip again after some days."
        )
    if note.code == "needs no acid":
        return f"The water is at pH {note.value:.1f} as it comes: it needs no acid."
    if note.code in ("ph too low", "ph too high"):
        low = note.code == "ph too low"
        return (
            f"pH {note.value:.1f} lies outside every published range for lettuce here ({note.lower:g} to "
            f"{note.upper:g}): {'use less acid' if low else 'more acid, or softer water, would lower it'}."
        )
    if note.code == "ph drifts":
        return (
            f"In a bucket that stands open to the air the pH drifts towards {note.value:.1f} as carbon dioxide leaves: "
            "measure again after some days rather than adding acid on the first day."
        )
    for element, code in LITTLE_OF.items():
        if note.code == code:
            return scarce_words(element, note.value)
    if note.code == "too little for spoons":
        return f"{note.value:.2g} teaspoons cannot be measured well with spoons: mix a larger volume, or weigh."
    return f"About {note.value:.1f} mS/cm is {note.code} for lettuce (published: {note.lower:g} to {note.upper:g})."


def table_lines(table: MixTableAnswer) -> Iterator[str]:
    """Say the acid for each class of alkalinity, one class a line."""
    yield f"Teaspoons of {_table_acid(table)} for {volume_words(table.volume_l)}, to pH {table.target_ph:g}:"
    yield f"{'alkalinity':<12}{'mg/L':>10}{'teaspoons':>12}{'most at a time':>18}{'pH at the ends':>18}"
    for row in table.rows:
        ends = f"{row.ph_at_lower:.1f} to {row.ph_at_upper:.1f}"
        told, step = _class_amounts(row)
        yield f"{row.name:<12}{f'{row.lower:.0f}-{row.upper:.0f}':>10}{told:>12}{step:>18}{ends:>18}"
    yield "Stir after each step, wait a minute, read the strip; stop between pH 5.5 and 6, however little it took."
    yield from (f"{caution.title}: {caution.text}" for caution in table.cautions)


def _class_amounts(row: ClassRow) -> tuple[str, str]:
    if row.step is None:
        return "no acid", "-"
    amount = row.acid.tsp if row.acid.solution_tsp is None else row.acid.solution_tsp
    return spoons(amount), spoons(row.step.tsp)


def _table_acid(table: MixTableAnswer) -> str:
    if all(row.acid.solution_tsp is None for row in table.rows):
        return table.acid
    return f"a solution of 1 level teaspoon of {table.acid} in each cup of water"
