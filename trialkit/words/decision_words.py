"""A decision in sentences to be read aloud: what to do, how sure, what would change it, what it covers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from trialkit.documents.findings import (
    Candidate,
    Caution,
    Choice,
    Decision,
    Evidence,
    Influence,
    Place,
    Saving,
    Verdict,
)
from trialkit.documents.results import Results
from trialkit.domain.thresholds import FEWEST_DF, FEWEST_RANDOM_LEVELS
from trialkit.domain.treatment import Treatment
from trialkit.words.check_words import check_words
from trialkit.words.loss_words import losses_warning
from trialkit.words.measures import KITCHEN, MeasureSystem
from trialkit.words.phrases import asked_chance, chance, count, in_percent, number
from trialkit.words.response_words import not_analysed_sentence
from trialkit.words.treatment_names import treatment_words

YIELD = "bucket_weight_g"
NOTABLE_SHARE = 0.05
"""A twentieth of the heads is worth a word (common practice, no source)."""
ENOUGH_SITES = 8
"""Simulated claims of 97 in 100 came true in 82 to 90 of 100 trials at three or four gardens, in 94 at eight."""
VERDICT_WORDS: Mapping[Verdict, str] = {
    Verdict.ADOPT: "change the default",
    Verdict.KEEP: "keep the current default",
    Verdict.RETEST: "keep the current default for now, and test again",
    Verdict.TAKE_CHEAPER: "no practical difference: take the cheaper",
}
PLACE_WORDS: Mapping[Place, str] = {
    "this_garden": "in the garden of this trial",
    "these_gardens": "in the gardens of this trial",
    "new_garden": "in a new garden of this programme",
    "average_garden": "on average over gardens like these",
}
SAVING_WORDS: Mapping[Saving, str] = {"nutrient": "uses less nutrient", "inputs": "costs less to fill"}


def sentences(decision: Decision, system: MeasureSystem = KITCHEN) -> tuple[str, str]:
    """Two sentences: what to do, and how sure."""
    writers = {
        Verdict.ADOPT: _adopt,
        Verdict.TAKE_CHEAPER: _take_the_cheaper,
        Verdict.KEEP: _keep,
        Verdict.RETEST: _retest,
    }
    return writers[decision.verdict](decision, system)


def no_decision_words(results: Results, system: MeasureSystem = KITCHEN) -> str:
    """Why there is no decision; empty where there is one."""
    why = results.no_decision
    if why is None:
        return ""
    if why.code == "yields_not_analysed":
        reason = results.responses[YIELD].not_analysed
        return f"The weight of buckets was not analysed. {not_analysed_sentence(reason, system) if reason else ''}"
    if why.code == "no_practice_record":
        return "There is no record of the current practice, so there is nothing to compare the others with."
    return (
        f"The trial is too small: a difference from the current practice has only {why.df:.1f} degrees of freedom for "
        f"error, and its chances cannot be calculated from fewer than {FEWEST_DF:g}."
    )


def after_costs(decision: Decision) -> str:
    """What is said of a gain where costs were taken off."""
    return "" if decision.unit == "g per transplanted head" else " after costs"


def _adopt(decision: Decision, system: MeasureSystem) -> tuple[str, str]:
    chosen, current = decision.recommended, decision.current
    return (
        f"Change the default to {treatment_words(chosen, system)}: {_found(decision)} than with the current default, "
        f"{treatment_words(current, system)}{_aside(decision)}.",
        f"The chance that it gains {_margin(decision)} {PLACE_WORDS[decision.place]} is {_better(decision, chosen)}, "
        f"{_seen(decision.evidence)}.",
    )


def _found(decision: Decision) -> str:
    """The difference in what a transplanted head gave, with its interval."""
    gain = decision.gain_g
    assert gain is not None  # a treatment is adopted for what it gained
    sign, more = (1, "more") if gain.estimate >= 0 else (-1, "less")
    low, high = sorted((sign * gain.lower, sign * gain.upper))
    return (
        f"a transplanted head gave {sign * gain.estimate:.0f} g {more} "
        f"({decision.thresholds.confidence * 100:g} % interval "
        f"{low:.0f} to {high:.0f} g, allowing for all comparisons)"
    )


def _aside(decision: Decision) -> str:
    """Differences besides yield that the reader must know of: heads that were marketable, and days."""
    chosen, current = (
        decision.candidate(treatment).share_usable for treatment in (decision.recommended, decision.current)
    )
    parts = []
    if abs(chosen - current) >= NOTABLE_SHARE:
        parts.append(f"{in_percent(chosen)} of its heads were marketable, against {in_percent(current)}")
    later = decision.days_later
    if later and later.lower * later.upper > 0:
        days = number(abs(later.estimate), 2)
        parts.append(f"it was ready {days} days {'later' if later.estimate > 0 else 'sooner'}")
    return f"; {', and '.join(parts)}" if parts else ""


def _take_the_cheaper(decision: Decision, system: MeasureSystem) -> tuple[str, str]:
    chosen = decision.candidate(decision.recommended)
    assert decision.saving is not None  # it was taken for being cheaper
    return (
        f"Change the default to {treatment_words(chosen.treatment, system)}, which {SAVING_WORDS[decision.saving]} and "
        f"yields as much as {treatment_words(decision.current, system)}{_aside(decision)}.",
        f"The chance that the two differ by less than {_alike(decision)} {PLACE_WORDS[decision.place]} is "
        f"{chance(chosen.probability_equivalent or 0.0)}, {_seen(decision.evidence)}.",
    )


def _keep(decision: Decision, system: MeasureSystem) -> tuple[str, str]:
    assert decision.alternative is not None  # the verdict rests on the chances of at least one
    return (
        f"Keep the current default, {treatment_words(decision.current, system)}.",
        f"For the most promising alternative, {treatment_words(decision.alternative, system)}, the chance of gaining "
        f"{_margin(decision)} {PLACE_WORDS[decision.place]} is {_better(decision, decision.alternative)}, "
        f"{_seen(decision.evidence)}.",
    )


def _retest(decision: Decision, system: MeasureSystem) -> tuple[str, str]:
    keep = f"Keep the current default, {treatment_words(decision.current, system)}, for now"
    if decision.alternative is None:
        return (
            f"{keep}: the records of every alternative are much more, or much less, complete than its own.",
            f"Heads without a record may have fared otherwise, so no chance is given, {_seen(decision.evidence)}.",
        )
    rival = decision.candidate(decision.alternative)
    return (
        f"{keep}: the trial has not settled whether {treatment_words(rival.treatment, system)} is better.",
        f"The chance that it gains {_margin(decision)} {PLACE_WORDS[decision.place]} is "
        f"{_better(decision, rival.treatment)}, {_why_not(rival, decision)}, {_seen(decision.evidence)}.",
    )


def _why_not(rival: Candidate, decision: Decision) -> str:
    """Say what a promising candidate lacks."""
    probability, asked = rival.probability_better or 0.0, decision.thresholds.adopt_probability
    if probability >= asked:
        return "but the interval that allows for all comparisons does not exclude a loss"
    just = "just " if chance(probability) == asked_chance(asked) else ""
    return f"{just}short of the {asked_chance(asked)} that the protocol asks for"


def _better(decision: Decision, treatment: Treatment) -> str:
    return chance(decision.candidate(treatment).probability_better or 0.0)


def _margin(decision: Decision) -> str:
    """The gain that would matter."""
    margin = decision.thresholds.margin_g
    return f"{f'at least {number(margin)} g per transplanted head' if margin else 'anything'}{after_costs(decision)}"


def _alike(decision: Decision) -> str:
    """The difference that would not matter."""
    return f"{number(decision.thresholds.equivalence_margin_g)} g per transplanted head{after_costs(decision)}"


def _seen(evidence: Evidence) -> str:
    """What the answer rests on."""
    seen = f"going by {evidence.buckets} buckets at {count(evidence.sites, 'garden')}"
    season = _when(evidence)
    return f"{seen} in {season}" if season else seen


def _when(evidence: Evidence) -> str:
    seasons, trials = evidence.seasons, evidence.trials
    if trials is None or trials == 1:
        return seasons[0] if seasons else "one trial" if trials else ""
    return f"{trials} trials{f', {seasons[0]} to {seasons[-1]}' if len(set(seasons)) > 1 else ''}"


def meaning_of_the_chance(decision: Decision, system: MeasureSystem = KITCHEN) -> str:
    """What the chance is of that the verdict turned on."""
    where = f"{after_costs(decision)} {PLACE_WORDS[decision.place]}"
    if decision.verdict == Verdict.TAKE_CHEAPER:
        margin = number(decision.thresholds.equivalence_margin_g)
        return (
            "that the recommended default and the current practice differ by less than "
            f"{margin} g per transplanted head{where}"
        )
    subject = "the recommended default is"
    if decision.alternative is not None and decision.recommended == decision.current:
        subject = f"the best alternative, {treatment_words(decision.alternative, system)}, is"
    margin = number(decision.thresholds.margin_g)
    return f"that {subject} worth at least {margin} g per transplanted head more than the current practice{where}"


def would_change(decision: Decision, system: MeasureSystem = KITCHEN) -> tuple[str, ...]:
    """What result would change the answer."""
    return tuple(_would_change(decision, system))


def _would_change(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    thresholds = decision.thresholds
    sure = asked_chance(thresholds.adopt_probability)
    if decision.verdict in (Verdict.ADOPT, Verdict.TAKE_CHEAPER):
        yield (
            f"A season in which the new default's chance of gaining {_margin(decision)} fell below {sure}."
            if decision.verdict == Verdict.ADOPT
            else f"A season in which the chance that the two differ by less than {_alike(decision)} fell below {sure}."
        )
        yield "A garden unlike these (water, sun, season) where it did worse than the current practice."
        return
    if decision.alternative is None:
        yield "The records that are missing."
        return
    name = treatment_words(decision.alternative, system)
    probability = decision.candidate(decision.alternative).probability_better or 0.0
    if probability >= thresholds.adopt_probability and not decision.excludes_loss:
        yield f"More gardens or buckets, so that the interval of the gain from {name} excludes a loss."
    else:
        yield f"Evidence that {name} gains {_margin(decision)} with a chance of {sure}."
    if decision.verdict == Verdict.RETEST:
        yield _next_size(decision, name)
    if thresholds.margin_g:
        yield f"A smaller margin than {number(thresholds.margin_g)} g, if a smaller gain would matter to a gardener."


def _next_size(decision: Decision, name: str) -> str:
    """How many buckets the next trial needs, where this one has not settled it."""
    size = decision.next_trial
    if size is None:
        return (
            "No number of buckets would settle it at gardens like these: the gain differs too much from garden to "
            "garden, or none is in sight."
        )
    return (
        f"A trial of {size.buckets} buckets of {name} and the current practice together, at {size.gardens} gardens "
        f"like these: if the gain is {number(size.gain_g, 2)} g per transplanted head, "
        f"{size.power * 100:g} of 100 such "
        "trials would settle it."
    )


def scope(decision: Decision, system: MeasureSystem = KITCHEN) -> tuple[str, ...]:
    """What the answer covers and what it leaves out."""
    return (
        "Nothing is recommended outside the treatments tried.",
        "What a transplanted head gave is its marketable weight; one that was lost, not ready at the end or not "
        "marketable counts as nothing.",
        *_not_considered(decision, system),
        *_largest_dose(decision),
        *_gardens(decision.evidence),
        *_costs(decision),
        "One season is one season: water, heat and light differ in the next.",
    )


def _not_considered(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    for treatment in decision.evidence.unrecorded:
        yield f"There is no record of {treatment_words(treatment, system)}, so it was not considered."
    current = decision.candidate(decision.current)
    for candidate in decision.candidates:
        if not candidate.eligible:
            yield (
                f"{in_percent(candidate.share_unrecorded)} of the heads of "
                f"{treatment_words(candidate.treatment, system)} have no record, against "
                f"{in_percent(current.share_unrecorded)} under the current practice: it was not considered."
            )


def _largest_dose(decision: Decision) -> Iterator[str]:
    doses = [one.treatment.dose_tsp for one in decision.candidates if one.treatment.dose_tsp is not None]
    if doses and decision.recommended.dose_tsp == max(doses):
        yield "The recommended dose is the largest tried: whether more would be better still is not known."


def _gardens(evidence: Evidence) -> Iterator[str]:
    if evidence.sites < FEWEST_RANDOM_LEVELS:
        these = "this garden" if evidence.sites == 1 else "these gardens"
        yield f"Fewer than three gardens gave records: the answer holds for {these} only."
    elif evidence.confounded:
        yield (
            "With so few buckets of a treatment in each garden, how much effects differ between gardens cannot be told "
            "from how much buckets differ: the answer is for the average of gardens like these, not for each."
        )
    elif evidence.sites < ENOUGH_SITES:
        yield (
            f"How much effects differ between gardens was judged from {evidence.sites} gardens only, and was taken as "
            "known: chances near certainty are somewhat too high."
        )


def _costs(decision: Decision) -> Iterator[str]:
    """What was not counted."""
    if decision.unit == "g per transplanted head":
        yield "Candidates are valued by what a transplanted head yields alone: the protocol gives no price of lettuce."
        if decision.thresholds.cost_per_bucket or decision.thresholds.delay_cost_per_day:
            yield "Costs of a bucket or of waiting were not counted: without a price nothing weighs them."
        return
    yield "Seed and labour are not counted."
    absent = [name for name in decision.uncounted if name != "waiting"]
    if absent:
        yield (
            f"The cost of {' and '.join(absent)} is not counted: a price, or the amount used, is not in the records."
        )
    if "waiting" in decision.uncounted:
        yield "Waiting is not counted, because days to harvest could not be analysed."


def cautions(results: Results, system: MeasureSystem = KITCHEN) -> tuple[str, ...]:
    """What could well turn the answer, to be said beside it."""
    decision = results.decision
    return () if decision is None else tuple(_caution(one, decision, results, system) for one in decision.cautions)


def _caution(caution: Caution, decision: Decision, results: Results, system: MeasureSystem) -> str:
    if caution == "losses":
        return losses_warning(results.losses, system)
    if caution == "influence" and decision.influence:
        return influence_words(decision.influence, decision.verdict, system)
    if caution == "in_grams" and decision.in_grams:
        return _in_grams(decision.in_grams, system)
    yields = results.responses[YIELD]
    failed = next(check for check in yields.checks if check.id == caution and not check.ok)
    _, finding, consequence = check_words(failed, yields.unit, system)
    return f"{finding} {consequence}"


def _in_grams(choice: Choice, system: MeasureSystem) -> str:
    return (
        "The weights of buckets are so lopsided that this was decided on another scale than grams; in grams the "
        f"verdict would be “{VERDICT_WORDS[choice.verdict]}”, with {treatment_words(choice.recommended, system)}."
    )


def influence_words(influence: Influence, verdict: Verdict, system: MeasureSystem = KITCHEN) -> str:
    """Say which single buckets turn a verdict."""
    return " ".join(_influence(influence, verdict, system))


def _influence(influence: Influence, verdict: Verdict, system: MeasureSystem) -> Iterator[str]:
    if influence.ok:
        yield "No single bucket decides the verdict: with any one left out, it would be the same."
    for one in influence.buckets:
        if one.choice is None:
            continue
        turned = f"the verdict would be “{VERDICT_WORDS[one.choice.verdict]}”, with"
        yield (
            f"Without bucket {one.bucket} at {one.site} ({treatment_words(one.treatment, system)}) "
            f"{'it would recommend' if one.choice.verdict == verdict else turned} "
            f"{treatment_words(one.choice.recommended, system)}."
        )
    if influence.more:
        yield "Others may do so too: only those that move it most were looked at."
