"""Days to harvest by the model of weights: against its dense covariance (tests/support), and by simulation."""

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from dense_weights import DenseWeights
from trialkit.advice.days_to_harvest import DaysToHarvest, days_records, days_to_harvest
from trialkit.advice.gathering import BucketRecords, gather
from trialkit.advice.integration import Integrated
from trialkit.advice.priors import DAYS, FACTOR_SHARE, SLOPE_DAYS, WEIGHT_G
from trialkit.advice.weights import WeightModel, Weights
from trialkit.analysis.own_days import own_days

CULTIVARS, DOSES = ("x", "y"), (50.0, 100.0, 200.0)
ASKED = pd.DataFrame(
    [(c, "", d) for c in CULTIVARS for d in (*DOSES, 150.0)], columns=["cultivar", "acidifier", "dose"]
)


def told(seed: int, trials: int = 2, gardens: int = 3, blocks: int = 2) -> pd.DataFrame:
    """Days of buckets, with errors that steps of an eighth of a factor of two tell exactly."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"trial {t}", f"garden {s}", str(b), "", c, "", d)
        for t in range(trials)
        for s in range(gardens)
        for b in range(blocks)
        for c in CULTIVARS
        for d in DOSES
    ]
    names = ["trial", "site", "block", "whole_plot", "cultivar", "acidifier", "dose"]
    frame = pd.DataFrame(rows, columns=names)
    days = 42 - 3 * (frame["cultivar"] == "y") + rng.normal(0, 1.5, len(frame))
    return frame.assign(days=days, days_se=2.0 ** (rng.integers(-16, 4, len(frame)) / 8))


def gardens_of(buckets: pd.DataFrame) -> pd.DataFrame:
    """Gardens of which nothing is known."""
    found = buckets[["trial", "site"]].drop_duplicates().reset_index(drop=True)
    return found.assign(alkalinity=np.nan, sun_hours=np.nan, kind=None)


def records_of(buckets: pd.DataFrame) -> BucketRecords:
    """Records of them."""
    found = days_records(buckets, gardens_of(buckets))
    assert found is not None
    return found


def asked_of(records: BucketRecords, most_learnt: int = 24) -> DaysToHarvest:
    """Days of what is asked."""
    return days_to_harvest(records, ASKED["cultivar"], ASKED["acidifier"], ASKED["dose"].to_numpy(), most_learnt)


def test_every_standard_deviation_has_a_scale_in_days() -> None:
    """The model is that of weights, and so are the names of its standard deviations."""
    assert set(DAYS) == set(WEIGHT_G)


@pytest.mark.parametrize("trials", [1, 2])
def test_days_are_those_of_the_dense_model(trials: int) -> None:
    """Mean, limits on average and limits in a new garden and season, of a mixture over three points, to 1e-8.

    The dense covariance is of buckets whose own error is taken as stated, and knows nothing of trialkit; quantiles of
    the mixture are found with scipy.
    """
    buckets = told(3, trials)
    records = records_of(buckets)
    gathered = gather(records, [150.0])
    model = WeightModel(gathered, DAYS, SLOPE_DAYS)
    at = np.maximum(np.random.default_rng(1).normal(size=(3, len(model.names))), -1.5)
    share = np.array([0.5, 0.3, 0.2])
    weights = Weights(model, Integrated(at, share, 3.0, at[0]), model.by_name(at), model.effects(at))
    found = DaysToHarvest(
        weights,
        np.ones(len(ASKED), bool),
        gathered.levels.points(ASKED["cultivar"], ASKED["acidifier"], ASKED["dose"].to_numpy()),
    )
    plain = buckets.assign(weight_g=buckets["days"], usable=buckets["days_se"] ** -2)
    dense = DenseWeights.of(plain, gardens_of(buckets), 1.0, ASKED, set(model.names), SLOPE_DAYS)
    points = [{name: float(value[i]) for name, value in weights.sd.items()} for i in range(3)]
    answers = [dense.asked(sd) for sd in points]

    def limits(means: list[float], variances: list[float]) -> list[float]:
        sd = np.sqrt(variances)
        return [
            brentq(lambda x, p=p: share @ norm.cdf(x, means, sd) - p, -200, 200, xtol=1e-12)  # type: ignore[misc]
            for p in (0.025, 0.975)
        ]

    line = (ASKED["dose"].to_numpy() - 125) / 150 * np.sqrt(12)
    for i, j in ((0, 5), (7, 2)):
        means = [mean[i] for mean, _ in answers]
        own = [covariance[i, i] for _, covariance in answers]
        garden = [
            sd["garden"] ** 2
            + sd.get("season_level", 0.0) ** 2
            + sd["garden_cultivar"] ** 2
            + sd["season"] ** 2
            + line[i] ** 2 * (sd["garden_dose"] ** 2 + (FACTOR_SHARE["dose"] * sd["season"]) ** 2)
            for sd in points
        ]
        expected = [share @ means, *limits(means, own), *limits(means, list(np.add(own, garden)))]
        assert found.mean[i] == pytest.approx(share @ means, rel=1e-8)
        assert found.expected(i, 0.95) == pytest.approx(expected, rel=1e-8)
        apart = [mean[i] - mean[j] for mean, _ in answers]
        of_apart = [c[i, i] + c[j, j] - 2 * c[i, j] for _, c in answers]
        assert found.later(i, j, 0.95) == pytest.approx([share @ apart, *limits(apart, of_apart)], rel=1e-7, abs=1e-8)


def test_order_of_trials_does_not_matter() -> None:
    """Rows in another order, and trials under names that sort otherwise, tell the same days."""
    buckets = told(5, trials=3)
    other = buckets.assign(trial=buckets["trial"].map({"trial 0": "b", "trial 1": "c", "trial 2": "a"}))
    one, two = asked_of(records_of(buckets)), asked_of(records_of(other.sample(frac=1.0, random_state=1)))
    np.testing.assert_allclose(one.mean, two.mean, rtol=1e-6)
    for i in (0, 5):
        np.testing.assert_allclose(one.expected(i, 0.95), two.expected(i, 0.95), rtol=1e-5)


def test_of_many_trials_some_tell_the_standard_deviations() -> None:
    """Means of all trials, learnt from half of them, lie near those learnt from all."""
    buckets = told(6, trials=4)
    all_, some = (asked_of(records_of(buckets), most) for most in (24, 2))
    np.testing.assert_allclose(some.mean, all_.mean, atol=0.2)


def test_means_of_older_trials_stand_with_the_error_stated() -> None:
    """A precise mean of a trial weighs more than a vague one, and no bucket's own variance is added to it."""
    buckets = told(7, trials=1).assign(known_variance=np.nan)
    older = buckets.iloc[[0, 3]].assign(trial="older", site="gardens of older", days=[42.0, 30.0])
    found = []
    for se in (0.05, 20.0):
        both = pd.concat([buckets, older.assign(days_se=se, known_variance=se**2)], ignore_index=True)
        found.append(asked_of(records_of(both)).later(4, 0, 0.95))
    alone = asked_of(records_of(buckets)).later(4, 0, 0.95)
    assert alone is not None
    assert found[0] is not None
    assert found[1] is not None
    assert found[0][0] < alone[0] - 0.5
    assert found[1][0] == pytest.approx(alone[0], abs=0.3)


def test_nothing_is_told_of_what_was_not_tried() -> None:
    """Beyond the doses tried, and of a cultivar without days, nothing is known; without any there are no records."""
    buckets = told(8)
    found = asked_of(records_of(buckets[(buckets["cultivar"] == "x") & (buckets["dose"] < 200)]))
    assert found.known.tolist() == [True, True, False, False] + [False] * 4
    assert np.isnan(found.mean).tolist() == (~found.known).tolist()
    assert found.expected(4, 0.95) is None
    assert found.later(0, 4, 0.95) is None
    assert found.later(0, 1, 0.95) is not None
    assert days_records(buckets.assign(days=np.nan), gardens_of(buckets)) is None


def simulated(rng: np.random.Generator) -> tuple[BucketRecords, float]:
    """Records of a trial looked at every third day, and the true days of one treatment beyond another's.

    Standard deviations are drawn from their priors, everything else from the model, so that of intervals which say
    what the records leave open, as many hold the truth as they claim.
    """
    frame = told(0, trials=1, gardens=4).drop(columns=["days", "days_se"])
    sd = {name: abs(rng.normal(0, scale)) for name, scale in DAYS.items()}
    line = (frame["dose"].to_numpy() - 125) / 150 * np.sqrt(12)
    is_y = (frame["cultivar"] == "y").to_numpy().astype(int)
    cultivar, slope = rng.normal(0, sd["cultivar"], 2), rng.normal(0, SLOPE_DAYS)
    truth = cultivar[is_y] + slope * line
    site = frame["site"].str[-1].to_numpy().astype(int)
    block = site * 2 + frame["block"].to_numpy().astype(int)
    day = 42 + truth + rng.normal(0, sd["garden"], 4)[site] + rng.normal(0, sd["block"], 8)[block]
    day += rng.normal(0, sd["garden_cultivar"], (4, 2))[site, is_y] + rng.normal(0, sd["garden_dose"], 4)[site] * line
    day += rng.normal(0, sd["season"], 2)[is_y] + rng.normal(0, FACTOR_SHARE["dose"] * sd["season"]) * line
    day += rng.normal(0, sd["bucket"], len(frame))
    heads = frame.loc[np.repeat(frame.index, 4), ["site"]].assign(bucket=np.repeat(np.arange(len(frame)), 4))
    heads["treatment"] = np.repeat(2 * frame["dose"].to_numpy() + is_y, 4)
    ready = np.repeat(day, 4) + rng.normal(0, 1.5, len(heads))
    heads["upper"] = np.ceil(ready / 3) * 3
    heads["lower"] = heads["upper"] - 3
    # Completed between visits as if days between these were alike, which they nearly are.
    completed = rng.uniform(heads["lower"], heads["upper"], (5, len(heads)))
    records = days_records(frame.join(own_days(heads.reset_index(drop=True), completed)), gardens_of(frame))
    assert records is not None
    # Asked are x at 50 and y at 200: no curve and no interactions were drawn, which the priors allow for.
    return records, float(cultivar[1] - cultivar[0] + slope * np.sqrt(12))


def test_intervals_of_a_gain_in_days_hold() -> None:
    """Of 120 intervals of 95 %, at least 105 and fewer than all hold the truth: three standard errors either way."""
    rng, held = np.random.default_rng(20261130), 0
    for _ in range(120):
        records, truth = simulated(rng)
        later = asked_of(records).later(6, 0, 0.95)
        assert later is not None
        held += later[1] <= truth <= later[2]
    assert 105 <= held < 120
