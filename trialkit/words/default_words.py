"""What the trials of a ledger say together, in sentences made from the facts of the recommended defaults."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from trialkit.documents.pooled import NextSize, TrialGains
from trialkit.documents.recommended import Change, Grouping, Practice, Recommended, SourceOfVariation
from trialkit.domain.factors import FactorName
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.words import decision_words as decision
from trialkit.words.measures import Measures, MeasureSystem, in_measures, spoons
from trialkit.words.phrases import chance, number
from trialkit.words.treatment_names import treatment_words

FEW_TRIALS = 6
"""Fewer may hide much that differs between seasons (common practice, no source)."""
FACTOR_PLURALS: Mapping[FactorName, str] = {"cultivar": "cultivars", "dose": "doses", "acidifier": "acids"}
BETWEEN: Mapping[Grouping, str] = {
    "trial": "trials",
    "trial_site": "gardens within trials",
    "block": "blocks within gardens",
    "whole_plot": "whole plots within blocks",
    "bucket": "buckets treated alike",
}
PLACES: Mapping[Grouping, str] = {"trial": "trials", "trial_site": "gardens"}


def answer(document: Recommended, measures: Measures = "kitchen") -> tuple[str, ...]:
    """What to do, and how sure."""
    return decision.sentences(document.decision, _system(document.recommended, measures))


def what_would_change_it(document: Recommended, measures: Measures = "kitchen") -> tuple[str, ...]:
    """What would change the answer."""
    return decision.would_change(document.decision, _system(document.recommended, measures))


def heterogeneity(found: TrialGains) -> str:
    """How much trials differ."""
    combined = found.combined
    if combined is None:
        return "One trial alone says nothing of how much seasons differ."
    ahead, trials = sum(one.gain > 0 for one in found.gains), combined.trials
    if trials < FEWEST_RANDOM_LEVELS:
        return (
            f"It was ahead in {('neither', 'one', 'both')[ahead]} of the two trials. Two say next to nothing of how "
            "much seasons differ, and the interval does not allow for it."
        )
    said = f"It was ahead in {'all' if ahead == trials else f'{ahead} of'} {trials} trials. "
    if combined.tau_g == 0:
        said += "The trials differ no more than chance alone would have it"
        hidden = f"; but so few might hide a standard deviation of {combined.tau_upper_g:.0f} g."
        said += hidden if trials < FEW_TRIALS else "."
    else:
        said += (
            f"Between trials the gain varies with a standard deviation of {combined.tau_g:.0f} g (between "
            f"{combined.tau_lower_g:.0f} and {combined.tau_upper_g:.0f} g): {combined.i2 * 100:.0f} % of what their "
            "results differ by, the rest being chance."
        )
    if combined.new_lower is not None and combined.new_upper is not None:
        said += f" One more trial is to be expected to find {combined.new_lower:.0f} to {combined.new_upper:.0f} g."
    return said


def what_is_not_known(document: Recommended, measures: Measures = "kitchen") -> Iterator[str]:
    """What the trials cannot tell."""
    gaps, system = document.gaps, _system(document.recommended, measures)
    for few in gaps.few_trials:
        trials = "1 trial" if few.trials == 1 else f"{few.trials} trials"
        yield (
            f"Only {trials} varied {FACTOR_PLURALS[few.factor]}: how much their effect differs from season to season "
            "is not known, and no interval allows for it."
        )
    if gaps.not_separated:
        between = " and ".join(PLACES[grouping] for grouping in gaps.not_separated)
        yield f"These records cannot tell how much effects differ between {between}: no interval allows for it."
    if gaps.tried_once:
        yield (
            "Tried in one trial only, and so not recommended yet, whatever it found: "
            f"{'; '.join(treatment_words(treatment, system) for treatment in gaps.tried_once)}."
        )
    if gaps.nitrogen_alone:
        yield (
            f"No trial used this much of {gaps.nitrogen_alone.product}: the dose is calculated from "
            f"{', '.join(gaps.nitrogen_alone.tried)} by nitrogen alone, and the other elements differ. Try it before "
            "you print it."
        )


def not_compared(document: Recommended, measures: Measures = "kitchen") -> Iterator[str]:
    """Name the comparisons that no trial allows."""
    system = _system(document.recommended, measures)
    practice = treatment_words(document.current.treatment, system)
    for treatment in document.not_linked:
        other = treatment_words(treatment, system)
        yield f"{other} cannot be compared with {practice}: no trial links them, nor any chain of trials."


def changes(document: Recommended, measures: Measures = "kitchen") -> Iterator[str]:
    """What changed since the version before."""
    change = document.change
    if change is None:
        yield "This is the first version."
        return
    yield from _news(change)
    then, now = change.recommended, document.recommended
    if not now.is_like(then):
        old, new = (treatment_words(one.treatment, _system(one, measures)) for one in (then, now))
        yield f"The default changes from {old} to {new}."
    elif now.treatment.dose_tsp == then.treatment.dose_tsp:
        yield "The default stays as it was."
    else:
        new, old = _amount(now, measures, " teaspoons"), _amount(then, measures)
        yield (
            f"The default stays as it was: {new} of {now.product} bring the nitrogen that {old} of {then.product} did."
        )


def _amount(practice: Practice, measures: Measures, unit: str = "") -> str:
    dose_tsp, g_per_tsp = practice.treatment.dose_tsp or 0.0, practice.nutrient_g_per_tsp
    kitchen = f"{spoons(dose_tsp)}{unit}"
    return kitchen if g_per_tsp is None else in_measures(measures, kitchen, f"{number(dose_tsp * g_per_tsp)} g")


def _system(practice: Practice, measures: Measures) -> MeasureSystem:
    return MeasureSystem(measures, practice.nutrient_g_per_tsp)


def _news(change: Change) -> Iterator[str]:
    for word, trials in (("New evidence", change.added), ("Withdrawn", change.withdrawn)):
        for one in trials:
            yield f"{word}: {one.trial}, {one.season or 'season not stated'}."
    if not change.added and not change.withdrawn:
        yield "The evidence is the same; it was worked out anew."


def next_question(document: Recommended, measures: Measures = "kitchen") -> str:
    """Ask what the next trial is to answer."""
    rival, recommended = (
        treatment_words(treatment, _system(document.recommended, measures))
        for treatment in (document.next_trial.rival, document.next_trial.recommended)
    )
    return f"Is {rival} better than {recommended}?"


def why_next(document: Recommended, measures: Measures = "kitchen") -> str:
    """Why that trial would tell most, and where."""
    trial, classes = document.next_trial, document.classes
    rival = treatment_words(trial.rival, _system(document.recommended, measures))
    why = (
        f"Of all that was tried, {rival} has the best chance of being ahead of what is recommended: "
        f"{chance(trial.probability_ahead)} in a new garden."
    )
    waters, seasons = (
        " or ".join(one.name for one in some if not one.gardens)
        for some in ((classes.water, classes.season) if classes else ((), ()))
    )
    where = []
    if waters:
        where.append(f"gardens whose water has {waters} alkalinity, of which the ledger knows nothing")
    if seasons:
        where.append(f"a {seasons} season, which it has not seen")
    return f"{why} It would tell most in {'; and in '.join(where)}." if where else why


def next_size(size: NextSize) -> str:
    """How large that trial must be."""
    what = f"{size.gardens} gardens with {size.blocks} blocks of the two, {size.buckets} buckets in all"
    margin, power = number(size.margin_g), f"{number(100 * size.power)} %"
    if not size.reached:
        return f"Even {what} would find {margin} g with a chance of {power} only."
    return f"It takes {what}, to find a difference of {margin} g with a chance of {power}."


def variation_between(source: SourceOfVariation) -> str:
    """Name what varies, after "between"."""
    if source.factor is None:
        return BETWEEN[source.grouping]
    return f"effects of {FACTOR_PLURALS[source.factor]} between {PLACES[source.grouping]}"


def trial_name(trial: str, season: str) -> str:
    """Name a trial with its season, where that is stated."""
    return f"{trial}, {season}" if season else trial
