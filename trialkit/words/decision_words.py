"""A decision in sentences to be read aloud: what to do, how sure, what it rests on, what would change it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from trialkit.documents.decision import Candidate, Caution, Decision, Evidence, Gain, TippingPoint, Verdict
from trialkit.documents.findings import Check
from trialkit.documents.results import Results
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.words.check_words import check_words
from trialkit.words.departure_words import all_lost_words, departures_words
from trialkit.words.dose_words import dose_sentences, dose_tried
from trialkit.words.loss_words import losses_warning, nothing_left_words
from trialkit.words.measures import (
    BOTH,
    MeasureSystem,
    head_amount,
    head_unit,
    head_weight,
    least_weight,
    teaspoons,
)
from trialkit.words.phrases import asked_chance, chance, count, in_percent, listed, number
from trialkit.words.treatment_names import treatment_words

YIELD = "bucket_weight_g"
NOTABLE_SHARE = 0.05
"""A twentieth of the heads is worth a word (common practice, no source)."""
NOTABLE_DAYS = 1.0
MOST_RIVALS = 2
MONEY = "in the currency of the prices"
VERDICT_WORDS: Mapping[Verdict, str] = {
    Verdict.CHANGE: "change the default",
    Verdict.CHANGE_AND_TEST: "change the default, and test again",
    Verdict.KEEP: "keep the current practice",
    Verdict.KEEP_AND_TEST: "keep the current practice, and test again",
}
NO_DECISION_WORDS = {
    "not_asked": "The weight of heads was not analysed: the protocol does not ask for it.",
    "nothing_usable": (
        "No marketable head was weighed, so nothing tells one treatment from another. If somebody knows what heads "
        "weighed, write it into heads.csv; else the trial has to be repeated."
    ),
    "no_practice_record": (
        "There is no record of the current practice, so there is nothing to compare the others with. If somebody knows "
        "what became of its heads, write it into heads.csv; else the trial has to be repeated."
    ),
    "one_treatment": (
        "The current practice alone has records, so there is nothing to compare it with. If somebody knows what became "
        "of the other heads, write it into heads.csv; else the trial has to be repeated."
    ),
    "practice_lost": (
        "No head of the current practice became marketable, and too little is known of the others to recommend one of "
        "them. Write into heads.csv what became of their heads, or test them again."
    ),
    "too_open": (
        "There are too few records to tell how much buckets and gardens vary, so no chance can be calculated. Test "
        "again with more buckets of each treatment, or with more gardens."
    ),
}


def sentences(decision: Decision, system: MeasureSystem = BOTH) -> tuple[str, ...]:
    """Three paragraphs: what to do and what it brings, how sure, and what it rests on."""
    return (what_to_do(decision, system), how_sure(decision, system), what_it_rests_on(decision, system))


def no_decision_words(results: Results, system: MeasureSystem = BOTH) -> str:
    """Why there is no decision, and what was lost altogether; empty where there is one."""
    if results.no_decision is None:
        return ""
    return " ".join([NO_DECISION_WORDS[results.no_decision.code], *nothing_left_words(results.losses, system)])


def after_costs(decision: Decision) -> str:
    """What is said of a gain where costs were taken off."""
    return "" if decision.unit == "g per transplanted head" else " after costs"


def what_to_do(decision: Decision, system: MeasureSystem = BOTH) -> str:
    """The verdict, what to grow, what is expected of it, and losses."""
    return " ".join(_what_to_do(decision, system))


def _what_to_do(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    again = "" if decision.verdict.is_settled else ", and test again"
    current, other = (treatment_words(one, system) for one in (decision.current, decision.alternative))
    gain = decision.shown.gain
    assert gain is not None  # only the current practice has none
    expected = f"we expect {_difference(gain, system)} of each transplanted head, on average over gardens and seasons."
    if decision.verdict.changes:
        yield f"Change the default to {other}{again}."
        yield f"The handout now names {current}, the current practice."
        yield f"With the change {expected}"
        yield _left_open(decision, gain, system)
        if after_costs(decision) and gain.estimate < 0:
            yield "After costs it is worth more."
    else:
        yield f"Keep the current practice, {current}{again}."
        yield f"The best alternative is {other}."
        yield f"With it {expected}"
        yield _left_open(decision, gain, system)
        yield from _not_worth_a_change(decision, system)
    yield from _failed(decision)
    yield from _shares(decision)
    yield from _days(decision)


def _not_worth_a_change(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    if decision.shown.expected_value > decision.chosen.expected_value:
        cost = least_weight(decision.thresholds.change_cost_g, system)
        yield f"A change must bring more than {cost}{after_costs(decision)} to be worth it."


def gain_in_short(decision: Decision, system: MeasureSystem = BOTH) -> tuple[str, str]:
    """What a change brings, for a card: the gain, then its interval and what goes with it."""
    gain = decision.shown.gain
    assert gain is not None  # only the current practice has none
    return f"{_difference(gain, system)} a head", " ".join(_with_the_gain(decision, gain, system))


def _with_the_gain(decision: Decision, gain: Gain, system: MeasureSystem) -> Iterator[str]:
    if decision.verdict.changes:
        yield f"{_than(gain, system)} with the current practice."
        yield _left_open(decision, gain, system)
        if after_costs(decision) and gain.estimate < 0:
            yield "After costs it is worth more."
    else:
        yield f"with the best alternative, {treatment_words(decision.alternative, system)}."
        yield _left_open(decision, gain, system)
        yield from _not_worth_a_change(decision, system)
    yield from _days(decision)


def minds(results: Results, system: MeasureSystem = BOTH) -> tuple[str, ...]:
    """What to mind about a decision, for a card: the weightiest first, each without its figures where a check has some.

    Gardens go by their names here.
    """
    return tuple(_minds(results, results.decision, system)) if results.decision else ()


def minds_of_all(decision: Decision, system: MeasureSystem = BOTH) -> Iterator[str]:
    """What to mind about a decision from many trials, but for what these did not try."""
    yield from _lost(decision, {})
    if "priors" in decision.cautions:
        yield priors_words(decision, system)


def _lost(decision: Decision, names: Mapping[str, str]) -> Iterator[str]:
    failed = [names.get(one, one) for one in decision.evidence.failed_gardens]
    if failed:
        yield f"No head became marketable at {listed(failed)}."
    yield from _shares(decision)


def _minds(results: Results, decision: Decision, system: MeasureSystem) -> Iterator[str]:
    yield from nothing_left_words(results.losses, system)
    yield from _lost(decision, {site.site: site.name or site.site for site in results.design.sites})
    yield from departures_words(results, system)
    for caution in decision.cautions:
        if caution not in ("failed_gardens", "losses", "priors"):
            yield check_words(_failed_check(caution, results), results.responses[YIELD].unit, system).consequence
        elif caution != "failed_gardens":
            yield _caution(caution, decision, results, system)
    if decision.evidence.trials == 1:
        yield "It was one season: in the next, water, heat and light differ."


def _difference(gain: Gain, system: MeasureSystem) -> str:
    if head_amount(gain.estimate, system.measures) == 0:
        return "as much"
    return f"{head_weight(abs(gain.estimate), system)} {'more' if gain.estimate > 0 else 'less'}"


def _than(gain: Gain, system: MeasureSystem) -> str:
    """Join a gain to what it is compared with."""
    return "as" if head_amount(gain.estimate, system.measures) == 0 else "than"


def _left_open(decision: Decision, gain: Gain, system: MeasureSystem) -> str:
    """Say an interval, and what an interval is."""
    sure = f"{decision.thresholds.confidence * 100:g} % interval"
    return f"The records leave open {_limits(gain, system)} ({sure})."


def _limits(gain: Gain, system: MeasureSystem) -> str:
    """Say an interval of a gain.

    Examples
    --------
    >>> metric = MeasureSystem("metric")
    >>> [_limits(one, metric) for one in (Gain(35, 5.4, 61.2), Gain(6, -12.2, 25), Gain(-9, -28, -2))]
    ['5 to 61 g more', '12 g less to 25 g more', '2 to 28 g less']
    """
    low, high = (head_amount(one, system.measures) for one in (gain.lower, gain.upper))
    unit = head_unit(system.measures)
    if low < 0 < high:
        return f"{number(-low, 9)} {unit} less to {number(high, 9)} {unit} more"
    least, most = sorted((abs(low), abs(high)))
    return f"{number(least, 9)} to {number(most, 9)} {unit} {'more' if high > 0 else 'less'}"


def _failed(decision: Decision) -> Iterator[str]:
    """Gardens that lost everything."""
    if decision.evidence.failed_gardens:
        where = listed(decision.evidence.failed_gardens)
        yield f"No head became marketable at {where}. What we expect allows for such a loss."


def _shares(decision: Decision) -> Iterator[str]:
    """A treatment that loses more or fewer."""
    now, then = decision.candidate(decision.current).share_usable, decision.shown.share_usable
    if abs(then - now) >= NOTABLE_SHARE:
        yield (
            f"{'More' if then > now else 'Fewer'} heads become marketable with it: {in_percent(then)} are expected to, "
            f"against {in_percent(now)} now."
        )


def _days(decision: Decision) -> Iterator[str]:
    later = decision.days_later
    if decision.verdict.changes and later is not None and abs(later) >= NOTABLE_DAYS:
        yield f"It is ready about {number(abs(later), 2)} days {'later' if later > 0 else 'sooner'}."


def how_sure(decision: Decision, system: MeasureSystem = BOTH) -> str:
    """Both chances, and what is given up."""
    (better, better_words), (near, near_words) = chances(decision, system)
    return (
        f"The chance {better_words}, is {chance(better)}. The chance {near_words} is {chance(near)}. "
        f"{settled_words(decision)} {given_up(decision, system)}"
    )


def chances(decision: Decision, system: MeasureSystem = BOTH) -> tuple[tuple[float, str], tuple[float, str]]:
    """Two different chances, each with what it is of: better than what is said now, and near the best of all."""
    changes, margin = decision.verdict.changes, decision.thresholds.margin_g
    costs = after_costs(decision)
    near = f"near the best that was tried (within {least_weight(margin, system)} a head{costs})"
    if not margin:
        near = f"as good as the best that was tried{costs}"
    return (
        (
            decision.shown.probability_better or 0.0,
            f"that {'it' if changes else 'the best alternative'} is better{costs} than the current practice, in a new "
            "garden and season",
        ),
        (
            decision.chosen.probability_near_best,
            f"that {'it' if changes else 'the current practice'} is {near}",
        ),
    )


def settled_words(decision: Decision) -> str:
    """From which chance the protocol calls an answer settled, and whether this one is."""
    asked = asked_chance(decision.thresholds.adopt_probability)
    just = "just " if chance(decision.chosen.probability_near_best) == asked else ""
    found = "is settled" if decision.verdict.is_settled else f"falls {just}short"
    return f"An answer is settled once its chance of being near the best is {asked}. This one {found}."


def given_up(decision: Decision, system: MeasureSystem = BOTH) -> str:
    """What the choice gives up on average."""
    loss = decision.chosen.expected_loss
    if decision.unit == "currency a bucket":
        amount = f"{number(loss, 2)} a bucket {MONEY}"
    else:
        least = "0.1 oz" if system.measures == "kitchen" else "1 g"
        told = head_amount(loss, system.measures)
        amount = f"{head_weight(loss, system) if told else f'less than {least}'} a head"
    return f"On average we give up {amount}, because another treatment may truly be the best."


def what_it_rests_on(decision: Decision, system: MeasureSystem = BOTH) -> str:
    """What stood in just this choice, all that went into the model, and heads without a record."""
    return " ".join(_rests_on(decision, system))


def _rests_on(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    chosen = decision.chosen
    if chosen.stood.buckets:
        trials = f" in {chosen.stood.trials} trials" if decision.evidence.trials > 1 and chosen.stood.trials > 1 else ""
        yield (
            f"Just this treatment stood in {count(chosen.stood.buckets, 'bucket')} at "
            f"{count(chosen.stood.gardens, 'garden')}{trials}."
        )
    else:
        yield dose_tried(decision, system)
    yield f"In all, the answer rests on {_all(decision.evidence)}."
    for one in decision.tipping:
        yield _tipping(one, decision, system)
    yield from all_lost_words(decision, system)


def _all(evidence: Evidence) -> str:
    when, seasons = "", evidence.seasons
    if evidence.trials > 1:
        span = f", {seasons[0]} to {seasons[-1]}" if len(set(seasons)) > 1 else ""
        when = f" in {evidence.trials} trials{span}"
    elif seasons:
        when = f" in {seasons[0]}"
    return f"{count(evidence.buckets, 'bucket')} at {count(evidence.gardens, 'garden')}{when}"


def _tipping(point: TippingPoint, decision: Decision, system: MeasureSystem) -> str:
    """What would have to be true of heads without a record for the choice to turn."""
    has, them = ("has", "it") if point.unrecorded == 1 else ("have", "them")
    have = f"{count(point.unrecorded, 'head')} of {treatment_words(point.treatment, system)} {has} no record."
    if point.turns_at is None:
        return f"{have} Whatever became of {them}, the answer stays."
    bound = "or fewer" if point.treatment == decision.recommended else "or more"
    return (
        f"{have} If {in_percent(point.turns_at)} of them {bound} were marketable, the answer would change. Of those "
        f"with a record, {in_percent(point.share_recorded)} were."
    )


def would_change(decision: Decision, system: MeasureSystem = BOTH) -> tuple[str, ...]:
    """What would change the answer."""
    return tuple(_would_change(decision, system))


def _would_change(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    sure = asked_chance(decision.thresholds.adopt_probability)
    now = f"The chance of being near the best is {chance(decision.chosen.probability_near_best)} now."
    if decision.verdict.is_settled:
        yield f"{now} New records that bring it below {sure} would open the question again."
    else:
        yield f"{now} From {sure} on, no further test is asked for."
    rivals = _rivals(decision)
    if rivals:
        named = " ".join(f"Grow it beside {treatment_words(one.treatment, system)}." for one in rivals)
        yield (
            f"Test what is recommended again, at other gardens and in another season. {named} Of the others that were "
            f"tried, {'these are' if len(rivals) > 1 else 'this is'} the most likely to be near the best."
        )
    if decision.dose and decision.dose.at_edge:
        yield (
            f"Test larger doses. We expect most from the largest that was tried, "
            f"{teaspoons(decision.dose.points[-1].dose_tsp, system)}."
        )
    if not decision.verdict.changes and decision.shown.expected_value > decision.chosen.expected_value:
        cost = least_weight(decision.thresholds.change_cost_g, system)
        yield (
            f"The protocol asks that a change bring more than {cost} a head. If it asked for less, the best "
            "alternative could be recommended."
        )
    if decision.other_priors:
        yield priors_words(decision, system)
    yield from (_tipping(one, decision, system) for one in decision.tipping if one.turns_at is not None)


def _rivals(decision: Decision) -> tuple[Candidate, ...]:
    """Others that were tried and are the most likely to be near the best, the likeliest first."""
    others = [one for one in decision.candidates if not one.is_recommended and one.stood.buckets]
    return tuple(sorted(others, key=lambda one: -one.probability_near_best)[:MOST_RIVALS])


def priors_words(decision: Decision, system: MeasureSystem = BOTH) -> str:
    """What would be grown with priors half or twice as wide."""
    named = " or ".join(treatment_words(one, system) for one in dict.fromkeys(decision.other_priors))
    return (
        "The answer leans on an assumption, made before any record, of how much treatments can differ. With half or "
        f"twice as much it would be {named}."
    )


def scope(decision: Decision, system: MeasureSystem = BOTH) -> tuple[str, ...]:
    """What the answer covers and what it leaves out."""
    return (
        "We recommend only doses within those tried, and only cultivars and acids that were tried.",
        "What counts is the marketable weight of every transplanted head. One that was lost, not ready at the end or "
        "not marketable counts as zero.",
        *(dose_sentences(decision, system)),
        *_gardens(decision.evidence),
        *_costs(decision),
    )


def _gardens(evidence: Evidence) -> Iterator[str]:
    if evidence.gardens < FEWEST_RANDOM_LEVELS:
        gave = "one garden" if evidence.gardens == 1 else "two gardens"
        yield f"Only {gave} gave records. How much gardens differ is then an assumption, made before any record."
    if evidence.trials == 1:
        yield (
            "This was one season, and water, heat and light differ in the next. How much that changes is an "
            "assumption, made before any record. The chances and intervals allow for it."
        )


def _costs(decision: Decision) -> Iterator[str]:
    """What was not counted."""
    if decision.unit == "g per transplanted head":
        yield "Treatments are compared by weight alone, because the protocol gives no price of lettuce."
        if decision.thresholds.cost_per_bucket or decision.thresholds.delay_cost_per_day:
            yield "The costs of a bucket and of waiting are not counted, because that takes a price of lettuce."
        return
    yield "Seed and labour are not counted."
    absent = [name for name in decision.uncounted if name != "waiting"]
    if absent:
        yield (
            f"The cost of {' and '.join(absent)} is not counted, because its price or the amount used is not recorded."
        )
    if "waiting" in decision.uncounted:
        yield "Waiting is not counted, because some treatments have no days to harvest."


def cautions(results: Results, system: MeasureSystem = BOTH) -> tuple[str, ...]:
    """What could well turn the answer, to be said beside it; gardens that failed are in the answer itself."""
    decision = results.decision
    if decision is None:
        return ()
    said = (_caution(one, decision, results, system) for one in decision.cautions if one != "failed_gardens")
    return tuple(said)


def _caution(caution: Caution, decision: Decision, results: Results, system: MeasureSystem) -> str:
    if caution == "losses":
        return losses_warning(results.losses, system)
    if caution == "priors":
        return priors_words(decision, system)
    said = check_words(_failed_check(caution, results), results.responses[YIELD].unit, system)
    return f"{said.finding} {said.consequence}"


def _failed_check(caution: Caution, results: Results) -> Check:
    return next(check for check in results.responses[YIELD].checks if check.id == caution and not check.ok)
