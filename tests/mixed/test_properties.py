"""Properties that hold for any data: the engine against dense matrices, and what must not change an answer."""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from dense_mixed import dense
from trialkit.mixed import MixedModelError, NotConverged, fit_mixed
from trialkit.mixed.hypotheses import grid_rows
from trialkit.mixed.likelihood import evaluate
from trialkit.mixed.model import build_model, prepare

FORMULA = "weight_g ~ cultivar * dose"
RANDOM = ["site", "site:block", "bucket", "site:cultivar"]
# Shrinking a trial's seed makes nothing simpler, and takes minutes.
slow = settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)


@st.composite
def trials(draw: Any) -> pd.DataFrame:
    """A small trial in several gardens, with some heads and some whole buckets lost."""
    seed = draw(st.integers(0, 2**32 - 1))
    rng = np.random.default_rng(seed)
    sites, blocks, heads = draw(st.integers(3, 4)), draw(st.integers(2, 3)), draw(st.integers(1, 3))
    spread = [draw(st.floats(0.0, 20.0)) for _ in range(4)]
    rows = [
        (f"s{s}", f"b{b}", c, d, f"{s}.{b}.{c}.{d}")
        for s in range(sites)
        for b in range(blocks)
        for c in ("Fenleaf", "Paleheart")
        for d in ("2", "4", "6")
        for _ in range(heads + 1)
    ]
    data = pd.DataFrame(rows, columns=["site", "block", "cultivar", "dose", "bucket"])
    y = 100 + 5.0 * (data["cultivar"] == "Fenleaf") + rng.normal(0, 10, len(data))
    for term, sd in zip(RANDOM, spread, strict=True):
        codes = data.groupby(term.split(":")).ngroup().to_numpy()
        y = y + rng.normal(0, sd, codes.max() + 1)[codes]
    keep = rng.random(len(data)) > draw(st.sampled_from([0.0, 0.1, 0.3]))
    return data.assign(weight_g=y)[keep].reset_index(drop=True)


@slow
@given(trials(), st.lists(st.floats(0.05, 3.0), min_size=5, max_size=5))
def test_likelihood_agrees_with_dense_matrices(data: pd.DataFrame, variances: list[float]) -> None:
    """Criterion, score, information and Kenward-Roger's parts at any variances, to 1e-9 of n x n algebra."""
    model, response = build_model(data, FORMULA, RANDOM)
    prepared = prepare(model, response[None])
    products = model.cross_products(prepared)
    plain = dense(data.assign(weight_g=data["weight_g"] / prepared.scale[0]), "weight_g", ["cultivar", "dose"], RANDOM)
    for restricted in (True, False):
        point = evaluate(products, np.array([variances]), restricted=restricted)
        assert point.criterion[0] == pytest.approx(plain.criterion(variances, restricted=restricted), rel=1e-9)
        score = plain.score(variances, restricted=restricted)
        np.testing.assert_allclose(point.score[0], score, rtol=1e-9, atol=1e-9 * np.abs(score).max())
    restricted_point = evaluate(products, np.array([variances]), restricted=True)
    information = plain.expected(variances)
    scale = np.sqrt(np.outer(np.diag(information), np.diag(information)))  # of each entry, which may cancel to less
    np.testing.assert_allclose(restricted_point.expected[0] / scale, information / scale, rtol=1e-9, atol=1e-9)


@slow
@given(trials(), st.lists(st.floats(0.3, 2.0), min_size=5, max_size=5))
def test_information_is_the_derivative_of_the_score(data: pd.DataFrame, variances: list[float]) -> None:
    """The observed information is minus the slope of the score, by central differences."""
    model, response = build_model(data, FORMULA, RANDOM)
    prepared = prepare(model, response[None])
    products = model.cross_products(prepared)
    at, step = np.array(variances), 1e-5
    here = evaluate(products, at[None], restricted=True)
    for i in range(len(at)):
        ends = [evaluate(products, (at + sign * step * np.eye(len(at))[i])[None], restricted=True) for sign in (1, -1)]
        slope = (ends[0].score - ends[1].score)[0] / (2 * step)
        np.testing.assert_allclose(-here.observed[0, i], slope, rtol=1e-5, atol=1e-5 * np.abs(here.observed).max())


@slow
@given(trials(), st.sampled_from([None, "site"]))
def test_diagnostics_agree_with_dense_matrices(data: pd.DataFrame, residual_by: str | None) -> None:
    """Residuals, leverage and leaving out a head or a bucket are those of n x n algebra, really leaving it out."""
    random = ["site:block", "bucket"]
    fit = fit_mixed(data, FORMULA, random, residual_by=residual_by)
    plain = dense(data, "weight_g", ["cultivar", "dose"], random, residual_by)
    variances = list(fit.variances)
    inverse, phi, p = plain.projection(variances)
    table = fit.residuals()
    scale = data["weight_g"].std()
    np.testing.assert_allclose(table["marginal"], plain.y - plain.x @ plain.estimate(variances), atol=1e-8 * scale)
    own = sum(v * np.diag(part) for v, part in zip(variances[2:], plain.parts[2:], strict=True))
    np.testing.assert_allclose(table["conditional"], own * (p @ plain.y), atol=1e-7 * scale)
    np.testing.assert_allclose(table["standardised"], p @ plain.y / np.sqrt(np.diag(p)), atol=1e-6)
    np.testing.assert_allclose(table["leverage"], np.diag(plain.x @ phi @ plain.x.T @ inverse), atol=1e-8)
    assert table["leverage"].sum() == pytest.approx(plain.x.shape[1])
    bucket = data["bucket"].iloc[0]
    for term, label, kept in (
        ("residual", data.index[3], data.index != 3),
        ("bucket", bucket, data["bucket"] != bucket),
    ):
        if term == "bucket" and fit.model.diagonal is None:
            continue
        rest = dense(data[kept], "weight_g", ["cultivar", "dose"], random, residual_by)
        if rest.x.shape[1] < plain.x.shape[1]:
            continue
        change = fit.leave_one_out(term).loc[label].to_numpy()
        rows = grid_rows(fit.model.fixed)
        expected = rest.estimate(variances) - plain.estimate(variances)
        np.testing.assert_allclose(rows @ change, expected, atol=1e-7 * scale)


@slow
@given(trials())
def test_residual_variances_by_site_agree_with_dense_matrices(data: pd.DataFrame) -> None:
    """With a residual variance for each garden, likelihood, score and covariance are those of n x n algebra."""
    random = ["site:block", "bucket"]
    fit = fit_mixed(data, FORMULA, random, residual_by="site")
    plain = dense(data, "weight_g", ["cultivar", "dose"], random, "site")
    assert list(fit.variances.index[2:]) == [f"residual:{site}" for site in sorted(data["site"].unique())]
    variances = list(fit.variances)
    assert fit.criterion == pytest.approx(plain.criterion(variances), rel=1e-9)
    np.testing.assert_allclose(fit.means("cultivar:dose")["mean"], plain.estimate(variances), rtol=1e-9)
    score = plain.score(variances)
    sd = np.sqrt(np.diag(plain.expected(variances)))
    free = [name not in fit.at_zero for name in fit.names]
    np.testing.assert_allclose((score / sd)[free], 0, atol=1e-5)
    if not fit.at_zero:
        covariance = plain.kenward_roger_covariance(variances)
        ours = fit.mean_covariance("cultivar:dose")
        np.testing.assert_allclose(ours, covariance, atol=1e-8 * np.abs(covariance).max())


@slow
@given(trials())
def test_fit_agrees_with_dense_matrices(data: pd.DataFrame) -> None:
    """At the estimates, means and Kenward-Roger covariance agree with n x n algebra to 1e-9."""
    try:
        fit = fit_mixed(data, FORMULA, RANDOM, bounds="strata")
    except NotConverged:  # about 1 in 100 of these tiny trials: the message says to hold the variances
        fit = fit_mixed(data, FORMULA, RANDOM)
        assume(not fit.at_zero)  # the dense covariance counts every variance as free
    plain = dense(data, "weight_g", ["cultivar", "dose"], RANDOM)
    variances = list(fit.variances)
    assert fit.criterion == pytest.approx(plain.criterion(variances), rel=1e-9)
    means = fit.means("cultivar:dose")
    np.testing.assert_allclose(means["mean"], plain.estimate(variances), rtol=1e-9)
    covariance = plain.kenward_roger_covariance(variances)
    np.testing.assert_allclose(fit.mean_covariance("cultivar:dose"), covariance, atol=1e-8 * np.abs(covariance).max())


@slow
@given(trials(), st.integers(0, 2**32 - 1))
def test_no_perturbation_is_more_likely(data: pd.DataFrame, seed: int) -> None:
    """The likelihood at the estimates is never below that of variances near by."""
    fit = fit_mixed(data, FORMULA, RANDOM)
    plain = dense(data, "weight_g", ["cultivar", "dose"], RANDOM)
    rng = np.random.default_rng(seed)
    for _ in range(5):
        factor = np.exp(rng.normal(0, 0.3, len(fit.variances)))
        other = np.maximum(fit.variances.to_numpy() * factor, 0) + rng.random(len(factor)) * 1e-3 * fit.variances.sum()
        assert fit.criterion <= plain.criterion(list(other)) + 1e-9 * abs(fit.criterion)


@slow
@given(trials(), st.randoms(use_true_random=False))
def test_row_order_and_names_do_not_matter(data: pd.DataFrame, random: Any) -> None:
    """Shuffled rows and relabelled buckets, blocks and sites give the same answer."""
    order = list(range(len(data)))
    random.shuffle(order)
    other = data.iloc[order].assign(
        bucket=lambda d: "z" + d["bucket"].str[::-1],
        site=lambda d: d["site"].map({"s0": "s3", "s1": "s2", "s2": "s1", "s3": "s0"}),
    )
    same_answer(fit_mixed(data, FORMULA, RANDOM), fit_mixed(other, FORMULA, RANDOM))


@slow
@given(trials(), st.sampled_from([1e-6, 1.0, 1e6]), st.sampled_from([0.0, -50.0, 1e8]))
def test_units_and_offsets_do_not_matter(data: pd.DataFrame, scale: float, offset: float) -> None:
    """Weights in other units or from another zero give the same answer in those units."""
    first = fit_mixed(data, FORMULA, RANDOM)
    second = fit_mixed(data.assign(weight_g=(data["weight_g"] + offset) * scale), FORMULA, RANDOM)
    tolerance = 1e-6 if offset < 1e6 else 1e-4  # adding 1e8 rounds the data themselves to about 1e-8
    np.testing.assert_allclose(
        second.variances / scale**2, first.variances, rtol=tolerance, atol=tolerance * first.variances.sum()
    )
    np.testing.assert_allclose(second.anova()["f"], first.anova()["f"], rtol=10 * tolerance)
    size = first.means("dose")["mean"].abs().max() + abs(offset)
    np.testing.assert_allclose(
        second.means("dose")["mean"] / scale - offset, first.means("dose")["mean"], atol=1e-9 * size
    )


@slow
@given(trials())
def test_level_order_does_not_matter(data: pd.DataFrame) -> None:
    """Another reference level recodes the contrasts; tests and means stay."""
    other = data.assign(
        dose=pd.Categorical(data["dose"], ["6", "2", "4"]), cultivar=pd.Categorical(data["cultivar"])[:]
    )
    same_answer(fit_mixed(data, FORMULA, RANDOM), fit_mixed(other, FORMULA, RANDOM))


def same_answer(first: Any, second: Any) -> None:
    """Compare everything that a user sees."""
    assert second.criterion == pytest.approx(first.criterion, rel=1e-9)
    total = first.variances.sum()
    np.testing.assert_allclose(second.variances, first.variances, rtol=1e-6, atol=1e-8 * total)
    for table in ("anova",):
        np.testing.assert_allclose(getattr(second, table)(), getattr(first, table)(), rtol=1e-5, atol=1e-9)
    ours, theirs = first.means("cultivar:dose").sort_index(), second.means("cultivar:dose").sort_index()
    index = [tuple(map(str, label)) for label in ours.index]
    assert sorted(index) == sorted(tuple(map(str, label)) for label in theirs.index)
    theirs.index = pd.MultiIndex.from_tuples([tuple(map(str, x)) for x in theirs.index])
    ours.index = pd.MultiIndex.from_tuples(index)
    columns = ["mean", "se", "df", "lower", "upper"]
    np.testing.assert_allclose(theirs.loc[ours.index, columns], ours[columns], rtol=1e-5)


def base(n: int = 24) -> pd.DataFrame:
    """A tidy small data set to break in various ways."""
    rng = np.random.default_rng(7)
    data = pd.DataFrame({"dose": list("abcd") * (n // 4), "block": np.repeat(range(n // 4), 4).astype(str)})
    return data.assign(weight_g=100 + rng.normal(0, 5, n))


REFUSALS = {
    "no complete row": (lambda d: d.assign(weight_g=np.nan), "weight_g ~ dose", ["block"], "No row is complete"),
    "constant response": (lambda d: d.assign(weight_g=7.0), "weight_g ~ dose", ["block"], "does not vary"),
    "perfect fit": (lambda d: d.assign(weight_g=d["dose"].map({"a": 0.1, "b": 0.2, "c": 0.3, "d": 0.7})),
                    "weight_g ~ dose", ["block"], "does not vary"),
    "nothing left for the residual": (lambda d: d.assign(weight_g=100.0 + d["block"].astype(int) ** 2),
                                      "weight_g ~ dose", ["block"], "none is left for the residual"),
    "as many effects as rows": (lambda d: d[:4], "weight_g ~ dose", [], "4 rows for 4 fixed effects"),
    "term twice": (lambda d: d, "weight_g ~ dose", ["block", "block"], "named twice"),
    "the same grouping twice": (lambda d: d.assign(bench=d["block"]), "weight_g ~ dose", ["block", "bench"], "alike"),
    "term is the residual": (lambda d: d.assign(row=range(len(d))), "weight_g ~ dose", ["row"], "residual"),
    "term with one level": (lambda d: d.assign(site="x"), "weight_g ~ dose", ["site"], "'site'"),
    "term inside the fixed part": (lambda d: d, "weight_g ~ dose", ["dose"], "'dose'"),
    "unknown column": (lambda d: d, "weight_g ~ dosis", [], "'dosis'"),
    "function in the formula": (lambda d: d, "weight_g ~ log(dose)", [], "not a column name"),
    "two responses": (lambda d: d, "weight_g + dose ~ block", [], "one response"),
    "text response": (lambda d: d, "dose ~ block", [], "numbers"),
    "infinite response": (lambda d: d.assign(weight_g=np.inf), "weight_g ~ dose", [], "infinite"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSALS)
def test_impossible_models_are_refused_in_one_sentence(name: str) -> None:
    """What cannot be fitted is refused, and the message names the reason."""
    damage, formula, random, words = REFUSALS[name]
    with pytest.raises(MixedModelError, match=words):
        fit_mixed(damage(base()), formula, random)


def test_several_variances_at_zero() -> None:
    """Several variances that are too small to measure are held at zero together, and the rest is as without them."""
    rng = np.random.default_rng(3)
    data = base(48).assign(weight_g=rng.normal(100, 5, 48), bench=np.tile(range(6), 8).astype(str))
    data["weight_g"] -= data.groupby("block")["weight_g"].transform("mean")
    data["weight_g"] -= data.groupby("bench")["weight_g"].transform("mean")
    fit = fit_mixed(data, "weight_g ~ dose", ["block", "bench"])
    plain = fit_mixed(data, "weight_g ~ dose")
    assert fit.at_zero == ("block", "bench")
    np.testing.assert_allclose(fit.anova(), plain.anova(), rtol=1e-9)


def test_a_factor_with_two_hundred_levels() -> None:
    """A fixed factor with 200 levels fits, and its F is the ordinary one."""
    rng = np.random.default_rng(4)
    data = pd.DataFrame({"line": np.repeat(range(200), 3).astype(str), "y": rng.normal(0, 1, 600)})
    table = fit_mixed(data, "y ~ line").anova()
    between = 3 * data.groupby("line")["y"].mean().var()
    within = data.groupby("line")["y"].var().mean()
    assert table.loc["line", "f"] == pytest.approx(between / within, rel=1e-9)
    assert table.loc["line", "denominator_df"] == pytest.approx(400, rel=1e-9)


def test_missing_values_are_dropped_and_counted() -> None:
    """Rows with a missing value do not take part, and the fit says how many."""
    data = base()
    data.loc[[3, 8], "weight_g"] = np.nan
    fit = fit_mixed(data, "weight_g ~ dose", ["block"])
    assert fit.dropped == 2
    assert fit.model.heads == 22


def test_simulated_responses_have_the_fitted_moments() -> None:
    """Simulated responses vary as the model says: mean within 5 standard errors, variance within 10 %; fixed seed."""
    data = base(400)
    data["weight_g"] += data["block"].astype(float) % 7
    fit = fit_mixed(data, "weight_g ~ dose", ["block"])
    drawn = fit.simulate(np.random.default_rng(1), 200)
    assert drawn.shape == (200, 400)
    assert drawn.mean() == pytest.approx(data["weight_g"].mean(), abs=5 * np.sqrt(fit.variances.sum() / 400))
    assert drawn.var(axis=0).mean() == pytest.approx(fit.variances.sum(), rel=0.1)
