"""From a trial's folder to the records of the model: what stood where, what it gave, and what is asked of it."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from trialkit._resources import resource_folder
from trialkit.analysis.bucket_records import (
    BUCKET_COLUMNS,
    bucket_records,
    gardens_of,
    head_scatter,
    nitrogen_per_tsp,
    question_of,
    trial_records,
)
from trialkit.analysis.water_chemistry import water_of
from trialkit.documents.findings import BucketMean
from trialkit.domain.heads import is_usable
from trialkit.domain.treatment import Treatment
from trialkit.rules.trial_folder import CheckedTrial, read_trial


def bundled(name: str) -> CheckedTrial:
    """Read a bundled example."""
    return read_trial(resource_folder("example_trials") / name)


@pytest.fixture(scope="module")
def autumn() -> CheckedTrial:
    """Complete blocks of two cultivars, four doses and two acids."""
    return bundled("autumn_dose")


@pytest.fixture(scope="module")
def spring() -> CheckedTrial:
    """One garden lost everything."""
    return bundled("spring_dose")


@pytest.fixture(scope="module")
def volunteers() -> CheckedTrial:
    """Three buckets in each of 24 gardens."""
    return bundled("volunteer_cultivars")


def test_a_bucket_by_hand(autumn: CheckedTrial) -> None:
    """Heads counted, marketable weight over all recorded heads, nitrogen by the labels and the weights of a spoon.

    A teaspoon of the blend is 3 g of 9 %, and 0.375 of calcium nitrate with it 1.875 g of 15.5 %: 0.560625 g in 20 L.
    """
    rows = bucket_records(autumn)
    assert tuple(rows.columns) == BUCKET_COLUMNS
    assert list(rows["bucket"]) == list(autumn.layout["bucket"])
    one = rows[rows["usable"] < rows["recorded"]].iloc[0]
    heads = autumn.heads[autumn.heads["bucket"] == one["bucket"]]
    good = heads[is_usable(heads)]
    assert (one["planned"], one["recorded"], one["usable"]) == (autumn.protocol.bucket.heads, len(heads), len(good))
    assert one["yield_g"] == pytest.approx(good["weight_g"].sum() / len(heads))
    by_hand = 560.625 / 20
    assert nitrogen_per_tsp(autumn) == pytest.approx(by_hand)
    assert rows["n_mg_l"].to_numpy() == pytest.approx(rows["dose_tsp"].to_numpy() * by_hand, abs=1e-3)


def test_a_product_without_a_label_leaves_teaspoons(autumn: CheckedTrial) -> None:
    """Where nobody knows the nitrogen, doses are teaspoons, in the records as in the question."""
    unknown = replace(autumn, products=autumn.products.assign(n_pct=np.nan, grams_per_tsp=np.nan))
    assert np.isnan(nitrogen_per_tsp(unknown))
    records, question = trial_records(unknown, water_of(unknown)), question_of(unknown)
    assert set(records.buckets["dose"]) == {2.0, 4.0, 6.0, 8.0}
    assert (question.practice_dose, question.per_tsp, question.in_nitrogen) == (4.0, 1.0, False)


def test_what_was_not_varied_plays_no_part(spring: CheckedTrial, volunteers: CheckedTrial) -> None:
    """One acid in all buckets, or one dose, is no factor: the question names the levels that vary, and no other."""
    records, question = trial_records(spring, water_of(spring)), question_of(spring)
    assert set(records.buckets["acidifier"]) == {""}
    assert question.practice == Treatment("Larkmoor Butter", 4.0)
    cultivars = trial_records(volunteers, water_of(volunteers))
    assert cultivars.buckets["dose"].isna().all()
    assert question_of(volunteers).practice == Treatment("Larkmoor Butter")


def test_a_volunteers_buckets_are_a_block(volunteers: CheckedTrial) -> None:
    """Buckets of one volunteer are alike before treatment, as those of a block are."""
    rows = bucket_records(volunteers)
    places = rows.groupby(["site", "block"]).size()
    expected = volunteers.layout.assign(volunteer=volunteers.layout["volunteer"].astype(str))
    assert sorted(places) == sorted(expected.groupby(["site", "block", "volunteer"]).size())


def test_whole_plots_stand_within_their_block(spring: CheckedTrial) -> None:
    """Each whole plot of a split-plot is one place, and holds one level of its factor."""
    layout = spring.layout.assign(whole_plot=spring.layout["cultivar"])
    rows = bucket_records(replace(spring, layout=layout))
    assert set(rows["whole_plot"]) == {"Fenleaf", "Larkmoor Butter"}
    assert set(bucket_records(spring)["whole_plot"]) == {""}


def test_a_lost_garden_is_recorded_as_lost(spring: CheckedTrial) -> None:
    """Its buckets have counts and no weight; they speak of shares alone."""
    rows = trial_records(spring, water_of(spring)).buckets
    gone = rows[rows["site"] == "STAT"]
    assert (gone["recorded"] == 4).all()
    assert (gone["usable"] == 0).all()
    assert gone["weight_g"].isna().all()
    assert rows.loc[rows["usable"] > 0, "weight_g"].notna().all()


def test_weights_are_of_marketable_heads(autumn: CheckedTrial) -> None:
    """The mean of the heads that were marketable, whatever became of the others."""
    rows = trial_records(autumn, water_of(autumn)).buckets
    good = autumn.heads[is_usable(autumn.heads)].groupby("bucket")["weight_g"].mean()
    found = rows["weight_g"].set_axis(autumn.layout["bucket"])
    pd.testing.assert_series_equal(found.dropna().sort_index(), good.sort_index(), check_names=False, rtol=1e-6)


def test_unrecorded_and_unweighed_heads(autumn: CheckedTrial) -> None:
    """A bucket without a record counts none; an unweighed head is one, and weighs what the others of its bucket do."""
    first, second, third = autumn.layout["bucket"].iloc[:3]
    heads = autumn.heads[autumn.heads["bucket"] != first].copy()
    known = bucket_records(autumn).set_index("bucket")
    cut = heads.index[(heads["bucket"] == second) & is_usable(heads)]
    heads.loc[cut[0], ["outcome", "weight_g"]] = "not_weighed", np.nan
    heads.loc[heads.index[(heads["bucket"] == third) & is_usable(heads)], ["outcome", "weight_g"]] = (
        "not_weighed",
        np.nan,
    )
    rows = bucket_records(replace(autumn, heads=heads.reset_index(drop=True))).set_index("bucket")
    assert (rows.loc[first, "recorded"], rows.loc[first, "usable"]) == (0, 0)
    assert rows.loc[[first, third], "yield_g"].isna().all()
    for bucket in (second, third):
        assert (rows.loc[bucket, ["recorded", "usable"]] == known.loc[bucket, ["recorded", "usable"]]).all()
    assert rows.loc[second, "weighed"] == known.loc[second, "weighed"] - 1
    others = heads.loc[cut[1:], "weight_g"].mean()
    usable, recorded = known.loc[second, ["usable", "recorded"]]
    assert rows.loc[second, "yield_g"] == pytest.approx(others * usable / recorded, abs=1e-6)


def test_scatter_of_heads_by_hand(autumn: CheckedTrial) -> None:
    """Squares about the mean of each bucket's marketable heads, on a degree of freedom fewer a bucket."""
    squares, df = head_scatter(autumn)
    total, count = 0.0, 0
    for _, own in autumn.heads[is_usable(autumn.heads)].groupby("bucket"):
        weights = own["weight_g"].to_numpy(float)
        total, count = total + float(((weights - weights.mean()) ** 2).sum()), count + len(weights) - 1
    assert (squares, df) == (pytest.approx(total), count)
    assert trial_records(autumn, water_of(autumn)).head_variance == pytest.approx(total / count)


def test_gardens_are_told_by_their_readings_where_these_tell(autumn: CheckedTrial) -> None:
    """A row a garden; alkalinity as stated where no reading speaks of it."""
    stated = gardens_of(replace(autumn, solution=autumn.solution.iloc[:0]), replace(water_of(autumn), sites=()))
    assert list(stated["site"]) == list(autumn.sites["site"])
    assert stated["alkalinity"].tolist() == autumn.sites["alkalinity_mg_l_caco3"].tolist()
    read = gardens_of(autumn, water_of(autumn))
    assert read["alkalinity"].notna().all()


def test_days_stand_beside_the_bucket_that_told_them(autumn: CheckedTrial) -> None:
    """As in the results, to six decimals; a bucket that told none has none, and without any there are no days."""
    first, second, *_ = autumn.layout["bucket"]
    told = [
        BucketMean(first, "s", "1", Treatment("c"), 41.0, 4, 41.23456789, 0.5),
        BucketMean(second, "s", "1", Treatment("c"), 40.0, 4),
    ]
    rows = bucket_records(autumn, told).set_index("bucket")
    assert (rows.loc[first, "days"], rows.loc[first, "days_se"]) == (41.234568, 0.5)
    assert rows["days"].count() == rows["days_se"].count() == 1
    days = trial_records(autumn, water_of(autumn), told).days
    assert days is not None
    assert days.buckets["weight_g"].tolist() == [41.234568]
    assert days.head_variance / days.buckets["usable"].to_numpy() == pytest.approx([0.25])
    assert trial_records(autumn, water_of(autumn)).days is None


def test_the_seed_of_the_advice_is_its_own(autumn: CheckedTrial) -> None:
    """It follows from the protocol's seed, and is not the one that the layout was drawn with."""
    question = question_of(autumn)
    assert question.seed == question_of(autumn).seed
    assert question.seed != autumn.protocol.seed_of(0)


def test_the_dose_is_the_one_randomised_whatever_the_volume(autumn: CheckedTrial) -> None:
    """By hand: 28.03125 mg/L of nitrogen a spoon of the feed in 20 L, so 224.25 mg/L of 8, filled up to 16 L or not."""
    first = autumn.layout.loc[autumn.layout["dose_tsp"] == 8, "bucket"].iloc[0]
    less = autumn.solution["volume_l"].where(autumn.solution["bucket"] != first, 16.0)
    rows = bucket_records(replace(autumn, solution=autumn.solution.assign(volume_l=less)))
    assert rows.equals(bucket_records(autumn))
    assert rows.set_index("bucket").loc[first, "n_mg_l"] == 224.25
