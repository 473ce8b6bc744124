"""Trials as small, lopsided and damaged as gardens make them, through the whole analysis."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from small_trial import ChangeHeads, small_trial
from trialkit.analysis import Results
from trialkit.analysis.advising import Advice, advise
from trialkit.analysis.bucket_records import question_of, trial_records
from trialkit.analysis.water_chemistry import water_of
from trialkit.documents.decision import Decision, NoDecision
from trialkit.documents.findings import Note, PartlyTested
from trialkit.domain.treatment import Treatment
from trialkit.rules.trial_folder import read_trial


def only(which: str) -> ChangeHeads:
    """Keep the records that a question says."""
    return lambda heads: heads.query(which)


RECORD = ["outcome", "harvested_on", "last_not_ready_on", "weight_g", "marketable"]


def all_come_through(heads: pd.DataFrame) -> pd.DataFrame:
    """Give every lost head the record of the first harvested one of its treatment, and call all marketable."""
    kept, cut = heads.copy(), heads[heads["outcome"] == "harvested"]
    for row in kept.index[kept["outcome"] != "harvested"]:
        like = cut[(cut["cultivar"] == kept.at[row, "cultivar"]) & (cut["dose_tsp"] == kept.at[row, "dose_tsp"])]
        kept.loc[row, RECORD] = like.iloc[0][RECORD].to_numpy()
    return kept.assign(marketable="yes")


def decision_of(results: Results) -> Decision:
    """Return the decision of a trial that has one."""
    assert results.decision is not None, results.no_decision
    return results.decision


def test_one_garden(tmp_path: Path) -> None:
    """A trial in one garden has an answer, whose evidence is one garden."""
    decision = decision_of(small_trial(tmp_path, sites=1, blocks=6, cultivars=2, doses=3, days=False))
    assert (decision.evidence.gardens, decision.evidence.buckets, decision.evidence.trials) == (1, 36, 1)
    gain = decision.shown.gain
    assert gain is not None
    assert gain.lower < gain.estimate < gain.upper


def test_a_garden_that_lost_everything_is_said(tmp_path: Path) -> None:
    """Three gardens, one lost: it is named first among what could turn the answer, and its heads count as lost."""

    def lose(heads: pd.DataFrame) -> pd.DataFrame:
        heads.loc[heads["site"] == "s3", RECORD] = ["dead", "", "", "", ""]
        return heads

    decision = decision_of(small_trial(tmp_path, sites=3, blocks=4, cultivars=2, doses=2, change=lose))
    assert decision.evidence.failed_gardens == ("s3",)
    assert decision.evidence.gardens == 3
    assert "failed_gardens" in decision.cautions
    assert decision.chosen.share_usable < 0.85


def test_gardens_with_one_bucket_of_each_treatment(tmp_path: Path) -> None:
    """Where a garden's effect on a treatment cannot be told from its bucket there is an answer all the same."""
    decision = decision_of(small_trial(tmp_path, sites=8, blocks=1, doses=4, days=False))
    assert decision.evidence.gardens == 8
    assert {one.of for one in decision.spreads} >= {"bucket", "garden", "garden_dose"}


def test_whole_plots_are_a_spread_of_their_own(tmp_path: Path) -> None:
    """A split-plot's whole plots vary beyond its buckets, and the answer allows for it."""
    results = small_trial(tmp_path, sites=5, blocks=2, cultivars=2, doses=3, whole_plot="cultivar", days=False)
    decision = decision_of(results)
    assert {one.of for one in decision.spreads} >= {"whole_plot", "block", "bucket"}


def test_one_head_a_bucket(tmp_path: Path) -> None:
    """Heads cannot be told from buckets, whose spread holds both."""
    decision = decision_of(small_trial(tmp_path, sites=3, blocks=3, cultivars=2, doses=2, heads=1, days=False))
    bucket = next(one for one in decision.spreads if one.of == "bucket")
    assert bucket.lower_g <= float(np.hypot(9.0, 14.0)) <= bucket.upper_g  # sd of buckets and heads in the county


def test_buckets_weighed_whole(tmp_path: Path) -> None:
    """Heads that all have their bucket's mean give the answer of the bucket means, exactly, and it says so."""

    def share(heads: pd.DataFrame) -> pd.DataFrame:
        weight = pd.to_numeric(heads["weight_g"]).groupby(heads["bucket"]).transform("mean")
        return heads.assign(weight_g=weight.map("{:.1f}".format).where(heads["weight_g"] != "", ""))

    results = small_trial(tmp_path, sites=3, blocks=3, cultivars=2, doses=2, days=False, change=share)
    answer = results.responses["weight_g"]
    assert answer.status == "analysed", answer.not_analysed
    assert answer.model.observations == answer.model.buckets == len(answer.buckets)
    assert [note.code for note in answer.model.notes] == ["bucket_means", "heads_alike"]
    assert answer.model.residual == "buckets"
    assert "bucket" not in answer.model.random


def test_least_replicated_effect_is_the_one_shown(tmp_path: Path) -> None:
    """In a split-plot the whole-plot factor has the fewest degrees of freedom, and the check names it."""
    results = small_trial(tmp_path, sites=1, blocks=4, cultivars=2, doses=4, whole_plot="cultivar", days=False)
    answer = results.responses["weight_g"]
    check = next(check for check in answer.checks if check.id == "replication")
    assert (check.term, check.treatment, check.ok) == ("cultivar", None, False)


def test_untested_effects_are_named(tmp_path: Path) -> None:
    """With a whole combination lost, the interaction keeps part of its degrees of freedom, and that is said."""
    results = small_trial(
        tmp_path,
        sites=3,
        blocks=3,
        cultivars=2,
        doses=3,
        days=False,
        change=only("cultivar != 'Fenleaf' or dose_tsp != '4'"),
    )
    model = results.responses["weight_g"].model
    assert PartlyTested("cultivar:dose_tsp", df=1, full_df=2) in model.partly_tested


def test_a_cultivar_without_a_record(tmp_path: Path) -> None:
    """A factor of which one level is left has no effect to test; the rest of the trial is analysed."""
    results = small_trial(
        tmp_path, sites=3, blocks=3, cultivars=2, doses=3, change=only("cultivar == 'Larkmoor Butter'")
    )
    assert [test.term for test in results.responses["weight_g"].tests] == ["dose_tsp"]


def test_two_treatments_in_two_blocks(tmp_path: Path) -> None:
    """Four buckets have one degree of freedom and an answer, whose limits are far apart."""
    results = small_trial(tmp_path, sites=1, blocks=2, doses=2, days=False)
    assert results.responses["weight_g"].status == "analysed"
    decision = decision_of(results)
    gain = decision.shown.gain
    assert gain is not None
    assert gain.upper - gain.lower > 30
    assert not decision.verdict.is_settled


def test_one_treatment_alone(tmp_path: Path) -> None:
    """Where only the practice has records there is nothing to set beside it."""
    results = small_trial(tmp_path, sites=1, blocks=3, doses=2, change=only("dose_tsp == '2'"))
    assert results.decision is None
    assert results.no_decision == NoDecision("one_treatment")


def test_current_practice_lost(tmp_path: Path) -> None:
    """Without a record of the current practice there is nothing to compare with, and that is the reason given."""
    results = small_trial(tmp_path, sites=1, blocks=4, doses=3, change=only("dose_tsp != '2'"))
    assert results.no_decision == NoDecision("no_practice_record")


def test_nothing_marketable(tmp_path: Path) -> None:
    """Every head was cut and none was fit to eat."""

    def spoil(heads: pd.DataFrame) -> pd.DataFrame:
        return all_come_through(heads).assign(marketable="no")

    results = small_trial(tmp_path, sites=2, blocks=2, cultivars=2, doses=2, change=spoil)
    assert results.no_decision == NoDecision("nothing_usable")


@pytest.mark.parametrize("seed", range(5))
def test_equal_treatments_claim_little(tmp_path: Path, seed: int) -> None:
    """Where only chance tells treatments apart, less is claimed than the best of the means as recorded would."""

    def shuffle(heads: pd.DataFrame) -> pd.DataFrame:
        weight = np.random.default_rng(seed).normal(120, 12, len(heads)).round(0).astype(int)
        return heads.assign(weight_g=np.where(heads["outcome"] == "harvested", weight.astype(str), ""))

    results = small_trial(tmp_path, sites=4, blocks=2, cultivars=2, doses=2, seed=seed, days=False, change=shuffle)
    decision = decision_of(results)
    raw = [one.raw_yield_g for one in decision.candidates if one.raw_yield_g is not None]
    practice = decision.candidate(decision.current).raw_yield_g
    assert practice is not None
    claimed = decision.chosen.gain.estimate if decision.chosen.gain else 0.0
    assert claimed <= 0.8 * (max(raw) - practice)


def test_value_in_money_by_hand(tmp_path: Path) -> None:
    """Two heads at 10 a kilogram, less nutrient at 0.06 a teaspoon, 0.3 a bucket and 0.02 a day."""
    results = small_trial(
        tmp_path,
        sites=4,
        blocks=3,
        doses=3,
        decision="price_per_kg = 10\ncost_per_bucket = 0.3\ndelay_cost_per_day = 0.02\n",
        change=all_come_through,
    )
    decision = decision_of(results)
    assert decision.unit == "currency a bucket"
    trial = read_trial(tmp_path)
    advice = advise(trial_records(trial, water_of(trial), results.responses["days"].buckets), question_of(trial))
    assert isinstance(advice, Advice)
    recorded = {mean.treatment.dose_tsp: mean.mean for mean in results.responses["days"].means}
    tried = [one for one in decision.candidates if one.treatment.dose_tsp in recorded]
    assert len(tried) == 3
    for candidate in tried:
        dose, days = float(candidate.treatment.dose_tsp or 0.0), advice.expected_days(candidate.treatment)
        assert days is not None
        assert days[0] == pytest.approx(recorded[dose], abs=0.2)
        by_hand = candidate.yield_g * 2 * 10 / 1000 - 0.06 * dose - 0.3 - 0.02 * days[0]
        assert candidate.expected_value == pytest.approx(by_hand, abs=1e-9)


def test_dead_heads_take_from_the_value(tmp_path: Path) -> None:
    """Where half the heads of one cultivar died, its value is about half its weight, and it says so."""

    def kill(heads: pd.DataFrame) -> pd.DataFrame:
        kept = all_come_through(heads)
        dead = (kept["cultivar"] == "Fenleaf") & (kept["head"] == "1")
        kept.loc[dead, RECORD] = ["dead", "", "", "", ""]
        return kept

    results = small_trial(tmp_path, sites=4, blocks=3, cultivars=2, change=kill)
    decision = decision_of(results)
    current, other = (decision.candidate(Treatment(name)) for name in ("Larkmoor Butter", "Fenleaf"))
    assert other.share_usable == pytest.approx(0.5, abs=0.1)
    assert other.raw_yield_g == pytest.approx(results.responses["bucket_weight_g"].means[1].mean / 2, rel=0.01)
    assert other.expected_value == pytest.approx(other.weight_g * other.share_usable)
    assert current.yield_g > other.yield_g
    assert decision.recommended == current.treatment
    assert "losses" in decision.cautions
    (of_cultivar,) = results.losses.by_factor
    assert of_cultivar.differ
    assert {one.level: one.usable.estimate for one in of_cultivar.levels}["Fenleaf"] == 0.5
    assert results.losses.go_with_the_treatment


def test_heads_that_were_never_ready_are_named(tmp_path: Path) -> None:
    """Days are those of heads that were cut; that slow ones are missing is said beside them."""

    def leave(heads: pd.DataFrame) -> pd.DataFrame:
        kept = all_come_through(heads)
        late = (kept["dose_tsp"] == "4") & (kept["head"] == "1")
        kept.loc[late, "outcome"] = "not_ready"
        kept.loc[late, ["harvested_on", "weight_g", "marketable"]] = ""
        return kept

    results = small_trial(tmp_path, sites=1, blocks=4, doses=2, change=leave)
    days = results.responses["days"].model
    assert Note("not_ready", 4) in days.notes
    weight = results.responses["weight_g"].model
    assert "not_ready" not in {note.code for note in weight.notes}


def test_records_still_to_come(tmp_path: Path) -> None:
    """A dose whose heads have not all been entered is no loser: it is said how many of them would turn the answer."""
    decision = decision_of(
        small_trial(tmp_path, sites=3, blocks=4, doses=3, days=False, change=only("dose_tsp != '6' or head == '1'"))
    )
    six = next(one for one in decision.candidates if one.treatment.dose_tsp == 6.0)
    assert six.share_unrecorded == pytest.approx(0.5)
    assert six.share_usable > 0.8
    assert [(one.treatment.dose_tsp, one.unrecorded) for one in decision.tipping] == [(6.0, 12)]


def never_ready(heads: pd.DataFrame) -> pd.DataFrame:
    """No head of the second cultivar was ready at the last visit."""
    late = heads["cultivar"] == "Fenleaf"
    last = heads["harvested_on"].max()
    heads.loc[late, RECORD] = ["not_ready", "", last, "", ""]
    return heads


def test_a_cultivar_never_ready_is_named(tmp_path: Path) -> None:
    """Its days are not known: the reason names the cultivar."""
    days = small_trial(tmp_path, sites=3, cultivars=3, change=never_ready).responses["days"]
    assert days.status == "not analysed"
    assert (days.not_analysed.code, days.not_analysed.treatments) == ("never_ready", (Treatment("Fenleaf"),))
