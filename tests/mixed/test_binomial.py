"""Logistic mixed models of counts: against glmer, general libraries, and the long way round."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.optimize import approx_fprime
from scipy.special import expit, gammaln, xlogy
from scipy.stats import binom, norm

from trialkit.mixed import (
    FormulaError,
    MixedModelError,
    NotConverged,
    Separation,
    example,
    fit_binomial,
)
from trialkit.mixed.binomial_likelihood import evaluate, place
from trialkit.mixed.model import build_counts_model

FOLDER = Path(__file__).parents[1] / "reference" / "binomial"
CASES = json.loads((FOLDER / "binomial.json").read_text(encoding="utf-8"))["cases"]
FILES = {"herds": "cbpp", "records": "cbpp", "persons": "verbal", "gardens": "heads", "nested": "heads"}
LABELS = ("herd", "period", "record", "id", "site", "block", "bucket")


def counts_of(name: str) -> pd.DataFrame:
    """Data of a case; labels are read as text."""
    return pd.read_csv(FOLDER / f"{FILES[name.split('_')[0]]}.csv", dtype=dict.fromkeys(LABELS, str))


def fitted(name: str) -> Any:
    """The engine's fit of a case."""
    case = CASES[name]
    trials = case["trials"] if isinstance(case["trials"], str) else None
    return fit_binomial(counts_of(name), case["formula"], case["random"], trials=trials, points=case["points"])


@pytest.mark.parametrize("name", CASES)
def test_glmer_finds_the_same(name: str) -> None:
    """Standard deviations, estimates, errors, effects with theirs, and shares on average over gardens."""
    case, fit = CASES[name], fitted(name)
    deviations = np.array([case["standard_deviations"][term] for term in fit.names])
    assert_allclose(np.sqrt(fit.variances), deviations, rtol=1e-6, atol=1e-8)
    assert fit.at_zero == tuple(term for term, sd in zip(fit.names, deviations, strict=True) if sd == 0)
    assert_allclose(fit.coefficients["estimate"], case["estimates"], rtol=1e-6, atol=1e-6)
    assert_allclose(fit.coefficients["se"], case["standard_errors"], rtol=1e-5)
    for term, theirs in case["effects"].items():
        ours = fit.random_effects(term).loc[theirs["level"]]
        assert_allclose(ours["effect"], theirs["effect"], rtol=1e-5, atol=2e-5)
        assert_allclose(ours["se"], theirs["sd"], rtol=1e-5, atol=1e-8)
    if fit.model.fixed.formula.columns == ("treatment",):
        shares = fit.means("treatment")
        assert_allclose(shares["share"], case["shares_of_distinct_rows"]["share"], rtol=1e-7)
        assert_allclose(shares["se"], case["shares_of_distinct_rows"]["se"], rtol=1e-5)


@pytest.mark.parametrize("name", CASES)
def test_glmer_has_the_same_likelihood(name: str) -> None:
    """Laplace's likelihood is glmer's; that of quadrature leaves out the saturated model there."""
    case, fit = CASES[name], fitted(name)
    left_out = 0.0
    if case["points"] > 1 and isinstance(case["trials"], str):
        data = counts_of(name)
        y, n = data[fit.model.fixed.formula.response], data[case["trials"]]
        left_out = float((xlogy(y, y / n) + xlogy(n - y, 1 - y / n)).sum()) + fit.point.counts.constant
    assert fit.log_likelihood == pytest.approx(-case["deviance"] / 2 + left_out, rel=1e-10)


@pytest.mark.parametrize(
    ("random", "points"),
    [(["site"], 1), (["site"], 7), (["site", "site:block", "bucket"], 1), (["block", "site"], 1), (["bucket"], 4)],
)
def test_the_gradient_is_that_of_the_likelihood(random: list[str], points: int) -> None:
    """At parameters far from the estimates, by differences; terms nested, crossed and with a level for every row."""
    model, successes, trials = build_counts_model(counts_of("gardens"), "usable ~ treatment", random, "recorded")
    counts = place(model, successes, trials)
    at = np.random.default_rng(3).uniform(0.4, 1.2, len(random) + counts.x.shape[1])
    found = evaluate(counts, at, points)
    differences = approx_fprime(at, lambda x: evaluate(counts, x, points).deviance, 1e-6)
    assert_allclose(found.gradient, differences, rtol=1e-4, atol=1e-4)


def test_quadrature_is_the_integral() -> None:
    """Thirty points give what adaptive integration over each block's effect gives."""
    fit = fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads", points=30)
    sd, logit = float(fit.point.theta[0]), fit.coefficients["estimate"]
    shift = {"2": 0.0, "4": logit["dose[T.4]"], "6": logit["dose[T.6]"]}

    def of_block(some: pd.DataFrame) -> float:
        at = logit["Intercept"] + some["dose"].map(shift).to_numpy()
        return quad(lambda z: binom.pmf(some["lost"], 8, expit(at + sd * z)).prod() * norm.pdf(z), -9, 9)[0]

    total = sum(np.log(of_block(some)) for _, some in example.small_counts().groupby("block"))
    assert fit.log_likelihood == pytest.approx(total, abs=1e-9)


def test_without_variation_it_is_logistic_regression() -> None:
    """Gardens alike: a variance of zero, and estimates and errors of statsmodels' GLM."""
    even = example.small_counts().assign(lost=[3, 4, 2, 4, 3, 3, 3, 4, 2, 4, 3, 3])
    fit = fit_binomial(even, "lost ~ dose", ["block"], trials="heads")
    x = np.column_stack([np.ones(12), even["dose"] == "4", even["dose"] == "6"]).astype(float)
    theirs = sm.GLM(np.column_stack([even["lost"], 8 - even["lost"]]), x, family=sm.families.Binomial()).fit()
    assert fit.at_zero == ("block",)
    assert_allclose(fit.coefficients["estimate"], theirs.params, rtol=1e-7, atol=1e-9)
    assert_allclose(fit.coefficients["se"], theirs.bse, rtol=1e-6)
    assert fit.log_likelihood == pytest.approx(theirs.llf, rel=1e-12)
    assert np.isinf(fit.means("dose")["df"]).all() or (fit.means("dose")["df"] > 1e6).all()


def test_heads_and_buckets_say_the_same() -> None:
    """A row a head or a row a bucket, in any order: the same fit, but for the ways in which heads can be lost."""
    buckets = counts_of("gardens")
    heads = buckets.loc[buckets.index.repeat(buckets["recorded"])]
    heads = heads.assign(came=(heads.groupby("bucket").cumcount() < heads["usable"]).astype(int)).sample(
        frac=1, random_state=2
    )
    one = fit_binomial(buckets, "usable ~ treatment", ["site", "bucket"], trials="recorded")
    other = fit_binomial(heads, "came ~ treatment", ["site", "bucket"])
    n, y = buckets["recorded"], buckets["usable"]
    ways = float((gammaln(n + 1) - gammaln(y + 1) - gammaln(n - y + 1)).sum())
    assert one.log_likelihood - other.log_likelihood == pytest.approx(ways, abs=1e-9)
    assert_allclose(one.coefficients, other.coefficients, rtol=1e-6)


def test_shares_of_a_typical_garden_and_of_all() -> None:
    """Typical is the inverse logit of the means; on average is its integral over gardens; limits hold the share."""
    fit = fit_binomial(counts_of("gardens"), "usable ~ treatment", ["site"], trials="recorded", points=9)
    typical, average = fit.means("treatment", of="typical"), fit.means("treatment")
    logit = fit.coefficients["estimate"].to_numpy()
    logit = logit[0] + np.array([0.0, *logit[1:]])
    assert_allclose(typical["share"], expit(logit), rtol=1e-12)
    sd = float(fit.point.theta[0])
    over = [quad(lambda z, at=at: expit(at + sd * z) * norm.pdf(z), -10, 10, epsabs=1e-13)[0] for at in logit]
    assert_allclose(average["share"], over, rtol=1e-9)
    assert (abs(average["share"] - 0.5) < abs(typical["share"] - 0.5)).all()
    assert ((average["lower"] < average["share"]) & (average["share"] < average["upper"])).all()


def test_shares_average_over_other_factors() -> None:
    """Marginal shares are means of shares, not of logits; weights are the user's."""
    persons = counts_of("persons")
    fit = fit_binomial(persons, "came ~ behaviour * situation", ["id"])
    each, of_one = fit.means("behaviour:situation")["share"], fit.means("behaviour")["share"]
    assert_allclose(of_one, each.groupby("behaviour").mean(), rtol=1e-12)
    alone = fit.means("behaviour", weights={"situation": {"self": 1}})["share"]
    assert_allclose(alone, each.xs("self", level="situation"), rtol=1e-12)


def test_few_gardens_widen_the_limits() -> None:
    """Where gardens are all that varies, degrees of freedom are theirs, less one."""
    buckets = counts_of("gardens")
    many = buckets.assign(recorded=10_000 * buckets["recorded"], usable=10_000 * buckets["usable"])
    fit = fit_binomial(many, "usable ~ treatment", ["site"], trials="recorded")
    assert_allclose(fit.means("treatment")["df"], 5.0, rtol=0.01)


def test_separation_is_named_and_its_rows_change_nothing() -> None:
    """Counts that two factors split only together are found; without the rows the rest has the same likelihood."""
    counts = counts_of("gardens").assign(far=lambda data: np.where(data["site"].isin(["a", "b"]), "yes", "no"))
    split = (counts["far"] == "yes") & (counts["treatment"] == "t1")
    counts["usable"] = counts["usable"].where(~split, counts["recorded"])
    fit_binomial(counts, "usable ~ treatment + far", ["site"], trials="recorded")
    with pytest.raises(Separation, match="treatment t1, far yes") as refused:
        fit_binomial(counts, "usable ~ treatment * far", ["site"], trials="recorded")
    assert list(refused.value.rows) == list(counts.index[split])
    model, successes, trials = build_counts_model(counts, "usable ~ treatment * far", ["site"], "recorded")
    rest = fit_binomial(counts[~split], "usable ~ treatment * far", ["site"], trials="recorded")
    assert rest.aliased
    wide = place(model, successes, trials)
    fixed = np.linalg.lstsq(wide.x, place_logit(rest, counts, split), rcond=None)[0]
    far_out = evaluate(wide, np.concatenate([rest.point.theta, fixed]), 1)
    assert -far_out.deviance / 2 == pytest.approx(rest.log_likelihood, abs=1e-6)


def place_logit(rest: Any, counts: pd.DataFrame, split: pd.Series) -> np.ndarray:
    """Logits of the fixed part by cell of all counts: of the rows split off far out, else those of the rest's fit."""
    model = build_counts_model(counts, "usable ~ treatment * far", ["site"], "recorded")[0]
    shares = rest.means("treatment:far", of="typical")["share"]
    at = counts.iloc[model.cells.representatives]
    found = [shares.get((one.treatment, one.far), np.nan) for one in at.itertuples()]
    logit = np.log(np.array(found) / (1 - np.array(found)))
    return np.where(split[at.index], 25.0, logit)


def test_a_term_whose_levels_are_all_or_none_has_no_end() -> None:
    """Buckets that die or live as a whole: their standard deviation grows without end, and that is said."""
    buckets = example.small_counts().assign(lost=[0, 8] * 6, bucket=range(12))
    with pytest.raises(NotConverged, match="'bucket'"):
        fit_binomial(buckets, "lost ~ dose", ["bucket"], trials="heads")


@pytest.mark.parametrize(
    ("change", "asked", "says"),
    [
        ({"lost": 9}, {}, "9 successes of 8 trials"),
        ({"lost": 2.5}, {}, "2.5 successes"),
        ({"heads": "many"}, {}, "'heads' must be a column of numbers"),
        ({}, {"trials": None}, "of 1 trials"),
        ({}, {"points": 0}, "points is 0"),
        ({}, {"points": 3, "random": ["block", "dose"]}, "one random term"),
        (
            {"heads": 1, "lost": [0, 1] * 6, "head": range(12)},
            {"random": ["head"]},
            "'head' has a level for every trial",
        ),
        ({}, {"random": []}, "at least one random term"),
    ],
)
def test_what_cannot_be_fitted_is_refused_in_words(change: dict[str, Any], asked: dict[str, Any], says: str) -> None:
    """Counts that are none, a quadrature over two terms, no random term."""
    data = example.small_counts().assign(**change)
    with pytest.raises(MixedModelError, match=says):
        fit_binomial(data, "lost ~ dose", **({"random": ["block"], "trials": "heads"} | asked))


def test_the_trials_column_must_be_there() -> None:
    """An unknown column is named."""
    with pytest.raises(FormulaError, match="'heds'"):
        fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heds")
