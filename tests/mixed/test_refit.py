"""Many responses at once give what fitting them one by one gives, to 1e-8."""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.mixed import MixedModelError, NotConverged, NotEstimable, fit_mixed, refit_many

RANDOM = {"one garden": ["block", "bucket"], "three gardens": ["site", "site:block", "bucket", "site:dose"]}


def trial(gardens: int, lost: float) -> pd.DataFrame:
    """Heads of a trial with two cultivars and three doses, some of them lost."""
    rng = np.random.default_rng(11)
    rows = [
        (f"s{s}", f"b{b}", c, d, f"{s}.{b}.{c}.{d}")
        for s in range(gardens)
        for b in range(3)
        for c in "AB"
        for d in "246"
        for _ in range(3)
    ]
    data = pd.DataFrame(rows, columns=["site", "block", "cultivar", "dose", "bucket"])
    data["weight_g"] = 100 + rng.normal(0, 8, len(data)) + rng.normal(0, 5, 99)[data.groupby("bucket").ngroup()]
    return data[rng.random(len(data)) >= lost].reset_index(drop=True)


@pytest.mark.parametrize("bounds", ["strata", "nonnegative"])
@pytest.mark.parametrize("lost", [0.0, 0.1])
@pytest.mark.parametrize("name", RANDOM)
def test_same_answers_as_one_by_one(name: str, lost: float, bounds: Any) -> None:
    """Variances, criterion, tests and contrasts agree, on orthogonal designs and others, bounded or not."""
    data = trial(3 if name == "three gardens" else 1, lost)
    fit = fit_mixed(data, "weight_g ~ cultivar * dose", RANDOM[name], bounds=bounds)
    assert (fit.strata is None) == (lost > 0)
    responses = fit.simulate(np.random.default_rng(5), 40)
    contrast = np.zeros((1, len(fit.model.fixed.names)))
    contrast[0, [1, 2]] = 1.0
    refits = refit_many(fit, responses, contrasts=contrast)
    settled = 0
    for i, response in enumerate(responses):
        try:
            single = fit_mixed(
                data.assign(weight_g=response), "weight_g ~ cultivar * dose", RANDOM[name], bounds=bounds
            )
        except NotConverged:
            assert not refits.converged[i]
            continue
        settled += 1
        assert refits.converged[i]
        total = single.variances.sum()
        np.testing.assert_allclose(refits.variances[i], single.variances, rtol=1e-7, atol=1e-8 * total)
        assert refits.criterion[i] == pytest.approx(single.criterion, rel=1e-9)
        for term, row in single.anova().iterrows():
            test = refits.tests[str(term)]
            assert test.f[i] == pytest.approx(row["f"], rel=1e-7)
            assert test.denominator_df[i] == pytest.approx(row["denominator_df"], rel=1e-6)
            assert test.p[i] == pytest.approx(row["p"], rel=1e-6, abs=1e-12)
        small, basis = single.small, single.model.fixed.to_orthogonal(contrast)
        assert refits.estimate[i, 0] == pytest.approx(small.estimate(basis)[0, 0], rel=1e-8, abs=1e-9)
        assert refits.se[i, 0] == pytest.approx(small.contrast_se(basis)[0, 0], rel=1e-7)
        assert refits.df[i, 0] == pytest.approx(small.contrast_df(basis)[0, 0], rel=1e-6)
    assert settled > 30


@pytest.mark.parametrize("bounds", ["strata", "nonnegative"])
def test_a_latin_square_is_orthogonal(bounds: Any) -> None:
    """Rows, columns and treatments of one square: its grand mean is a stratum of its own, without residual.

    Where free variances make V singular on the mean, a single fit is refused and the refit missing.
    """
    order = [[0, 1, 2, 3], [1, 0, 3, 2], [2, 3, 0, 1], [3, 2, 1, 0]]
    places = [(f"r{i}", f"c{j}", "ABCD"[order[i][j]], f"{i}{j}") for i in range(4) for j in range(4)]
    data = pd.DataFrame(places, columns=["row", "column", "cultivar", "bucket"])
    rng = np.random.default_rng(3)
    data["weight_g"] = 100 + rng.normal(0, 6, 16) + 9 * rng.standard_normal(4)[np.arange(16) // 4]
    data["weight_g"] += 9 * rng.standard_normal(4)[np.arange(16) % 4]
    fit = fit_mixed(data, "weight_g ~ cultivar", ["row", "column"], bounds=bounds)
    assert fit.strata is not None
    responses = 100 + rng.standard_normal((60, 16)) * 6
    contrast = np.zeros((2, 4))
    contrast[0, 1] = contrast[1, 0] = 1.0  # a difference, and a mean
    refits = refit_many(fit, responses, contrasts=contrast)
    missing = 0
    for i, response in enumerate(responses):
        try:
            single = fit_mixed(data.assign(weight_g=response), "weight_g ~ cultivar", ["row", "column"], bounds=bounds)
        except NotConverged:
            assert not refits.converged[i]
            missing += 1
            continue
        assert refits.converged[i]
        assert refits.criterion[i] == pytest.approx(single.criterion, rel=1e-8)
        assert refits.tests["cultivar"].p[i] == pytest.approx(single.anova().loc["cultivar", "p"], rel=1e-6)
        assert refits.se[i] == pytest.approx(single.coefficients["se"].iloc[[1, 0]].to_numpy(), rel=1e-6)
    assert (missing > 0) == (bounds == "strata")
    assert missing < 40


def test_a_balanced_trial_keeps_its_level_exactly() -> None:
    """With free strata, complete blocks of buckets give the classical F on (t-1)(r-1) d.f., whatever the variances."""
    rows = [(b, t, f"{b}{t}") for b in range(4) for t in "ABC" for _ in range(4)]
    data = pd.DataFrame(rows, columns=["block", "treatment", "bucket"]).assign(weight_g=np.arange(48) % 7.0)
    fit = fit_mixed(data, "weight_g ~ treatment", ["block", "bucket"], bounds="strata")
    responses = np.random.default_rng(1).normal(0, 1, (500, 48))  # true block and bucket variances of zero
    means = responses.reshape(500, 4, 3, 4).mean(3)
    treatment, block, grand = means.mean(1), means.mean(2), means.mean((1, 2))
    left = means - treatment[:, None] - block[:, :, None] + grand[:, None, None]
    f = (4 * ((treatment - grand[:, None]) ** 2).sum(1) / 2) / ((left**2).sum((1, 2)) / 6)
    test = refit_many(fit, responses).tests["treatment"]
    np.testing.assert_allclose(test.p, stats.f.sf(f, 2, 6), rtol=1e-9)
    np.testing.assert_allclose(test.denominator_df, 6.0, rtol=1e-9)


def test_strata_of_a_split_plot(mixed_case: Any) -> None:
    """The strata found are the classical ones: Yates's oats have 5, 10 and 45 residual degrees of freedom."""
    if mixed_case.expected["case"] != "oats_split_plot":
        return
    strata = mixed_case.fit(bounds="strata").strata
    assert sorted(strata.df) == [5, 10, 45]


def test_refitting_its_own_response_changes_nothing(mixed_case: Any) -> None:
    """Refitting a reference case's own response gives its variances again."""
    fit = mixed_case.fit()
    response = mixed_case.data[fit.model.fixed.formula.response].to_numpy(float)
    refits = refit_many(fit, response)
    np.testing.assert_allclose(refits.variances[0], fit.variances, rtol=1e-6, atol=1e-8 * fit.variances.sum())


def test_a_response_that_does_not_settle_is_missing() -> None:
    """A response whose random terms leave nothing for the residual is missing, alone or beside others that settle."""
    data = trial(1, 0.1)
    fit = fit_mixed(data, "weight_g ~ dose", ["block", "bucket"])
    hopeless = 100.0 + data["block"].str[1].astype(float).to_numpy() ** 2
    for responses, settled in (([hopeless], [False]), ([hopeless, data["weight_g"].to_numpy()], [False, True])):
        refits = refit_many(fit, np.array(responses))
        assert list(refits.converged) == settled
        assert list(np.isfinite(refits.tests["dose"].p)) == settled


def test_fishers_steps_do_not_zigzag() -> None:
    """Residual variances by garden, few heads a bucket: Fisher's steps went to and fro for ever in 5 of these 1000."""
    data = trial(4, 0.6)
    fit = fit_mixed(data, "weight_g ~ cultivar * dose", ["site:block", "bucket"], residual_by="site")
    rng = np.random.default_rng(5)
    responses = rng.normal(size=(1000, len(data)))
    for columns in (["site", "block"], ["bucket"]):
        codes = data.groupby(columns).ngroup().to_numpy()
        responses += rng.uniform(0, 1.2, (1000, 1)) * rng.normal(size=(1000, codes.max() + 1))[:, codes]
    assert refit_many(fit, responses).converged.all()


def test_wrong_questions_are_refused() -> None:
    """A fit by full likelihood, responses of another length and contrasts that are not estimable are refused."""
    data = trial(1, 0.0)
    fit = fit_mixed(data, "weight_g ~ cultivar * dose", ["block"])
    with pytest.raises(MixedModelError, match="54 rows"):
        refit_many(fit, np.zeros((2, 5)))
    with pytest.raises(MixedModelError, match="reml"):
        refit_many(fit_mixed(data, "weight_g ~ dose", ["block"], method="ml"), np.zeros((2, 54)))
    lost = data[~((data["cultivar"] == "A") & (data["dose"] == "2"))]
    holed = fit_mixed(lost, "weight_g ~ cultivar * dose", ["block"])
    with pytest.raises(NotEstimable):
        refit_many(holed, holed.simulate(np.random.default_rng(1), 2), contrasts=np.eye(6))
