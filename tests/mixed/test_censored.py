"""Days seen between visits: against plain restricted likelihood, survival regressions, and published values."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize
from scipy.stats import norm

from small_trial import write_small_trial
from trialkit.analysis import analyse
from trialkit.analysis.recorded_responses import ripening
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedModelError, NotConverged, augmentation, fit_mixed
from trialkit.mixed.censored import BURN_IN, CensoredFit, fit_censored
from trialkit.mixed.combining import combined_df
from trialkit.rules.trial_folder import read_trial

REFERENCE = Path(__file__).parents[1] / "reference"
RANDOM = ["site", "site:block", "bucket"]


def trial(*, every: float = 3.0, last: float = 60.0, seed: int = 2) -> pd.DataFrame:
    """Four gardens, three blocks, three treatments, two heads; days as visits every so often would see them."""
    rng = np.random.default_rng(seed)
    index = pd.MultiIndex.from_product(
        [range(4), range(3), ["t1", "t2", "t3"], range(2)], names=["site", "block", "treatment", "head"]
    )
    heads = index.to_frame(index=False)
    heads["bucket"] = np.arange(len(heads)) // 2
    heads["day"] = (
        40
        + heads["treatment"].map({"t1": 0.0, "t2": -3.0, "t3": 2.0})
        + 1.5 * rng.standard_normal(4)[heads["site"]]
        + 1.0 * rng.standard_normal(36)[heads["bucket"]]
        + 1.5 * rng.standard_normal(len(heads))
    )
    heads = heads.astype(dict.fromkeys(("site", "block", "bucket"), str))
    visits = np.arange(20.0, last + every / 2, every)
    at = np.searchsorted(visits, heads["day"])
    heads["lower"] = visits[at - 1]
    heads["upper"] = np.where(at < len(visits), visits[np.minimum(at, len(visits) - 1)], np.inf)
    return heads


def test_known_days_are_plain_restricted_likelihood() -> None:
    """Where every day is known, variances, tests, means and comparisons are the engine's own, digit for digit."""
    heads = trial()
    heads["lower"] = heads["upper"] = heads["day"]
    plain = fit_mixed(heads, "day ~ treatment", RANDOM, bounds="strata")
    fit = fit_censored(heads, "days ~ treatment", RANDOM, bounds="strata", seed=1)
    assert fit.censored.exact == len(heads)
    np.testing.assert_allclose(fit.variances, plain.variances, rtol=1e-12)
    pd.testing.assert_frame_equal(fit.anova(), plain.anova(), rtol=1e-12)
    pd.testing.assert_frame_equal(fit.means("treatment"), plain.means("treatment"), rtol=1e-12)
    pd.testing.assert_frame_equal(
        fit.compare("treatment", "versus", "t1"), plain.compare("treatment", "versus", "t1"), rtol=1e-12
    )


def agrees(fit: CensoredFit, columns: list[str], wanted: list[float], errors: list[float]) -> None:
    """Estimates are within a quarter of their standard errors of the likelihood's, and these within a tenth.

    With 120 completed sets the Monte-Carlo error of an estimate is at most its standard error over root 120, a
    tenth of it; the rest is for a posterior mean not being a maximum.
    """
    table = fit.answers.coefficients.loc[columns]
    assert (np.abs(table["estimate"].to_numpy() - wanted) / errors).max() < 0.25
    assert table["se"].to_numpy() == pytest.approx(np.array(errors), rel=0.1)


def test_survival_regression_of_lung_cancer() -> None:
    """Log-normal regression, 228 patients seen monthly: R's survival (Loprinzi et al. 1994, J. Clin. Oncol. 12)."""
    expected = json.loads((REFERENCE / "time_to_event" / "lung_monthly_visits.json").read_text("utf-8"))
    data = pd.read_csv(REFERENCE / "time_to_event" / "lung_monthly_visits.csv")
    data = data.assign(lower=np.log(data["lower"]), upper=np.log(data["upper"])).astype({"sex": float, "age": float})
    fit = fit_censored(data, "days ~ sex + age", seed=1, imputations=120)
    rows = expected["distributions"]["lognormal"]["coefficients"][1:]
    agrees(fit, ["sex", "age"], [row["estimate"] for row in rows], [row["standard_error"] for row in rows])
    scale = expected["distributions"]["lognormal"]["scale"]
    assert np.sqrt(fit.variances["residual"]) == pytest.approx(scale, rel=0.05)


def test_breast_cosmesis() -> None:
    """Log-normal effect of treatment -0.42100: Finkelstein & Wolfe 1985, Biometrics 41, 933-945, data; fitted by R."""
    data = pd.read_csv(REFERENCE / "data" / "cosmesis_interval.csv")
    lower = np.log(data["left"].where(data["left"] > 0))
    heads = data.assign(lower=lower, upper=np.log(data["right"]), trt=data["trt"].astype(str))
    fit = fit_censored(heads, "days ~ trt", seed=1, imputations=120)
    found = fit.answers.coefficients.loc["trt[T.1]"]
    assert abs(found["estimate"] + 0.42100) < 0.25 * found["se"]
    assert fit.censored.right == int(data["right"].isna().sum())


def test_intervals_lose_little_and_are_not_too_late() -> None:
    """Seen every third day, means are those of the days themselves, not half a gap later.

    To 0.52 days: a day known to three has a standard deviation of 3 / sqrt 12, over 24 heads, and 2.93 standard errors
    hold three means at once in 99 of 100 draws.
    """
    heads = trial()
    truth = fit_mixed(heads, "day ~ treatment", RANDOM).means("treatment")["mean"]
    fit = fit_censored(heads, "days ~ treatment", RANDOM, seed=3)
    np.testing.assert_allclose(fit.means("treatment")["mean"], truth, atol=0.52)
    late = fit_mixed(heads.assign(day=heads["upper"]), "day ~ treatment", RANDOM).means("treatment")["mean"]
    assert (late - truth).min() > 1.0


def test_heads_never_ready_are_not_left_out() -> None:
    """With the last visit on day 38 the slow treatment's mean is still near its truth, which the ready ones' is not."""
    heads = trial(last=38.0)
    right = np.isinf(heads["upper"])
    assert 0.4 < right.mean() < 0.7
    truth = fit_mixed(heads, "day ~ treatment", RANDOM).means("treatment").loc["t3"]
    found = fit_censored(heads, "days ~ treatment", RANDOM, seed=3).means("treatment").loc["t3"]
    assert found["lower"] < truth["mean"] < found["upper"]
    assert heads.loc[~right & (heads["treatment"] == "t3"), "day"].mean() < truth["mean"] - 1.5


def test_the_same_seed_gives_the_same_answer_in_any_order() -> None:
    """Rows in another order give the same means to the last digits, another seed other ones."""
    heads = trial(last=44.0)
    means = [
        fit_censored(rows, "days ~ treatment", RANDOM, seed=seed, imputations=5, burn_in=10).means("treatment")["mean"]
        for rows, seed in ((heads, 1), (heads.sample(frac=1, random_state=5), 1), (heads, 2))
    ]
    np.testing.assert_allclose(means[0], means[1], rtol=1e-9)
    assert not np.allclose(means[0], means[2])


def test_a_treatment_that_never_ripened_is_refused() -> None:
    """Where no head of a treatment was seen ready its mean could be anything, and the treatment is named."""
    heads = trial()
    never = heads["treatment"] == "t3"
    heads.loc[never, ["lower", "upper"]] = [60.0, np.inf]
    with pytest.raises(MixedModelError, match="Every head of treatment 't3' was still not ready"):
        fit_censored(heads, "days ~ treatment", RANDOM, seed=1)


def test_degrees_of_freedom_by_hand() -> None:
    """Ten sets, 20 d.f., a quarter missing: 1 / (1/144 + 1/17.5), between 20 and Barnard & Rubin's 12.507."""
    assert combined_df(np.array([20.0]), np.array([0.25]), 10, 1) == pytest.approx([15.6037], abs=1e-4)


def test_bounds_from_the_visits() -> None:
    """Between the last sight and the cut; the garden's visit before where nobody wrote it down; else the cut itself."""
    heads = pd.DataFrame(
        {
            "site": ["a", "a", "b", "a", "a", "b"],
            "outcome": ["harvested", "harvested", "harvested", "not_ready", "dead", "not_ready"],
            "transplanted_on": pd.to_datetime(["2026-09-01"] * 6),
            "harvested_on": pd.to_datetime(["2026-10-10", "2026-10-10", "2026-10-10", None, None, None]),
            "last_not_ready_on": pd.to_datetime(["2026-10-04", None, None, None, "2026-09-20", None]),
        }
    )
    visits = pd.DataFrame({"site": "a", "visited_on": pd.to_datetime(["2026-09-01", "2026-10-07", "2026-10-13"])})
    found = ripening(heads, visits)
    assert found[["lower", "upper"]].to_numpy().tolist() == [[33, 39], [36, 39], [39, 39], [42, np.inf]]


def test_a_head_ready_at_the_first_visit_is_open_on_the_left() -> None:
    """Cut at its garden's first visit or before it, a head was ready by then; a visit before planting says nothing.

    Neither does the garden's first visit where the head's own last sight is on record. One not ready, in a garden last
    visited before planting, is known to be nothing.
    """
    heads = pd.DataFrame(
        {
            "site": ["a", "a", "a", "a", "b", "b"],
            "outcome": ["harvested"] * 5 + ["not_ready"],
            "transplanted_on": pd.to_datetime(["2026-09-01"] * 6),
            "harvested_on": pd.to_datetime(
                ["2026-10-04", "2026-10-02", "2026-10-07", "2026-10-04", "2026-10-04", None]
            ),
            "last_not_ready_on": pd.to_datetime([None, None, None, "2026-10-01", None, None]),
        }
    )
    days = ["2026-10-04", "2026-10-07", "2026-08-30"]
    visits = pd.DataFrame({"site": ["a", "a", "b"], "visited_on": pd.to_datetime(days)})
    found = ripening(heads, visits)[["lower", "upper"]].to_numpy().tolist()
    assert found == [[-np.inf, 33], [-np.inf, 31], [33, 36], [30, 33], [-np.inf, 33]]


def weekly(share: float) -> pd.DataFrame:
    """Three treatments of 40 heads; of all, so many of 100 are ready at the first weekly visit."""
    rng = np.random.default_rng(5)
    heads = pd.DataFrame({"treatment": np.repeat(["t1", "t2", "t3"], 40)})
    days = 40 + heads["treatment"].map({"t1": 0.0, "t2": -2.0, "t3": 1.0}) + 3.0 * rng.standard_normal(len(heads))
    ends = np.array([-np.inf, *np.arange(days.quantile(share), 70.0, 7.0)])
    at = np.searchsorted(ends, days)
    return heads.assign(lower=ends[at - 1], upper=ends[at])


def test_a_third_ready_at_the_first_visit_settles_at_the_likelihood() -> None:
    """Against the maximum of the normal likelihood of the bounds, written out; to 0.35 of a standard error.

    Two Monte-Carlo errors of 120 sets, of a tenth of a standard error each, and as much again for what
    the chains may still be from where they are going and for a posterior mean not being a maximum.
    """
    heads = weekly(0.35)
    assert np.isinf(heads["lower"]).mean() == pytest.approx(0.35, abs=0.01)
    x = np.column_stack([heads["treatment"] == name for name in ("t1", "t2", "t3")]).astype(float)

    def minus_log_likelihood(parameters: np.ndarray) -> float:
        middle, sd = x @ parameters[:3], np.exp(parameters[3])
        upper, lower = (norm.cdf((heads[name] - middle) / sd) for name in ("upper", "lower"))
        return -float(np.log(upper - lower).sum())

    found = minimize(minus_log_likelihood, [40.0, 40.0, 40.0, 1.0], method="BFGS")
    fit = fit_censored(heads, "days ~ treatment", seed=1, imputations=120)
    errors = np.sqrt(np.diag(found.hess_inv))
    means = fit.means("treatment")
    assert (np.abs(means["mean"].to_numpy() - found.x[:3]) / errors[:3]).max() < 0.35
    assert means["se"].to_numpy() == pytest.approx(errors[:3], rel=0.15)
    assert np.log(fit.variances["residual"]) / 2 == pytest.approx(found.x[3], abs=0.1)


def test_what_is_left_of_chains_of_known_memory() -> None:
    """Chains that keep 0.8 of their distance each block, from 4 days off: after four more, 4 x 0.8^4 are left.

    Of 20,000 chains; beside them a quantity that forgets at once and has moved as far, foreseen as slowly.
    """
    rng = np.random.default_rng(3)
    slow = [rng.standard_normal(20_000) / 0.6 - 4.0]
    for _ in range(4):
        slow.append(0.8 * slow[-1] + rng.standard_normal(20_000))
    quick = rng.standard_normal((5, 20_000)) + np.array([[block.mean()] for block in slow])
    left = augmentation._still_to_move(np.stack([np.array(slow), quick], 1))
    assert left == pytest.approx([4 * 0.8**4] * 2, rel=0.05)


@pytest.mark.parametrize(
    ("heads", "few"),
    [
        (weekly(0.35).assign(lower=lambda rows: rows["lower"].clip(rows["upper"] - 7.0)), True),
        (weekly(0.02), True),
        (weekly(0.35), False),
    ],
    ids=["all bounded", "few open", "a third open"],
)
def test_steps_follow_what_settles(monkeypatch: pytest.MonkeyPatch, heads: pd.DataFrame, few: bool) -> None:
    """One block where all or nearly all heads of each treatment are bounded on both sides, else three or more."""
    taken = []

    def counted(*given: Any, **options: Any) -> Any:
        taken.append(given)
        return fit_sets(*given, **options)

    fit_sets = augmentation.fit_sets
    monkeypatch.setattr(augmentation, "fit_sets", counted)
    fit_censored(heads, "days ~ treatment", seed=1)
    blocks, rest = divmod(len(taken), BURN_IN)
    assert not rest
    assert blocks == 1 if few else blocks >= 3


def test_chains_that_do_not_settle_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where all heads ripened by the first weekly visit or the second, nothing says how much they vary."""
    monkeypatch.setattr(augmentation, "MOST_BLOCKS", 5)
    heads = trial(seed=1)
    first = heads["day"].quantile(0.35)
    early = heads["day"] <= first
    heads = heads.assign(lower=np.where(early, -np.inf, first), upper=np.where(early, first, first + 7.0))
    assert (heads["day"] <= heads["upper"]).all()
    with pytest.raises(NotConverged, match="had not settled after 75 steps: too few heads were seen between two"):
        fit_censored(heads, "days ~ treatment", RANDOM, seed=1)


def test_chains_whose_variances_run_off_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where they leave the means open there is no draw, and the reason is said."""

    def undetermined(*_: object) -> None:
        np.linalg.cholesky(np.zeros((2, 2)))

    monkeypatch.setattr(augmentation._Heads, "draw", undetermined)
    with pytest.raises(NotConverged, match="nothing determines the means: too few heads were seen between two visits"):
        fit_censored(trial(seed=1), "days ~ treatment", RANDOM, seed=1)


def test_the_same_seed_gives_the_same_bytes() -> None:
    """However many steps it takes."""
    first, second = (fit_censored(weekly(0.35), "days ~ treatment", seed=4, imputations=5) for _ in range(2))
    assert first.days.tobytes() == second.days.tobytes()
    assert first.means("treatment").equals(second.means("treatment"))


def test_a_cultivar_ready_at_the_first_visit_is_named(tmp_path: Path) -> None:
    """Where visits begin late its days are not known; the reason names it, and weights are analysed all the same."""

    def ready_at_once(heads: pd.DataFrame) -> pd.DataFrame:
        early = heads["cultivar"] == "Fenleaf"
        kept = heads[~early | (heads["outcome"] == "harvested")].copy()
        kept.loc[early, ["harvested_on", "last_not_ready_on"]] = [kept["last_not_ready_on"].replace("", "z").min(), ""]
        return kept

    write_small_trial(tmp_path, sites=3, cultivars=3, change=ready_at_once)
    heads, visits = (pd.read_csv(tmp_path / name, dtype=str) for name in ("heads.csv", "visits.csv"))
    first = heads["harvested_on"].dropna().min()
    visits[visits["visited_on"] >= first].to_csv(tmp_path / "visits.csv", index=False)
    results = analyse(read_trial(tmp_path))
    days = results.responses["days"]
    assert days.not_analysed is not None
    assert (days.not_analysed.code, days.not_analysed.treatments) == ("ready_at_once", (Treatment("Fenleaf"),))
    assert results.responses["bucket_weight_g"].status == "analysed"
