"""What is said of a decision: the sentences that are read aloud, and what they must not claim."""

from dataclasses import replace

import numpy as np
import pytest

from small_decision import EVIDENCE, IN_MONEY, TREATMENTS, decide
from trialkit.documents.findings import Choice, Evidence, Influence, Verdict, WithoutBucket
from trialkit.domain.treatment import Treatment
from trialkit.words.decision_words import influence_words, scope, sentences, would_change
from trialkit.words.measures import MeasureSystem


def test_adopt() -> None:
    """The change, its gain with the interval, and its chance."""
    first, second = sentences(decide([80, 100, 140], 5))
    assert "40 g more" in first
    assert "30 to 50 g" in first
    assert "more than 99 in 100" in second


def test_take_the_cheaper() -> None:
    """Where and why it is cheaper, and for how little a difference the chance is."""
    decision = decide([100, 100, 95], 2)
    first, second = sentences(decision)
    assert "which uses less nutrient and yields as much" in first
    assert "less than 10 g per transplanted head in a new garden of this programme" in second
    assert "differ by less than 10 g per transplanted head fell below 90 in 100" in would_change(decision)[0]


def test_retest() -> None:
    """The trial has not settled it, and the next one's size is said."""
    decision = decide([80, 100, 112], 12)
    assert "not settled" in sentences(decision)[0]
    assert decision.next_trial is not None
    assert f"A trial of {decision.next_trial.buckets} buckets of Fenleaf with 6" in would_change(decision)[1]


def test_interval_must_exclude_a_loss() -> None:
    """Where the chance is reached, the interval is what is lacking."""
    assert "does not exclude a loss" in sentences(decide([80, 100, 122], 12, margin_g=0.0))[1]


def test_a_practice_that_fails_is_given_up() -> None:
    """That the practice's heads cannot be eaten is why."""
    decision = decide([120, 12, 100], 2, usable=(1.0, 0.1, 1.0))
    assert "100 % of its heads were marketable, against 10 %" in sentences(decision)[0]


@pytest.mark.parametrize("missing", [(0.5, 0.0, 0.0), (0.0, 0.5, 0.5)])
def test_records_that_cannot_be_compared(missing: tuple[float, ...]) -> None:
    """A candidate with much more, or less, complete records than the practice is named."""
    assert any("have no record" in line for line in scope(decide([140, 100, 80], 5, unrecorded=missing)))


def test_no_alternative_has_records() -> None:
    """Where no alternative's records can be compared, no chance is claimed."""
    decision = decide([120, 100, 140], 5, unrecorded=(0.5, 0.0, 0.75))
    first, second = sentences(decision)
    assert "records of every alternative" in first
    assert "no chance is given" in second
    assert would_change(decision) == ("The records that are missing.",)


def test_a_treatment_that_gave_nothing_is_named() -> None:
    """A treatment without a record is no candidate, and the page says so."""
    decision = decide([80, 100, 140], 5, evidence=replace(EVIDENCE, unrecorded=(Treatment("Mossridge"),)))
    assert "There is no record of Mossridge, so it was not considered." in scope(decision)


def test_the_practice_may_lead() -> None:
    """Where the current practice has the greatest mean, what would change the answer names another."""
    decision = decide([92, 100, 95], 3)
    assert "6 level teaspoons" in would_change(decision)[0]
    assert "6 level teaspoons" in sentences(decision)[1]


@pytest.mark.parametrize(
    ("evidence", "place"),
    [
        (Evidence(12, 1), "in the garden of this trial"),
        (Evidence(12, 2), "in the gardens of this trial"),
        (Evidence(12, 3), "in a new garden of this programme"),
        (Evidence(12, 3, confounded=True), "on average over gardens like these"),
    ],
)
@pytest.mark.parametrize("means", [[80, 100, 140], [100, 100, 95], [60, 100, 95], [80, 100, 112]])
def test_no_sentence_reaches_beyond_the_gardens(evidence: Evidence, place: str, means: list[float]) -> None:
    """Each verdict claims its chance for the place that the trial can speak of, and for no other."""
    decision = decide(means, 3 if means[2] != 112 else 12, evidence=evidence)
    assert place in sentences(decision)[1]
    words = " ".join((*sentences(decision), *would_change(decision)))
    assert ("new garden" in words) == ("new garden" in place)


def test_nearly_sure_is_said_so() -> None:
    """A chance that rounds to what the protocol asks for is not said to fall short of itself."""
    decision = decide([80, 100, 113.80], 3.0 / np.sqrt(2), margin_g=10.0)
    probability = decision.candidates[2].probability_better
    assert probability is not None
    assert 0.895 <= probability < 0.9
    assert "90 in 100, just short of the 90 in 100" in sentences(decision)[1]


def test_a_gain_that_is_not_of_weight() -> None:
    """A lighter head that is ready a fortnight sooner: both are said, and that costs were taken off."""
    worth = replace(IN_MONEY, per_day=0.1)
    decision = decide([80, 100, 96], 1, worth=worth, days=[40.0, 40.0, 26.0], price_per_kg=10.0)
    first, second = sentences(decision)
    assert "4 g less" in first
    assert "ready 14 days sooner" in first
    assert "after costs" in second
    assert "after costs" in would_change(decision)[0]


def test_a_cheaper_one_that_is_later_says_so() -> None:
    """Taking a smaller dose that yields as much, the reader is told that it takes longer."""
    assert "it was ready 12 days later" in sentences(decide([100, 100, 95], 2, days=[52.0, 40.0, 40.0]))[0]


def test_what_is_lacking_is_what_would_change_the_answer() -> None:
    """Where the chance is reached but the interval is not, more of the same chance is not asked for."""
    decision = decide([80, 100, 122], 12, margin_g=0.0)
    assert "gains anything in a new garden" in sentences(decision)[1]
    lacking, *more = would_change(decision)
    assert lacking == (
        "More gardens or buckets, so that the interval of the gain from Fenleaf with 6 level teaspoons of nutrient a "
        "bucket excludes a loss."
    )
    assert [line.split()[:2] for line in more] == [["A", "trial"]]


@pytest.mark.parametrize(("sites", "said"), [(3, True), (7, True), (8, False)])
def test_few_gardens_are_said_to_make_chances_too_high(sites: int, said: bool) -> None:
    """How much effects differ between gardens is poorly known from a handful, and the page says what follows."""
    decision = decide([80, 100, 140], 5, evidence=replace(EVIDENCE, sites=sites))
    assert any("somewhat too high" in line for line in scope(decision)) == said


def test_without_a_price_of_lettuce() -> None:
    """Value is head weight alone; costs in a protocol without a price weigh nothing, and the page says so."""
    assert any("valued by what a transplanted head yields alone" in line for line in scope(decide([80, 100, 140], 5)))
    costly = decide([80, 100, 140], 5, delay_cost_per_day=0.02)
    assert any("without a price nothing weighs them" in line for line in scope(costly))


def test_costs_that_are_not_known_are_said() -> None:
    """A nutrient or an acid without a price, and waiting that could not be analysed, are not counted."""
    worth = replace(IN_MONEY, uncounted=("nutrient", "acid", "waiting"))
    said = scope(decide([80, 100, 140], 5, worth=worth, price_per_kg=10.0))
    assert "Seed and labour are not counted." in said
    assert any("nutrient and acid is not counted" in line for line in said)
    assert any("Waiting is not counted" in line for line in said)


@pytest.mark.parametrize(
    ("evidence", "said"),
    [
        (Evidence(24, 4, ("autumn 2026",)), "24 buckets at 4 gardens in autumn 2026."),
        (Evidence(24, 1), "24 buckets at 1 garden."),
        (Evidence(24, 4, trials=1), "24 buckets at 4 gardens in one trial."),
        (Evidence(24, 4, ("spring 2026", "autumn 2026"), 2), "in 2 trials, spring 2026 to autumn 2026."),
        (Evidence(24, 4, ("spring 2026",), 2), "24 buckets at 4 gardens in 2 trials."),
    ],
)
def test_what_the_answer_rests_on(evidence: Evidence, said: str) -> None:
    """Buckets, gardens, and the season or the trials."""
    assert sentences(decide([80, 100, 140], 5, evidence=evidence))[1].endswith(said)


@pytest.mark.parametrize("means", [[80, 100, 140], [100, 100, 95], [60, 100, 95], [80, 100, 112]])
def test_measures_switch_every_sentence(means: list[float]) -> None:
    """Where a spoonful was weighed, no teaspoon is left in metric measures, and both are given where both are asked."""
    decision = decide(means, 3 if means[2] != 112 else 12, unrecorded=(0.0, 0.0, 0.0))
    kitchen, metric, both = (
        " ".join((*sentences(decision, system), *would_change(decision, system), *scope(decision, system)))
        for system in (MeasureSystem("kitchen", 4.8), MeasureSystem("metric", 4.8), MeasureSystem("both", 4.8))
    )
    assert "level teaspoons" in kitchen
    assert "teaspoon" not in metric
    assert "19.2 g of nutrient a bucket" in metric
    assert "4 level teaspoons (19.2 g) of nutrient a bucket" in both


def test_a_dose_that_was_not_weighed_stays_in_spoons() -> None:
    """Grams are not made up."""
    decision = decide([80, 100, 140], 5)
    assert sentences(decision, MeasureSystem("metric")) == sentences(decision)


def test_single_buckets() -> None:
    """A bucket that turns the verdict, and one that turns only what is recommended, are named."""
    other = WithoutBucket("A2", "s1", TREATMENTS[0], 1.0, Choice(Verdict.ADOPT, TREATMENTS[2]))
    same = WithoutBucket("B3", "s2", TREATMENTS[1], 1.0, Choice(Verdict.KEEP, TREATMENTS[0]))
    fine = WithoutBucket("C4", "s2", TREATMENTS[1], 1.0, None)
    said = influence_words(Influence(2.0, (other, same, fine), more=True, ok=False), Verdict.KEEP)
    assert said == (
        "Without bucket A2 at s1 (Fenleaf with 2 level teaspoons of nutrient a bucket) the verdict would be “change "
        "the default”, with Fenleaf with 6 level teaspoons of nutrient a bucket. Without bucket B3 at s2 (Fenleaf with "
        "4 level teaspoons of nutrient a bucket) it would recommend Fenleaf with 2 level teaspoons of nutrient a "
        "bucket. Others may do so too: only those that move it most were looked at."
    )
    assert influence_words(Influence(2.0, (fine,), more=False, ok=True), Verdict.KEEP) == (
        "No single bucket decides the verdict: with any one left out, it would be the same."
    )
