"""What goes into a bucket, in words: spoons for a kitchen, grams and millilitres for scales and jugs, or both."""

from __future__ import annotations

from collections.abc import Iterator

from trialkit.documents.answers import MixAmount, MixAnswer, MixTableAnswer
from trialkit.domain.units import CUP_ML, TEASPOON_ML
from trialkit.solution.acid_steps import AcidStep
from trialkit.solution.mixing import HALF_A_QUARTER_TSP, ClassRow, MixNote
from trialkit.words.measures import Measures, in_measures, measure_words, spoons, volume_words

NO_POWDER = " Never add the powder itself."


def mix_lines(mix: MixAnswer, measures: Measures = "both") -> Iterator[str]:
    """Say what goes into a bucket, what comes of it, and what to mind; one text a line."""
    alkalinity = mix.water.alkalinity_mg_l_caco3.value
    volume = volume_words(mix.volume_l, measures)
    yield f"{volume} of water with an alkalinity of {alkalinity:.0f} mg/L and pH {mix.water.ph:g}:"
    yield from (f"  {_amount(amount, measures)}" for amount in (mix.nutrient, mix.acid) if amount)
    if mix.acid_step and mix.acid and mix.acid.tsp > 0:
        yield f"  {_step(mix.acid_step, mix.acid, measures)}"
    elif mix.acid and mix.acid.tsp > 0:
        powder = NO_POWDER if mix.acid.solution_tsp is not None else ""
        yield f"  Do not add it: no step of it is safe in this water; what follows is what it would do.{powder}"
    if mix.elements_mg_l:
        yield "Nutrients, mg/L: " + ", ".join(f"{element} {mg_l:.0f}" for element, mg_l in mix.elements_mg_l.items())
    if mix.recipe.shares:
        shares = ", ".join(f"{element} {100 * share:.0f} %" for element, share in mix.recipe.shares.items())
        yield f"Of a published solution ({mix.recipe.name}): {shares}"
    ec = mix.ec_ms_cm
    yield f"Conductivity: about {ec.value:.1f} mS/cm ({ec.lower:.1f} to {ec.upper:.1f})"
    yield f"pH: {mix.ph:.1f}; a strip shows {mix.ph_strip:g}{_slack(mix, measures)}"
    yield from (f"Note: {note_words(note, measures)}" for note in mix.notes)
    yield from (f"{caution.title}: {caution.text}" for caution in mix.cautions)


def _amount(amount: MixAmount, measures: Measures) -> str:
    if not amount.tsp:
        return f"no {amount.name}"
    if amount.solution_tsp is not None:
        return _dissolved(amount, amount.solution_tsp, measures)
    metric = f"{amount.grams:.0f} g" if amount.grams is not None else f"{amount.millilitres:.0f} mL"
    rounding = f"rounding adds {amount.rounding_pct:+.0f} %" if abs(amount.rounding_pct) >= 0.5 else ""
    kitchen = f"{spoons(amount.tsp)} level teaspoon{'' if amount.tsp <= 1 else 's'}"
    beside = "; ".join(filter(None, (metric if measures == "both" else "", rounding)))
    told = metric if measures == "metric" else kitchen
    return f"{told} of {amount.name}{f' ({beside})' if beside else ''}"


def _dissolved(amount: MixAmount, solution_tsp: float, measures: Measures) -> str:
    millilitres, grams = f"{amount.millilitres:.0f} mL", f"{amount.grams:.2g} g of powder"
    if measures == "metric":
        each = (amount.grams or 0.0) / amount.tsp
        return f"{millilitres} of a solution: {each:.2g} g of {amount.name} in each {CUP_ML:.0f} mL of water ({grams})"
    told = (
        f"{spoons(solution_tsp)} teaspoon{'' if solution_tsp <= 1 else 's'} of a solution: 1 level teaspoon of "
        f"{amount.name} in each cup of water"
    )
    return f"{told} ({millilitres}; {grams})" if measures == "both" else told


def _step(step: AcidStep, acid: MixAmount, measures: Measures) -> str:
    """Say how the acid goes in."""
    powder = NO_POWDER if acid.solution_tsp is not None else ""
    at_a_time = in_measures(measures, measure_words(step.tsp), f"{step.millilitres:.3g} mL")
    return (
        f"Add it in steps of {at_a_time} at most; after each stir, wait a minute, read the strip, and stop between pH "
        f"5.5 and 6.{powder}"
    )


def _slack(mix: MixAnswer, measures: Measures) -> str:
    low, high = mix.ph_range
    if high <= low:
        return ""
    off = f"{HALF_A_QUARTER_TSP * TEASPOON_ML:.1g} mL" if measures == "metric" else "an eighth of a teaspoon"
    solution = " of its solution" if mix.acid and mix.acid.solution_tsp is not None else ""
    return f", {low:.1f} to {high:.1f} if the acid is off by {off}{solution}"


def note_words(note: MixNote, measures: Measures = "both") -> str:
    """Say what is to be minded, and what to do about it."""
    metric = measures == "metric"
    if note.code in ("alkalinity guessed", "alkalinity contradicted"):
        apart = " pH and hardness contradict each other (softened water?)." if "contradicted" in note.code else ""
        return (
            f"Alkalinity is a guess, {note.value:.0f} mg/L, and may be {note.lower:.0f} to {note.upper:.0f}.{apart} "
            "Test the alkalinity, or go by the strip after every small step of acid."
        )
    if note.code == "no safe step of acid":
        smallest = f"{note.value * TEASPOON_ML:.2g} mL" if metric else measure_words(note.value)
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
    if note.code == "too little for spoons":
        amount = f"{note.value * TEASPOON_ML:.2g} mL" if metric else f"{note.value:.2g} teaspoons"
        return f"{amount} cannot be measured well with spoons: mix a larger volume, or weigh."
    return f"About {note.value:.1f} mS/cm is {note.code} for lettuce (published: {note.lower:g} to {note.upper:g})."


def table_lines(table: MixTableAnswer, measures: Measures = "both") -> Iterator[str]:
    """Say the acid for each class of alkalinity, one class a line."""
    title, unit = ("Millilitres", "mL") if measures == "metric" else ("Teaspoons", "teaspoons")
    what, volume = _table_acid(table, measures), volume_words(table.volume_l, measures)
    yield f"{title} of {what} for {volume}, to pH {table.target_ph:g}:"
    yield f"{'alkalinity':<12}{'mg/L':>10}{unit:>12}{'most at a time':>18}{'pH at the ends':>18}"
    for row in table.rows:
        ends = f"{row.ph_at_lower:.1f} to {row.ph_at_upper:.1f}"
        told, step = _class_amounts(row, measures)
        yield f"{row.name:<12}{f'{row.lower:.0f}-{row.upper:.0f}':>10}{told:>12}{step:>18}{ends:>18}"
    yield "Stir after each step, wait a minute, read the strip; stop between pH 5.5 and 6, however little it took."
    yield from (f"{caution.title}: {caution.text}" for caution in table.cautions)


def _class_amounts(row: ClassRow, measures: Measures) -> tuple[str, str]:
    if row.step is None:
        return "no acid", "-"
    if measures == "metric":
        return f"{row.acid.millilitres:.0f}", f"{row.step.millilitres:.3g}"
    amount = row.acid.tsp if row.acid.solution_tsp is None else row.acid.solution_tsp
    return spoons(amount), spoons(row.step.tsp)


def _table_acid(table: MixTableAnswer, measures: Measures) -> str:
    if all(row.acid.solution_tsp is None for row in table.rows):
        return table.acid
    each = next((row.acid.grams / row.acid.tsp for row in table.rows if row.acid.grams and row.acid.tsp), None)
    if measures == "metric" and each is not None:
        return f"a solution of {each:.2g} g of {table.acid} in each {CUP_ML:.0f} mL of water"
    return f"a solution of 1 level teaspoon of {table.acid} in each cup of water"
