"""Trials as small, lopsided and damaged as gardens make them, through the whole analysis."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from small_trial import ChangeHeads, small_trial
from trialkit.analysis import Results
from trialkit.documents.findings import NoDecision, Note, PartlyTested, Verdict
from trialkit.domain.treatment import Treatment
from trialkit.words.decision_words import no_decision_words, scope, sentences, would_change


def all_words(results: Results) -> str:
    """Everything that the results say."""
    assert results.decision is not None
    decision = results.decision
    return " ".join((*sentences(decision), *would_change(decision), *scope(decision)))


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


def test_one_garden_speaks_of_itself_only(tmp_path: Path) -> None:
    """A trial in one garden claims nothing for another."""
    results = small_trial(tmp_path, sites=1, blocks=6, cultivars=2, doses=3)
    assert results.decision.place == "this_garden"
    assert "new garden" not in all_words(results)


def test_a_garden_that_lost_everything_is_not_counted(tmp_path: Path) -> None:
    """Three gardens planned, one lost: the answer is that of two gardens."""

    def lose(heads: pd.DataFrame) -> pd.DataFrame:
        heads.loc[heads["site"] == "s3", RECORD] = ["dead", "", "", "", ""]
        return heads

    results = small_trial(tmp_path, sites=3, blocks=4, cultivars=2, doses=2, change=lose)
    assert results.decision.place == "these_gardens"
    assert "at 2 gardens" in sentences(results.decision)[1]


def test_gardens_with_one_bucket_of_each_treatment(tmp_path: Path) -> None:
    """Where a garden's effect on a treatment cannot be told from its bucket, the answer is for the average garden."""
    results = small_trial(tmp_path, sites=8, blocks=1, doses=4)
    assert results.decision.place == "average_garden"
    assert "cannot be told from how much buckets differ" in all_words(results)


def test_whole_plots_that_are_the_gardens_effect(tmp_path: Path) -> None:
    """With one block a garden, whole plots and the garden's effect on their factor are the same grouping."""
    results = small_trial(tmp_path, sites=5, blocks=1, cultivars=2, doses=3, whole_plot="cultivar")
    assert results.decision.place == "average_garden"


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


def test_too_few_degrees_of_freedom_to_decide(tmp_path: Path) -> None:
    """Two treatments in two blocks leave one degree of freedom: estimates, but no chances and no recommendation."""
    results = small_trial(tmp_path, sites=1, blocks=2, doses=2)
    assert results.responses["weight_g"].status == "analysed"
    assert results.decision is None
    assert results.no_decision == NoDecision("too_small", pytest.approx(1.0))
    assert "only 1.0 degrees of freedom" in no_decision_words(results)


def test_the_reason_is_that_of_the_yield(tmp_path: Path) -> None:
    """Where the yield was not analysed there is no recommendation, for that reason and not for one about days."""
    results = small_trial(tmp_path, sites=1, blocks=3, doses=2, change=only("dose_tsp == '2'"))
    assert results.no_decision == NoDecision("yields_not_analysed")
    assert no_decision_words(results).startswith("The weight of buckets was not analysed. Only one treatment")


def test_current_practice_lost(tmp_path: Path) -> None:
    """Without a head of the current practice there is nothing to compare with, and that is the reason given."""
    results = small_trial(tmp_path, sites=1, blocks=4, doses=3, change=only("dose_tsp != '2'"))
    assert results.no_decision == NoDecision("no_practice_record")
    assert "current practice" in no_decision_words(results)


@pytest.mark.parametrize("seed", range(5))
def test_equal_treatments_keep_the_practice(tmp_path: Path, seed: int) -> None:
    """Where only chance tells doses apart, the current practice is never given up for a gain."""

    def shuffle(heads: pd.DataFrame) -> pd.DataFrame:
        weight = np.random.default_rng(seed).normal(120, 12, len(heads)).round(0).astype(int)
        return heads.assign(weight_g=np.where(heads["outcome"] == "harvested", weight.astype(str), ""))

    results = small_trial(tmp_path, sites=4, blocks=2, cultivars=2, doses=2, seed=seed, days=False, change=shuffle)
    assert results.decision.verdict is not Verdict.ADOPT


def test_three_gardens_and_two_doses_get_a_verdict(tmp_path: Path) -> None:
    """Two degrees of freedom for error, exactly, are enough, whatever rounding makes of them."""
    for seed in range(4):
        results = small_trial(tmp_path / str(seed), sites=3, blocks=3, doses=2, seed=seed, change=all_come_through)
        assert results.responses["weight_g"].comparisons[0].df == pytest.approx(2)
        assert results.decision is not None, results.no_decision


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
    assert results.decision.unit == "currency a bucket"
    days = {mean.treatment.dose_tsp: mean.mean for mean in results.responses["days"].means}
    for candidate, mean in zip(results.decision.candidates, results.responses["bucket_weight_g"].means, strict=True):
        dose = candidate.treatment.dose_tsp
        assert dose is not None
        assert candidate.yield_g == pytest.approx(mean.mean / 2)
        by_hand = mean.mean * 10 / 1000 - 0.06 * dose - 0.3 - 0.02 * days[dose]
        assert candidate.expected_value == pytest.approx(by_hand, abs=1e-9)
    assert "Seed and labour are not counted." in scope(results.decision)


def test_dead_heads_take_from_the_value(tmp_path: Path) -> None:
    """Where half the heads of one cultivar died, its value is about half its weight, and it says so."""

    def kill(heads: pd.DataFrame) -> pd.DataFrame:
        kept = all_come_through(heads)
        dead = (kept["cultivar"] == "Fenleaf") & (kept["head"] == "1")
        kept.loc[dead, RECORD] = ["dead", "", "", "", ""]
        return kept

    results = small_trial(tmp_path, sites=4, blocks=3, cultivars=2, change=kill)
    current, other = results.decision.candidates
    assert other.share_usable == 0.5
    weights = [mean.mean for mean in results.responses["weight_g"].means]
    assert other.expected_value == pytest.approx(weights[1] / 2, rel=0.06)
    assert current.expected_value == pytest.approx(weights[0], rel=0.01)
    assert results.decision.verdict is Verdict.KEEP
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
    """A dose whose heads have not been entered yet is not judged, and nobody says that its heads died."""
    results = small_trial(tmp_path, sites=3, blocks=4, doses=3, change=only("dose_tsp != '6' or head == '1'"))
    assert not results.decision.candidates[2].eligible
    assert any("have no record" in line for line in scope(results.decision))
    assert "lost" not in " ".join(scope(results.decision)[2:])


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
