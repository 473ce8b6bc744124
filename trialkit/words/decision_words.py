"""A decision in sentences to be read aloud: what to do, how sure, what it rests on, what would change it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from trialkit.documents.decision import Candidate, Caution, Decision, Evidence, Gain, Stood, TippingPoint, Verdict
from trialkit.documents.findings import Check
from trialkit.documents.results import Results
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.languages import gettext, in_figures, ngettext, translatable
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
from trialkit.words.phrases import asked_chance, chance, count, in_percent, listed, number, season_words
from trialkit.words.treatment_names import treatment_words

YIELD = "bucket_weight_g"
NOTABLE_SHARE = 0.05
"""A twentieth of the heads is worth a word (common practice, no source)."""
NOTABLE_DAYS = 1.0
MOST_RIVALS = 2
MONEY = translatable("in the currency of the prices")
VERDICT_WORDS: Mapping[Verdict, str] = {
    Verdict.CHANGE: "change the default",
    Verdict.CHANGE_AND_TEST: "change the default, and test again",
    Verdict.KEEP: "keep the current practice",
    Verdict.KEEP_AND_TEST: "keep the current practice, and test again",
}
NO_DECISION_WORDS = {
    "not_asked": translatable("The weight of heads was not analysed: the protocol does not ask for it."),
    "nothing_usable": translatable(
        "No marketable head was weighed, so nothing tells one treatment from another. If somebody knows what heads "
        "weighed, write it into heads.csv; else the trial has to be repeated."
    ),
    "no_practice_record": translatable(
        "There is no record of the current practice, so there is nothing to compare the others with. If somebody knows "
        "what became of its heads, write it into heads.csv; else the trial has to be repeated."
    ),
    "one_treatment": translatable(
        "The current practice alone has records, so there is nothing to compare it with. If somebody knows what became "
        "of the other heads, write it into heads.csv; else the trial has to be repeated."
    ),
    "practice_lost": translatable(
        "No head of the current practice became marketable, and too little is known of the others to recommend one of "
        "them. Write into heads.csv what became of their heads, or test them again."
    ),
    "too_open": translatable(
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
    return " ".join([gettext(NO_DECISION_WORDS[results.no_decision.code]), *nothing_left_words(results.losses, system)])


def after_costs(decision: Decision) -> str:
    """What is said of a gain where costs were taken off."""
    return "" if decision.unit == "g per transplanted head" else " after costs"


def what_to_do(decision: Decision, system: MeasureSystem = BOTH) -> str:
    """The verdict, what to grow, what is expected of it, and losses."""
    return " ".join(_what_to_do(decision, system))


def _what_to_do(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    current, other = (treatment_words(one, system) for one in (decision.current, decision.alternative))
    gain = decision.shown.gain
    assert gain is not None  # only the current practice has none
    difference = _difference(gain, system)
    if decision.verdict.changes:
        yield (
            gettext("Change the default to {treatment}.", treatment=other)
            if decision.verdict.is_settled
            else gettext("Change the default to {treatment}, and test again.", treatment=other)
        )
        yield gettext("Gardeners now use {treatment}, the current practice.", treatment=current)
        yield gettext(
            "With the change we expect {difference} of each transplanted head, on average over gardens and seasons.",
            difference=difference,
        )
        yield _left_open(decision, gain, system)
        yield from _worth_more(decision, gain)
    else:
        yield (
            gettext("Keep the current practice, {treatment}.", treatment=current)
            if decision.verdict.is_settled
            else gettext("Keep the current practice, {treatment}, and test again.", treatment=current)
        )
        yield gettext("The best alternative is {treatment}.", treatment=other)
        yield gettext(
            "With it we expect {difference} of each transplanted head, on average over gardens and seasons.",
            difference=difference,
        )
        yield _left_open(decision, gain, system)
        yield from _not_worth_a_change(decision, system)
    yield from _failed(decision)
    yield from _shares(decision)
    yield from _days(decision)


def _not_worth_a_change(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    if decision.shown.expected_value > decision.chosen.expected_value:
        cost = least_weight(decision.thresholds.change_cost_g, system)
        yield (
            gettext("A change must bring more than {weight} after costs to be worth it.", weight=cost)
            if after_costs(decision)
            else gettext("A change must bring more than {weight} to be worth it.", weight=cost)
        )


def _worth_more(decision: Decision, gain: Gain) -> Iterator[str]:
    """Say why a lighter head is worth a change."""
    if after_costs(decision) and gain.estimate < 0:
        yield gettext("After costs it is worth more.")


def gain_in_short(decision: Decision, system: MeasureSystem = BOTH) -> tuple[str, str]:
    """What a change brings, for a card: the gain, then its interval and what goes with it."""
    gain = decision.shown.gain
    assert gain is not None  # only the current practice has none
    return f"{_difference(gain, system)} a head", " ".join(_with_the_gain(decision, gain, system))


def _with_the_gain(decision: Decision, gain: Gain, system: MeasureSystem) -> Iterator[str]:
    if decision.verdict.changes:
        yield f"{_than(gain, system)} with the current practice."
        yield _left_open(decision, gain, system)
        yield from _worth_more(decision, gain)
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
        return gettext("as much")
    weight = head_weight(abs(gain.estimate), system)
    return gettext("{weight} more", weight=weight) if gain.estimate > 0 else gettext("{weight} less", weight=weight)


def _than(gain: Gain, system: MeasureSystem) -> str:
    """Join a gain to what it is compared with."""
    return "as" if head_amount(gain.estimate, system.measures) == 0 else "than"


def _left_open(decision: Decision, gain: Gain, system: MeasureSystem) -> str:
    """Say an interval, and what an interval is."""
    return gettext(
        "The records leave open {limits} ({number} % interval).",
        limits=_limits(gain, system),
        number=in_figures(f"{decision.thresholds.confidence * 100:g}"),
    )


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
        less, more = (f"{number(end, 9)} {unit}" for end in (-low, high))
        return gettext("{less} less to {more} more", less=less, more=more)
    least, most = (number(end, 9) for end in sorted((abs(low), abs(high))))
    most = f"{most} {unit}"
    if high > 0:
        return gettext("{least} to {most} more", least=least, most=most)
    return gettext("{least} to {most} less", least=least, most=most)


def _failed(decision: Decision) -> Iterator[str]:
    """Gardens that lost everything."""
    if decision.evidence.failed_gardens:
        where = listed(decision.evidence.failed_gardens)
        yield gettext("No head became marketable at {gardens}. What we expect allows for such a loss.", gardens=where)


def _shares(decision: Decision) -> Iterator[str]:
    """A treatment that loses more or fewer."""
    now, then = decision.candidate(decision.current).share_usable, decision.shown.share_usable
    if abs(then - now) < NOTABLE_SHARE:
        return
    if then > now:
        yield gettext(
            "More heads become marketable with it: {then} are expected to, against {now} now.",
            then=in_percent(then),
            now=in_percent(now),
        )
    else:
        yield gettext(
            "Fewer heads become marketable with it: {then} are expected to, against {now} now.",
            then=in_percent(then),
            now=in_percent(now),
        )


def _days(decision: Decision) -> Iterator[str]:
    later = decision.days_later
    if decision.verdict.changes and later is not None and abs(later) >= NOTABLE_DAYS:
        days = number(abs(later), 2)
        yield (
            gettext("It is ready about {days} days later.", days=days)
            if later > 0
            else gettext("It is ready about {days} days sooner.", days=days)
        )


def how_sure(decision: Decision, system: MeasureSystem = BOTH) -> str:
    """Both chances, and what is given up."""
    (better, better_words), (near, near_words) = chances(decision, system)
    both = gettext(
        "The chance {better_words}, is {better}. The chance {near_words} is {near}.",
        better_words=better_words,
        better=chance(better),
        near_words=near_words,
        near=chance(near),
    )
    return f"{both} {settled_words(decision)} {given_up(decision, system)}"


def chances(decision: Decision, system: MeasureSystem = BOTH) -> tuple[tuple[float, str], tuple[float, str]]:
    """Two different chances, each with what it is of: better than what is said now, and near the best of all."""
    near = _near_words(decision, system)
    return (
        (decision.shown.probability_better or 0.0, _better_words(decision)),
        (
            decision.chosen.probability_near_best,
            gettext("that it is {near}", near=near)
            if decision.verdict.changes
            else gettext("that the current practice is {near}", near=near),
        ),
    )


def _better_words(decision: Decision) -> str:
    """Name what the first chance is of."""
    match decision.verdict.changes, bool(after_costs(decision)):
        case True, False:
            return gettext("that it is better than the current practice, in a new garden and season")
        case True, True:
            return gettext("that it is better after costs than the current practice, in a new garden and season")
        case False, False:
            return gettext("that the best alternative is better than the current practice, in a new garden and season")
        case _:
            return gettext(
                "that the best alternative is better after costs than the current practice, in a new garden and season"
            )


def _near_words(decision: Decision, system: MeasureSystem) -> str:
    """Say what near the best is; without a margin it is as good as that."""
    margin, has_costs = decision.thresholds.margin_g, bool(after_costs(decision))
    least = least_weight(margin, system)
    match bool(margin), has_costs:
        case True, False:
            return gettext("near the best that was tried (within {weight} a head)", weight=least)
        case True, True:
            return gettext("near the best that was tried (within {weight} a head after costs)", weight=least)
        case False, False:
            return gettext("as good as the best that was tried")
        case _:
            return gettext("as good as the best that was tried after costs")


def settled_words(decision: Decision) -> str:
    """From which chance the protocol calls an answer settled, and whether this one is."""
    asked = asked_chance(decision.thresholds.adopt_probability)
    rule = gettext("An answer is settled once its chance of being near the best is {chance}.", chance=asked)
    if decision.verdict.is_settled:
        found = gettext("This one is settled.")
    elif chance(decision.chosen.probability_near_best) == asked:
        found = gettext("This one falls just short.")
    else:
        found = gettext("This one falls short.")
    return f"{rule} {found}"


def given_up(decision: Decision, system: MeasureSystem = BOTH) -> str:
    """What the choice gives up on average."""
    loss = decision.chosen.expected_loss
    if decision.unit == "currency a bucket":
        amount = gettext("{amount} a bucket {in_money}", amount=number(loss, 2), in_money=gettext(MONEY))
    elif head_amount(loss, system.measures):
        amount = gettext("{weight} a head", weight=head_weight(loss, system))
    else:
        least = in_figures("0.1 oz") if system.measures == "kitchen" else "1 g"
        amount = gettext("less than {weight} a head", weight=least)
    return gettext("On average we give up {amount}, because another treatment may truly be the best.", amount=amount)


def what_it_rests_on(decision: Decision, system: MeasureSystem = BOTH) -> str:
    """What stood in just this choice, all that went into the model, and heads without a record."""
    return " ".join(_rests_on(decision, system))


def _rests_on(decision: Decision, system: MeasureSystem) -> Iterator[str]:
    stood = decision.chosen.stood
    buckets, gardens = _buckets_and_gardens(stood)
    if not stood.buckets:
        yield dose_tried(decision, system)
    elif decision.evidence.trials > 1 and stood.trials > 1:
        yield gettext(
            "Just this treatment stood in {buckets} at {gardens} in {number} trials.",
            buckets=buckets,
            gardens=gardens,
            number=stood.trials,
        )
    else:
        yield gettext("Just this treatment stood in {buckets} at {gardens}.", buckets=buckets, gardens=gardens)
    yield _all(decision.evidence)
    for one in decision.tipping:
        yield _tipping(one, decision, system)
    yield from all_lost_words(decision, system)


def _all(evidence: Evidence) -> str:
    buckets, gardens = _buckets_and_gardens(evidence)
    seasons = [season_words(one) for one in evidence.seasons]
    if evidence.trials > 1 and len(set(seasons)) > 1:
        return gettext(
            "In all, the answer rests on {buckets} at {gardens} in {number} trials, {first} to {last}.",
            buckets=buckets,
            gardens=gardens,
            number=evidence.trials,
            first=seasons[0],
            last=seasons[-1],
        )
    if evidence.trials > 1:
        return gettext(
            "In all, the answer rests on {buckets} at {gardens} in {number} trials.",
            buckets=buckets,
            gardens=gardens,
            number=evidence.trials,
        )
    if seasons:
        return gettext(
            "In all, the answer rests on {buckets} at {gardens} in {season}.",
            buckets=buckets,
            gardens=gardens,
            season=seasons[0],
        )
    return gettext("In all, the answer rests on {buckets} at {gardens}.", buckets=buckets, gardens=gardens)


def _buckets_and_gardens(stood: Stood | Evidence) -> tuple[str, str]:
    return count(stood.buckets, "bucket", "buckets"), count(stood.gardens, "garden", "gardens")


def _tipping(point: TippingPoint, decision: Decision, system: MeasureSystem) -> str:
    """What would have to be true of heads without a record for the choice to turn."""
    have = ngettext(
        "{number} head of {treatment} has no record.",
        "{number} heads of {treatment} have no record.",
        point.unrecorded,
        treatment=treatment_words(point.treatment, system),
    )
    if point.turns_at is None:
        stays = ngettext(
            "Whatever became of it, the answer stays.",
            "Whatever became of them, the answer stays.",
            point.unrecorded,
        )
        return f"{have} {stays}"
    turns = in_percent(point.turns_at)
    known = gettext("Of those with a record, {share} were.", share=in_percent(point.share_recorded))
    if point.treatment == decision.recommended:
        would = gettext("If {turns} of them or fewer were marketable, the answer would change.", turns=turns)
    else:
        would = gettext("If {turns} of them or more were marketable, the answer would change.", turns=turns)
    return f"{have} {would} {known}"


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
