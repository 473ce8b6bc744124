"""Advice from records whose truth is known, and what it does where records are few, odd, or missing."""

from dataclasses import replace
from typing import get_args

import numpy as np
import pandas as pd
import pytest

from small_records import HEADS, small_question, small_records, with_days
from trialkit.advice.gathering import BucketRecords
from trialkit.advice.priors import WEIGHT_G
from trialkit.advice.weights import rescaled, weigh
from trialkit.analysis.advising import SAME_VALUE_G, Advice, AdviceQuestion, advise
from trialkit.documents.decision import Decision, NoDecision, Variation, Verdict
from trialkit.documents.document import as_text, as_written
from trialkit.domain.treatment import Treatment


def curve(cultivar: str, dose: float) -> float:
    """The second cultivar is 25 g heavier; both gain 10 g from 4 teaspoons to 8."""
    return 120 + 25 * (cultivar == "B") + 2.5 * (dose - 4)


def flat(*_: object) -> float:
    """Nothing matters."""
    return 120.0


def plateau(_: str, dose: float) -> float:
    """Gains up to 5 teaspoons and none beyond."""
    return 60 + 16 * min(dose, 5.0)


def advised(records: BucketRecords, question: AdviceQuestion) -> Advice:
    """Advise where that can be done."""
    found = advise(records, question)
    assert isinstance(found, Advice), found
    return found


def decided(records: BucketRecords, question: AdviceQuestion) -> Decision:
    """Only the decision."""
    return advised(records, question).decision


def silent(records: BucketRecords, which: str) -> BucketRecords:
    """Take away what was recorded of some buckets, which were planned all the same."""
    mine = records.buckets.eval(which)
    buckets = records.buckets.assign(
        recorded=records.buckets["recorded"].mask(mine, 0),
        usable=records.buckets["usable"].mask(mine, 0),
        weight_g=records.buckets["weight_g"].mask(mine),
    )
    return replace(records, buckets=buckets)


@pytest.fixture(scope="module")
def clear() -> Advice:
    """Advice of a trial in which one cultivar is clearly better."""
    return advised(small_records(curve, gardens=6, blocks=3, seed=4), small_question())


def test_a_clear_gain_is_taken(clear: Advice) -> None:
    """The better cultivar at a dose that is truly within 10 g of the best, and it is told as what it gains."""
    decision = clear.decision
    assert decision.verdict.changes
    assert decision.recommended.cultivar == "B"
    truth = curve("B", float(decision.recommended.dose_tsp or 0.0))
    assert curve("B", 8.0) - truth <= 10
    gain = decision.chosen.gain
    assert gain is not None
    assert gain.lower <= 0.95 * (truth - curve("A", 4.0)) <= gain.upper
    assert gain.estimate == pytest.approx(decision.chosen.yield_g - decision.candidate(decision.current).yield_g)


def test_one_field_tells_what_is_recommended(clear: Advice) -> None:
    """One candidate is recommended, one is the practice, which has no gain over itself; the dose is on the curve."""
    decision = clear.decision
    assert [one.treatment for one in decision.candidates if one.is_recommended] == [decision.recommended]
    assert [one.treatment for one in decision.candidates if one.is_current] == [decision.current]
    practice = decision.candidate(decision.current)
    assert (practice.gain, practice.probability_better) == (None, None)
    assert decision.dose is not None
    (point,) = [one for one in decision.dose.points if one.dose_tsp == decision.recommended.dose_tsp]
    assert point.yield_g == pytest.approx(decision.chosen.yield_g)
    assert decision.dose.good_from_tsp <= point.dose_tsp <= decision.dose.good_to_tsp


def test_a_decision_is_read_as_it_was_written(clear: Advice) -> None:
    """Verdict, candidates, curve and spreads come back as what they were."""
    written = as_written(clear.decision)
    assert written == as_written(written)
    assert (written.verdict, written.recommended) == (clear.decision.verdict, clear.decision.recommended)


def test_the_same_records_give_the_same_bytes() -> None:
    """Nothing depends on when or how often it is asked; another seed moves chances a little, and the choice not."""
    records, question = small_records(curve), small_question()
    one, two = (as_text(decided(records, question)) for _ in range(2))
    assert one == two
    other = decided(records, replace(question, seed=2))
    assert as_text(other) != one
    assert other.recommended == decided(records, question).recommended


def test_rows_in_another_order_change_nothing_that_matters() -> None:
    """Buckets are no sequence: the answer is the same up to rounding."""
    records = small_records(curve)
    shuffled = records.buckets.sample(frac=1, random_state=1).reset_index(drop=True)
    one, other = (decided(one, small_question()) for one in (records, replace(records, buckets=shuffled)))
    assert one.recommended == other.recommended
    assert [c.yield_g for c in other.candidates] == pytest.approx([c.yield_g for c in one.candidates], rel=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_where_nothing_differs_little_is_given_up(seed: int) -> None:
    """With treatments alike in truth little is claimed: what is told is shrunk, not the best of many means."""
    decision = decided(small_records(flat, gardens=4, blocks=3, seed=seed), small_question(dose=4.0))
    shown = decision.chosen
    raw = [c.raw_yield_g for c in decision.candidates if c.raw_yield_g is not None]
    practice = decision.candidate(decision.current).raw_yield_g
    assert practice is not None
    claimed = shown.gain.estimate if shown.gain else 0.0
    assert claimed < 0.6 * (max(raw) - practice) + decision.thresholds.change_cost_g


def test_a_change_must_be_worth_its_cost() -> None:
    """The same records: with a cost of change above the gain the practice stays, and the rival is still shown."""
    records = small_records(curve, gardens=6, blocks=3)
    decision = decided(records, small_question(change_cost_g=60.0))
    assert not decision.verdict.changes
    assert decision.recommended == decision.current
    assert decision.alternative.cultivar == "B"
    assert decision.shown.gain is not None
    assert decision.shown.gain.estimate > 0


def test_settled_or_not_goes_by_the_nearness_to_the_best() -> None:
    """A verdict is settled exactly from the chance asked for of lying within the margin of the best."""
    records = small_records(curve)
    for margin, sure in ((2.0, 0.9), (40.0, 0.9), (10.0, 0.5), (10.0, 0.99)):
        decision = decided(records, small_question(margin_g=margin, adopt_probability=sure))
        assert decision.verdict.is_settled == (decision.chosen.probability_near_best >= sure)
        near = [one.probability_near_best for one in decision.candidates]
        assert all(0 <= one <= 1 for one in near)


def test_a_larger_margin_is_more_often_near_enough() -> None:
    """The chance of lying within the margin rises with it; what is given up on average does not depend on it."""
    records = small_records(curve)
    found = [decided(records, small_question(margin_g=margin)) for margin in (2.0, 10.0, 30.0)]
    chances = [one.chosen.probability_near_best for one in found]
    assert chances == sorted(chances)
    assert len({round(one.chosen.expected_loss, 9) for one in found}) == 1
    assert all(one.expected_loss >= 0 for one in found[0].candidates)


def test_no_dose_lies_outside_the_range_tried() -> None:
    """However steep the curve, nothing beyond the greatest dose is recommended, and the edge is said to be one."""
    decision = decided(small_records(lambda _, dose: 60 + 12 * dose, gardens=5), small_question(dose=2.0))
    assert decision.dose is not None
    doses = [point.dose_tsp for point in decision.dose.points]
    assert (min(doses), max(doses)) == (2.0, 8.0)
    assert decision.recommended.dose_tsp == 8.0
    assert decision.dose.at_edge


@pytest.mark.parametrize(
    ("doses", "step"), [((2.0, 4.0, 6.0, 8.0), 0.5), ((2.0, 3.0, 4.5), 0.25), ((2.0, 4.1, 6.0, 8.0), 0.5)]
)
def test_doses_are_those_tried_and_the_kitchens(doses: tuple[float, ...], step: float) -> None:
    """Half spoons over a wide range, quarter spoons over three teaspoons or fewer, and every dose tried."""
    records = small_records(plateau, doses=doses)
    decision = decided(records, small_question(dose=doses[1]))
    assert decision.dose is not None
    found = [point.dose_tsp for point in decision.dose.points]
    kitchen = np.arange(doses[0], doses[-1] + step / 2, step)
    assert found == pytest.approx(sorted({*kitchen.tolist(), *doses}))
    tried = {point.dose_tsp: point for point in decision.dose.points if point.buckets}
    assert set(tried) == set(doses)
    for dose, point in tried.items():
        mine = records.buckets[(records.buckets["dose"] == dose)]
        mine = mine[mine["cultivar"] == decision.recommended.cultivar]
        by_hand = (mine["weight_g"].fillna(0.0) * mine["usable"] / HEADS).mean()
        assert (point.raw_yield_g, point.buckets) == (pytest.approx(by_hand), len(mine))


def test_of_doses_that_are_alike_the_smallest_is_taken() -> None:
    """On a plateau the recommended dose is the smallest within a gram of the best of its cultivar and acid."""
    decision = decided(small_records(plateau, gardens=6, blocks=3), small_question(dose=2.0))
    assert decision.dose is not None
    best = max(point.value for point in decision.dose.points)
    good = [point.dose_tsp for point in decision.dose.points if point.value >= best - SAME_VALUE_G]
    assert decision.recommended.dose_tsp == min(good) == decision.dose.good_from_tsp
    assert max(good) == decision.dose.good_to_tsp
    assert plateau("A", 8.0) - plateau("A", float(decision.recommended.dose_tsp or 0.0)) <= 10


def test_a_dose_between_those_tried_stood_nowhere() -> None:
    """Only records of just this treatment are counted as its own."""
    decision = decided(small_records(plateau, gardens=6, blocks=3), small_question(dose=2.0))
    for one in decision.candidates:
        stood = one.stood
        if one.treatment.dose_tsp in (2.0, 4.0, 6.0, 8.0):
            assert (stood.buckets, stood.gardens, stood.trials) == (18, 6, 1)
            assert one.raw_yield_g is not None
        else:
            assert (stood.buckets, stood.gardens, stood.trials) == (0, 0, 0)
            assert one.raw_yield_g is None
    evidence = decision.evidence
    assert (evidence.buckets, evidence.gardens, evidence.trials) == (6 * 3 * 8, 6, 1)
    assert evidence.seasons == ("autumn 2026",)


def test_price_and_nutrient_make_the_dose_smaller() -> None:
    """A gain of 2.5 g a teaspoon and head is worth 0.1 a bucket at 10 a kilogram: dearer nutrient does not pay."""
    records = small_records(curve, gardens=6, blocks=3)
    free, dear = (decided(records, small_question(price_per_kg=10.0, price_per_tsp=cost)) for cost in (0.0, 0.4))
    assert free.unit == dear.unit == "currency a bucket"
    assert (dear.recommended.dose_tsp or 0.0) < (free.recommended.dose_tsp or 0.0)
    for one in dear.candidates:
        by_hand = one.yield_g * HEADS * 10 / 1000 - 0.4 * float(one.treatment.dose_tsp or 0.0)
        assert one.expected_value == pytest.approx(by_hand)


def test_waiting_has_a_price() -> None:
    """The heavier cultivar is ready ten days later: at 0.2 a day and bucket that costs more than 25 g a head bring."""
    records = with_days(small_records(curve, gardens=6, blocks=3), lambda cultivar, _: 40.0 + 10 * (cultivar == "B"))
    waiting = advised(records, small_question(price_per_kg=10.0, delay_cost_per_day=0.2))
    assert waiting.decision.recommended.cultivar == "A"
    free = decided(records, small_question(price_per_kg=10.0))
    assert free.recommended.cultivar == "B"
    # What a season does to cultivars is not known from one trial: something is left to chance.
    assert free.days_later == pytest.approx(10.0, abs=0.7)
    one = waiting.decision.candidate(waiting.decision.alternative)
    days = waiting.expected_days(one.treatment)
    assert days is not None
    assert days[0] == pytest.approx(50.0 if one.treatment.cultivar == "B" else 40.0, abs=0.7)
    assert one.expected_value == pytest.approx(one.yield_g * HEADS * 0.01 - 0.2 * days[0])


def test_days_of_what_has_none_are_not_told() -> None:
    """Where a cultivar, or doses beyond a limit, have no days, nothing is said of them, and waiting has no price."""
    records = with_days(small_records(curve, gardens=6, blocks=3), lambda *_: 40.0)
    assert records.days is not None
    told = records.days.buckets
    for where in (told["cultivar"] == "A", told["dose"] <= 4.0):
        few = replace(records, days=replace(records.days, buckets=told[where]))
        found = advised(few, small_question(price_per_kg=10.0, delay_cost_per_day=0.2))
        assert found.asked.prices.per_day == 0.0
        for candidate in found.asked.treatments:
            dose, days = float(candidate.dose_tsp or 0.0), found.expected_days(candidate)
            known = candidate.cultivar == "A" if told[where]["cultivar"].nunique() == 1 else dose <= 4.0
            assert (days is not None) == known
            assert days is None or days[0] == pytest.approx(40.0, abs=0.1)
    assert decided(replace(records, days=None), small_question()).days_later is None


def test_lost_heads_count_as_nothing() -> None:
    """A cultivar 25 g heavier that loses six heads in ten yields less, and the lighter one stays."""
    records = small_records(curve, gardens=6, blocks=3, usable={"A": 0.97, "B": 0.4})
    decision = decided(records, small_question())
    assert decision.recommended.cultivar == "A"
    heavier = next(one for one in decision.candidates if one.treatment == Treatment("B", 4.0))
    lighter = decision.candidate(decision.current)
    assert heavier.weight_g > lighter.weight_g
    assert heavier.yield_g < lighter.yield_g
    assert heavier.share_usable == pytest.approx(0.4, abs=0.12)
    assert heavier.yield_g == pytest.approx(heavier.share_usable * heavier.weight_g)


def test_a_practice_that_fails_is_given_up() -> None:
    """Where hardly a head of the practice can be eaten, one that gives any is grown."""
    records = small_records(flat, gardens=5, usable={"A": 0.05, "B": 0.95})
    assert decided(records, small_question()).recommended.cultivar == "B"


def test_a_garden_that_lost_everything_is_named() -> None:
    """It counts as a garden with records, and it is said to have failed."""
    records = small_records(curve, gardens=5)
    gone = records.buckets["site"] == "g3"
    lost = records.buckets.assign(
        usable=records.buckets["usable"].where(~gone, 0), weight_g=records.buckets["weight_g"].mask(gone)
    )
    decision = decided(replace(records, buckets=lost), small_question())
    assert decision.evidence.failed_gardens == ("g3",)
    assert decision.evidence.gardens == 5
    whole = decided(records, small_question())
    assert decision.chosen.share_usable < whole.chosen.share_usable


def test_unrecorded_buckets_are_no_losses() -> None:
    """Buckets without a record are counted as such; the share of marketable heads is that of recorded ones."""
    records = small_records(curve, gardens=6, blocks=2)
    decision = decided(silent(records, "cultivar == 'B' and block == '1'"), small_question())
    halved = next(one for one in decision.candidates if one.treatment == Treatment("B", 4.0))
    assert halved.share_unrecorded == pytest.approx(0.5)
    assert halved.stood.buckets == 6
    assert halved.share_usable > 0.85
    assert decision.evidence.buckets == 6 * 2 * 4 + 6 * 4


def test_tipping_points_by_hand() -> None:
    """Where a share of the unrecorded heads turns the choice, putting that share in brings the two level."""
    records = small_records(flat, cultivars=("A", "B"), doses=(), gardens=6, blocks=3, usable={"A": 0.7}, seed=3)
    decision = decided(silent(records, "cultivar == 'B' and block != '0'"), small_question(dose=None))
    assert decision.recommended == Treatment("B")
    (point,) = decision.tipping
    assert (point.treatment, point.unrecorded) == (Treatment("B"), 6 * 2 * HEADS)
    chosen, practice = decision.chosen, decision.candidate(decision.current)
    own = records.buckets.query("cultivar == 'B' and block == '0'")
    assert point.share_recorded == pytest.approx(own["usable"].sum() / own["recorded"].sum())
    assert point.turns_at is not None
    overall = (chosen.share_usable + 2 * point.turns_at) / 3  # a third of its heads has a record
    need = decision.thresholds.change_cost_g
    assert overall * chosen.weight_g - practice.yield_g == pytest.approx(need)


def test_complete_records_have_no_tipping_point(clear: Advice) -> None:
    """Nothing is open where every head has a record."""
    assert clear.decision.tipping == ()


def only(records: BucketRecords, which: str) -> BucketRecords:
    """Keep some of the buckets."""
    return replace(records, buckets=records.buckets.query(which).reset_index(drop=True))


def lost(records: BucketRecords, which: str) -> BucketRecords:
    """Let every head of some buckets come to nothing."""
    mine = records.buckets.eval(which)
    usable, weight = records.buckets["usable"].mask(mine, 0), records.buckets["weight_g"].mask(mine)
    return replace(records, buckets=records.buckets.assign(usable=usable, weight_g=weight))


def light(records: BucketRecords) -> BucketRecords:
    """Let heads weigh next to nothing."""
    return replace(records, buckets=records.buckets.assign(weight_g=records.buckets["weight_g"] / 50))


def unweighed(records: BucketRecords) -> BucketRecords:
    """Count heads and weigh none."""
    return replace(records, buckets=records.buckets.assign(weight_g=np.nan))


@pytest.mark.parametrize(
    ("records", "code"),
    [
        (only(small_records(curve), "cultivar == 'B'"), "no_practice_record"),
        (silent(small_records(curve), "dose == 4"), "no_practice_record"),
        (only(small_records(curve), "dose == 4 and cultivar == 'A'"), "one_treatment"),
        (small_records(curve, usable={"A": 0.0, "B": 0.0}), "nothing_usable"),
        (only(small_records(curve), "dose > 10"), "nothing_usable"),
        (unweighed(small_records(curve)), "nothing_usable"),
        (light(lost(small_records(curve, gardens=1, blocks=1), "dose == 4")), "practice_lost"),
    ],
    ids=[
        *("practice's cultivar", "practice's dose", "practice alone", "all lost", "no record", "none weighed"),
        "practice lost",
    ],
)
def test_why_there_is_no_decision(records: BucketRecords, code: str) -> None:
    """Each reason has a code of its own."""
    assert advise(records, small_question()) == NoDecision(code)  # type: ignore[arg-type]


@pytest.mark.parametrize("which", ["cultivar == 'B'", "dose == 8", "cultivar == 'B' and dose == 8"])
def test_what_came_to_nothing_is_never_grown(which: str) -> None:
    """One bucket of the best, its heads dead, would hardly count against it: it is left out, and so is its level."""

    def best(cultivar: str, dose: float) -> float:
        return 120 + 40 * (cultivar == "B") + 20 * (dose - 4)

    records = small_records(best, gardens=3, doses=(4.0, 6.0, 8.0))
    few = only(records, f"not ({which}) or (site == 'g0' and block == '0')")
    found = decided(lost(few, which), small_question())
    names = pd.DataFrame([one.levels for one in (found.recommended, found.alternative)]).rename(
        columns={"dose_tsp": "dose"}
    )
    assert names.query(which).empty
    assert decided(records, small_question()).recommended == Treatment("B", 8.0)


def test_weights_that_all_say_the_same() -> None:
    """They are as good as a scale that tells whole grams: buckets vary by less than one, and nothing breaks down."""
    records = replace(small_records(flat), head_variance=0.0)
    records = replace(
        records, buckets=records.buckets.assign(weight_g=records.buckets["weight_g"].mask(lambda w: w > 0, 100.0))
    )
    found = decided(records, small_question())
    assert found.current == found.recommended
    assert next(one for one in found.spreads if one.of == "bucket").upper_g < 1
    assert all(abs(one.gain.estimate) < 2 for one in found.candidates if one.gain and one.share_usable > 0.9)


@pytest.mark.parametrize(
    "records",
    [
        small_records(curve, gardens=1, blocks=6),
        small_records(curve, gardens=1, blocks=1),
        small_records(lambda cultivar, _: 120 + 25 * (cultivar == "B"), gardens=8, blocks=1, doses=()),
        small_records(curve, gardens=2, blocks=1, cultivars=("A",)),
        only(small_records(curve, gardens=2), "cultivar == 'A' and dose < 5 and block == '0'"),
    ],
    ids=["one garden", "one bucket of each", "one bucket a garden", "one cultivar", "four buckets"],
)
def test_small_trials_get_an_answer_that_is_wide(records: BucketRecords) -> None:
    """However little there is, an answer that says how open it is: limits surround the gain, and are far apart."""
    dose = None if records.buckets["dose"].isna().all() else 4.0
    decision = decided(records, small_question(dose=dose))
    gain = decision.shown.gain
    assert gain is not None
    assert gain.lower < gain.estimate < gain.upper
    assert gain.upper - gain.lower > 15
    assert decision.effective_points >= 16


def test_fewer_gardens_leave_more_open() -> None:
    """The same number of buckets in two gardens and in eight: what gardens do apart is known better from eight."""
    few, many = (
        decided(small_records(curve, gardens=gardens, blocks=blocks), small_question())
        for gardens, blocks in ((2, 8), (8, 2))
    )
    one, other = (
        {spread.of: spread.upper_g - spread.lower_g for spread in found.spreads if spread.of.startswith("garden_")}
        for found in (few, many)
    )
    assert one.keys() == other.keys()
    assert all(one[of] > other[of] for of in one)


def test_heads_weighed_one_by_one_or_as_buckets() -> None:
    """Where no variance between heads is known, it is part of the buckets', and the answer is nearly the same."""
    records = small_records(curve, gardens=6)
    known, unknown = (decided(one, small_question()) for one in (records, replace(records, head_variance=0.0)))
    assert unknown.recommended == known.recommended
    assert unknown.chosen.yield_g == pytest.approx(known.chosen.yield_g, abs=3)


def test_whole_plots_are_allowed_for() -> None:
    """Cultivars on whole plots that vary by 25 g: their difference is known less well than with plots unknown to it."""
    rng = np.random.default_rng(4)
    records = small_records(curve, gardens=3, blocks=3)
    buckets = records.buckets.assign(whole_plot=records.buckets["cultivar"])
    place = buckets.groupby(["site", "block", "whole_plot"]).ngroup()
    moved = buckets.assign(weight_g=buckets["weight_g"] + rng.normal(0, 25, place.max() + 1)[place])
    split = decided(replace(records, buckets=moved), small_question())
    plain = decided(replace(records, buckets=moved.assign(whole_plot="")), small_question())
    assert "whole_plot" in {one.of for one in split.spreads}
    assert "whole_plot" not in {one.of for one in plain.spreads}
    widths = [one.upper - one.lower for d in (split, plain) if (one := d.candidate(Treatment("B", 4.0)).gain)]
    assert widths[0] > widths[1]


def test_spreads_have_the_documents_names(clear: Advice) -> None:
    """The priors' names are those that the document may hold, each told once and within its limits."""
    assert set(WEIGHT_G) == set(get_args(Variation))
    names = [one.of for one in clear.decision.spreads]
    assert len(set(names)) == len(names)
    assert {"bucket", "garden", "cultivar", "curve"} <= set(names)
    for one in clear.decision.spreads:
        assert 0 <= one.lower_g <= one.sd_g <= one.upper_g
    bucket = next(one for one in clear.decision.spreads if one.of == "bucket")
    assert bucket.lower_g <= 8 <= bucket.upper_g


@pytest.mark.parametrize("times", [0.5, 2.0])
def test_weighting_for_other_priors_is_fitting_with_them(clear: Advice, times: float) -> None:
    """Points weighted anew give the gains that a fit under those priors gives (within four standard errors)."""
    scales = {name: scale * times for name, scale in WEIGHT_G.items()}
    columns, _ = clear.asked.gathered.asked(clear.asked.points)
    found = []
    for weights in (rescaled(clear.weights, scales), weigh(clear.asked.gathered, scales=scales)):
        each = weights.effects.mean @ columns.T
        gains = each - each[:, [clear.asked.practice]]
        mean = weights.points.weight @ gains
        found.append((mean, weights.points.weight @ (gains - mean) ** 2 / weights.points.effective))
    (one, variance), (other, variance_of_other) = found
    assert (np.abs(one - other) <= 4 * np.sqrt(variance + variance_of_other) + 1e-9).all()


def test_another_choice_under_other_priors_is_told() -> None:
    """Never the choice itself, nor a dose next to it; and told where wide and narrow priors part."""
    told = 0
    for seed in range(9, 20):
        decision = decided(small_records(flat, gardens=2, blocks=1, seed=seed), small_question())
        for other in decision.other_priors:
            told += 1
            assert other != decision.recommended
            near = (other.cultivar, other.acidifier) == (decision.recommended.cultivar, decision.recommended.acidifier)
            assert not near or abs((other.dose_tsp or 0.0) - (decision.recommended.dose_tsp or 0.0)) > 0.5
    assert told


def test_ties_keep_the_practice() -> None:
    """BucketRecords that are equal for all treatments, to the gram, name no reason to change."""
    records = small_records(flat, gardens=4)
    level = records.buckets["site"].map({"g0": 110.0, "g1": 120.0, "g2": 125.0, "g3": 130.0})
    buckets = records.buckets.assign(weight_g=level, usable=HEADS)
    decision = decided(replace(records, buckets=buckets), small_question())
    assert decision.recommended == decision.current
    assert not decision.verdict.changes
    gain = decision.shown.gain
    assert gain is not None
    assert gain.estimate == pytest.approx(0.0, abs=0.5)


def test_the_four_verdicts() -> None:
    """A change or none, settled or not (by definition)."""
    assert [one for one in Verdict if one.changes] == [Verdict.CHANGE, Verdict.CHANGE_AND_TEST]
    assert [one for one in Verdict if one.is_settled] == [Verdict.CHANGE, Verdict.KEEP]
