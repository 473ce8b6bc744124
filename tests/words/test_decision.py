"""What is said of a decision: the sentences that are read aloud, and what they must not claim."""

from dataclasses import replace
from typing import get_args, get_type_hints

import pytest

from small_decision import BETWEEN, EVIDENCE, LEAST, MOST, PRACTICE, THRESHOLDS, decide
from trialkit.documents.decision import Decision, Evidence, Gain, NoDecision, Stood, TippingPoint, Verdict
from trialkit.domain.treatment import Treatment
from trialkit.words.decision_words import (
    NO_DECISION_WORDS,
    VERDICT_WORDS,
    chances,
    given_up,
    scope,
    sentences,
    what_it_rests_on,
    what_to_do,
    would_change,
)
from trialkit.words.measures import MeasureSystem

SMALL = Gain(2.0, -12.2, 14.9)
IN_MONEY = "currency a bucket"


def every_sentence(decision: Decision, system: MeasureSystem) -> str:
    """All that is said of a decision."""
    return " ".join((*sentences(decision, system), *would_change(decision, system), *scope(decision, system)))


def test_a_change() -> None:
    """The change, its gain with the interval, both chances, what is given up, and what it rests on."""
    assert sentences(decide()) == (
        "Change the default to Fenleaf with 6 level teaspoons of nutrient a bucket. Gardeners now use Fenleaf with "
        "4 level teaspoons of nutrient a bucket, the current practice. With the change we expect 35 g more of each "
        "transplanted head, on average over gardens and seasons. The records leave open 5 to 61 g more (95 % "
        "interval).",
        "The chance that it is better than the current practice, in a new garden and season, is 95 in 100. The chance "
        "that it is near the best that was tried (within 10 g a head) is 92 in 100. An answer is settled once its "
        "chance of being near the best is 90 in 100. This one is settled. On average we give up 3 g a head, because "
        "another treatment may truly be the best.",
        "Just this treatment stood in 16 buckets at 4 gardens. In all, the answer rests on 48 buckets at 4 gardens in "
        "autumn 2026.",
    )


def test_a_change_that_is_to_be_tested_again() -> None:
    """It says so at once, and by how much the chance falls short."""
    decision = decide(Verdict.CHANGE_AND_TEST, near_best=0.77)
    what, sure, _ = sentences(decision)
    assert what.startswith("Change the default to Fenleaf with 6 level teaspoons of nutrient a bucket, and test again.")
    assert "77 in 100. An answer is settled once its chance of being near the best is 90 in 100. This one falls" in sure
    assert "77 in 100 now. From 90 in 100 on, no further test is asked for." in would_change(decision)[0]


def test_a_practice_that_is_kept() -> None:
    """The chance of being better is of the best of the others, that of being near the best of the practice."""
    what, sure, _ = sentences(decide(Verdict.KEEP, gain=Gain(-9.0, -28.0, -2.0), better=0.2))
    assert what == (
        "Keep the current practice, Fenleaf with 4 level teaspoons of nutrient a bucket. The best alternative is "
        "Fenleaf with 6 level teaspoons of nutrient a bucket. With it we expect 9 g less of each transplanted head, on "
        "average over gardens and seasons. The records leave open 2 to 28 g less (95 % interval)."
    )
    assert "The chance that the best alternative is better than the current practice" in sure
    assert "The chance that the current practice is near the best that was tried (within 10 g a head)" in sure


def test_a_gain_that_is_not_worth_a_change() -> None:
    """A practice that is kept though another is expected to give a little more."""
    decision = decide(Verdict.KEEP_AND_TEST, gain=SMALL, near_best=0.6)
    assert "we expect 2 g more of each transplanted head" in what_to_do(decision)
    assert "The records leave open 12 g less to 15 g more (95 % interval)." in what_to_do(decision)
    assert "A change must bring more than 3 g to be worth it." in what_to_do(decision)
    assert any("asks that a change bring more than 3 g a head" in line for line in would_change(decision))


def test_no_gain_at_all() -> None:
    """A gain that rounds to nothing is neither more nor less."""
    assert "we expect as much of each transplanted head" in what_to_do(decide(Verdict.KEEP, gain=Gain(0.2, -5.0, 6.0)))


@pytest.mark.parametrize("verdict", Verdict)
def test_no_verdict_is_called_adopting(verdict: Verdict) -> None:
    """Each verdict has words of its own, and its sentences claim nothing for certain."""
    said = f"{VERDICT_WORDS[verdict]} {every_sentence(decide(verdict), MeasureSystem())}"
    assert "adopt" not in said
    assert "expect" in said
    assert len(set(VERDICT_WORDS.values())) == len(Verdict)


def test_losses_stand_in_the_first_paragraph() -> None:
    """A garden that lost everything, and a treatment of which fewer heads become marketable."""
    failed = replace(EVIDENCE, failed_gardens=("STAT", "MILL"))
    said = what_to_do(decide(usable=(0.94, 0.8), evidence=failed))
    assert "No head became marketable at STAT and MILL" in said
    assert "Fewer heads become marketable with it: 80 % are expected to, against 94 % now." in said
    assert "More heads become marketable with it" in what_to_do(decide(usable=(0.1, 1.0)))
    assert "become marketable" not in what_to_do(decide(usable=(0.9, 0.88)))


def test_days() -> None:
    """A change that takes longer says so; a day's part is not worth a word, nor is another treatment's lateness."""
    assert "It is ready about 12 days later." in what_to_do(decide(days_later=12.0))
    assert "It is ready about 3.7 days sooner." in what_to_do(decide(days_later=-3.68))
    for silent in (decide(days_later=0.4), decide(), decide(Verdict.KEEP, days_later=5.0)):
        assert "ready" not in what_to_do(silent)


def test_nearly_sure_is_said_so() -> None:
    """A chance that rounds to what the protocol asks for is not said to fall short of itself."""
    said = sentences(decide(Verdict.CHANGE_AND_TEST, near_best=0.8996))[1]
    assert "is 90 in 100. An answer is settled once its chance of being near the best is 90 in 100." in said
    assert "This one falls just short." in said


def test_a_margin_of_nothing() -> None:
    """Without a margin the second chance is that of being the best."""
    (_, (_, near)) = chances(decide(thresholds=replace(THRESHOLDS, margin_g=0.0)))
    assert near == "that it is as good as the best that was tried"


def test_after_costs() -> None:
    """A lighter head that is worth more: costs are said to be taken off, and money is not called grams."""
    thresholds = replace(THRESHOLDS, price_per_kg=10.0)
    decision = decide(gain=Gain(-4.0, -9.0, 2.0), unit=IN_MONEY, thresholds=thresholds, expected_loss=0.123)
    what, sure, _ = sentences(decision)
    assert "we expect 4 g less of each transplanted head" in what
    assert "After costs it is worth more." in what
    assert "better after costs than the current practice" in sure
    assert given_up(decision).startswith("On average we give up 0.12 a bucket in the currency of the prices")


def test_what_is_given_up_is_no_false_precision() -> None:
    """Less than a gram is said to be that."""
    assert "give up less than 1 g a head" in given_up(decide(expected_loss=0.3))


def test_a_dose_between_those_tried() -> None:
    """It is said not to have been tried itself, and between which doses it lies."""
    said = what_it_rests_on(decide(other=BETWEEN, stood=Stood(0, 0, 0)))
    assert said.startswith(
        "No bucket had the dose of 5 level teaspoons. It lies between 4 level teaspoons and 6 level teaspoons, which "
        "were tried. In all, the answer rests on 48 buckets"
    )


def test_a_combination_that_was_not_tried() -> None:
    """A treatment whose parts were tried in others only is said to be that."""
    untried = Treatment("Mossridge", None, "none")
    said = what_it_rests_on(decide(other=untried, stood=Stood(0, 0, 0), dose=None))
    assert said.startswith("No bucket had just this treatment, Mossridge with no acid.")


@pytest.mark.parametrize(
    ("evidence", "said"),
    [
        (EVIDENCE, "In all, the answer rests on 48 buckets at 4 gardens in autumn 2026."),
        (replace(EVIDENCE, gardens=1, seasons=()), "rests on 48 buckets at 1 garden."),
        (Evidence(90, 9, 2, ("spring 2026", "autumn 2026"), ()), "9 gardens in 2 trials, spring 2026 to autumn 2026."),
        (Evidence(90, 9, 2, ("spring 2026",), ()), "90 buckets at 9 gardens in 2 trials."),
    ],
)
def test_what_the_answer_rests_on(evidence: Evidence, said: str) -> None:
    """All buckets and gardens, and the season or the trials."""
    assert said in what_it_rests_on(decide(evidence=evidence))


def test_what_stood_is_counted_over_trials() -> None:
    """Just this treatment, apart from all that went into the calculation."""
    evidence = replace(EVIDENCE, trials=3)
    said = what_it_rests_on(decide(stood=Stood(24, 6, 2), evidence=evidence))
    assert said.startswith("Just this treatment stood in 24 buckets at 6 gardens in 2 trials. In all, the answer")


def test_heads_without_a_record() -> None:
    """What would have to be true of them for the choice to turn, or that nothing would turn it."""
    turning = (TippingPoint(MOST, 12, 0.95, 0.3), TippingPoint(PRACTICE, 1, 0.9, None))
    decision = decide(tipping=turning)
    said = what_it_rests_on(decision)
    first = "12 heads of Fenleaf with 6 level teaspoons of nutrient a bucket have no record. If 30 % of them or fewer"
    assert first in said
    assert "Of those with a record, 95 % were." in said
    assert "1 head of Fenleaf with 4 level teaspoons of nutrient a bucket has no record. Whatever became of it," in said
    assert sum("no record" in line for line in would_change(decision)) == 1
    other = decide(tipping=(TippingPoint(PRACTICE, 5, 0.5, 0.8),))
    assert "If 80 % of them or more were marketable" in what_it_rests_on(other)


def test_what_would_change_the_answer() -> None:
    """The threshold, the trial to run with its likeliest rivals, larger doses, and other priors."""
    threshold, trial, larger, priors = would_change(decide(other_priors=(LEAST, LEAST)))
    assert threshold.startswith(
        "The chance of being near the best is 92 in 100 now. New records that bring it below 90"
    )
    assert "Grow it beside Fenleaf with 2 level teaspoons of nutrient a bucket. Grow it beside Fenleaf with 4" in trial
    assert larger.endswith("the largest that was tried, 6 level teaspoons.")
    assert priors.endswith("twice as much it would be Fenleaf with 2 level teaspoons of nutrient a bucket.")
    assert not any("larger doses" in line for line in would_change(decide(Verdict.KEEP)))


def test_a_trial_of_two_treatments_names_the_other() -> None:
    """Where two were tried, the test to run is of the one beside the other."""
    decision = decide()
    two = replace(decision, candidates=tuple(one for one in decision.candidates if one.treatment != LEAST))
    assert "this is the most likely to be near the best" in would_change(two)[1]


@pytest.mark.parametrize(("gardens", "said"), [(1, "Only one garden gave records."), (2, "Only two gardens"), (3, "")])
def test_few_gardens(gardens: int, said: str) -> None:
    """With one or two, how much gardens differ comes from the priors, and the page says so."""
    found = " ".join(scope(decide(evidence=replace(EVIDENCE, gardens=gardens))))
    assert said in found
    assert ("How much gardens differ" in found) == bool(said)


@pytest.mark.parametrize(("trials", "said"), [(1, True), (2, False)])
def test_one_season(trials: int, said: bool) -> None:
    """One trial never claims what it cannot know of seasons."""
    found = scope(decide(evidence=replace(EVIDENCE, trials=trials)))
    assert any("This was one season" in line for line in found) == said


def test_without_a_price_of_lettuce() -> None:
    """Value is weight alone; costs in a protocol without a price weigh nothing, and the page says so."""
    assert any("compared by weight alone" in line for line in scope(decide()))
    costly = decide(thresholds=replace(THRESHOLDS, delay_cost_per_day=0.02))
    assert any("because that takes a price of lettuce" in line for line in scope(costly))


def test_costs_that_are_not_known_are_said() -> None:
    """A nutrient or an acid without a price, and waiting that could not be analysed, are not counted."""
    said = scope(decide(unit=IN_MONEY, uncounted=("nutrient", "acid", "waiting")))
    assert "Seed and labour are not counted." in said
    assert any("nutrient and acid is not counted" in line for line in said)
    assert any("Waiting is not counted" in line for line in said)


@pytest.mark.parametrize("verdict", Verdict)
def test_measures_switch_every_sentence(verdict: Verdict) -> None:
    """Where a spoonful was weighed, no teaspoon is left in metric measures, and both are given where both are asked."""
    tipping, priors = (TippingPoint(MOST, 12, 0.95, 0.3),), (LEAST,)
    decision = decide(verdict, other=BETWEEN, stood=Stood(0, 0, 0), tipping=tipping, other_priors=priors)
    kitchen, metric, both = (every_sentence(decision, MeasureSystem(way, 4.8)) for way in ("kitchen", "metric", "both"))
    assert "level teaspoons" in kitchen
    assert "teaspoon" not in metric
    assert "19.2 g of nutrient a bucket" in metric
    assert "4 level teaspoons (19.2 g) of nutrient a bucket" in both


def test_heads_in_ounces_where_only_kitchen_measures_are_asked_for() -> None:
    """Gains, limits, margins and costs: an ounce is 28.349523125 g (international avoirdupois pound, 1959)."""
    said = " ".join(sentences(decide(), MeasureSystem("kitchen")))
    assert "we expect 1.2 oz more" in said
    assert "leave open 0.2 to 2.2 oz more" in said
    assert "within 0.35 oz a head" in said
    assert "give up 0.1 oz a head" in said
    kept = decide(Verdict.KEEP, gain=Gain(-9.0, -28.0, 14.9), better=0.2)
    assert "leave open 1 oz less to 0.5 oz more" in what_to_do(kept, MeasureSystem("kitchen"))
    assert "oz" not in every_sentence(decide(), MeasureSystem("both"))


def test_a_dose_that_was_not_weighed_stays_in_spoons() -> None:
    """Grams are not made up."""
    decision = decide()
    assert sentences(decision, MeasureSystem("metric")) == sentences(decision)


def test_every_reason_for_no_decision_has_words() -> None:
    """Each code of the document, and no other."""
    assert set(NO_DECISION_WORDS) == set(get_args(get_type_hints(NoDecision)["code"]))
