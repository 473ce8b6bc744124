"""The second algebra: absorbed terms and a dense core, against n x n matrices and against the first algebra."""

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from dense_mixed import Dense, dense
from trialkit.mixed import MixedFit, fit_mixed
from trialkit.mixed.absorbed_design import absorbed_design
from trialkit.mixed.absorbed_likelihood import AbsorbedPoint, CellResponse, evaluate_absorbed
from trialkit.mixed.algebra_choice import absorption_pays
from trialkit.mixed.face_scoring import estimate_absorbed
from trialkit.mixed.model import Model, build_model, prepare
from trialkit.mixed.small_sample import small_sample, variance_covariance

some = settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)
DESIGNS = [
    ["site", "person"],
    ["site with days"],
    ["days by site", "site", "person"],
    ["site with days, dose", "person with days", "bench"],
    ["site:bench with dose", "site", "dose by person", "bench"],
    ["site:person", "bench with days", "site"],
]


@st.composite
def crossed(draw: Any) -> pd.DataFrame:
    """Heads of sites, persons and benches met at random, several in a cell, with two columns of numbers."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    n = draw(st.integers(40, 70))
    data = pd.DataFrame(
        {
            "site": rng.integers(0, draw(st.integers(4, 9)), n).astype(str),
            "person": rng.integers(0, draw(st.integers(3, 7)), n).astype(str),
            "bench": rng.integers(0, 3, n).astype(str),
            "days": rng.integers(0, 4, n) + draw(st.sampled_from([0.0, 50.0])),
            "dose": rng.integers(1, 4, n) * draw(st.sampled_from([1.0, 0.01])),
            "cultivar": rng.choice(["Fenleaf", "Paleheart"], n),
        }
    )
    data = pd.concat([data, data.head(draw(st.integers(0, 15)))], ignore_index=True)
    return data.assign(weight_g=100 + rng.normal(0, 10, len(data)))


def drawn_point(
    data: pd.DataFrame, random: list[str], residual_by: str | None, seed: int, *, restricted: bool = True
) -> tuple[Model, AbsorbedPoint, Dense]:
    """Evaluate at covariance matrices drawn at random, some of them of lower rank; the same with n x n matrices."""
    model, response = build_model(data, "weight_g ~ cultivar + days", random, residual_by)
    prepared, design = prepare(model, response[None]), absorbed_design(model)
    rng = np.random.default_rng(seed)
    inside = []
    for place in design.places:
        root = rng.normal(0, 1, (place.parts, rng.integers(place.parts > 1, place.parts + 1)))
        sigma = root @ root.T
        inside += [sigma[i, j] for i, j in place.term.pairs]
    inside += list(rng.uniform(0.5, 1.5, len(design.heads)))
    on_cells = CellResponse(prepared.means[0] * np.sqrt(model.cells.sizes), prepared.within[0])
    point = evaluate_absorbed(design, on_cells, np.array(inside), restricted=restricted)
    scaled = data.assign(weight_g=data["weight_g"] / prepared.scale[0])
    return model, point, dense(scaled, "weight_g", ["cultivar"], random, residual_by, ["days"])


def close(ours: Any, theirs: Any, tolerance: float = 1e-9) -> None:
    """Agree to a share of the largest."""
    np.testing.assert_allclose(ours, theirs, rtol=tolerance, atol=tolerance * np.abs(theirs).max())


def user_score(point: AbsorbedPoint) -> np.ndarray:
    """Score by the parameters as the user knows them."""
    return np.linalg.inv(point.solved.back).T @ point.score


@some
@given(crossed(), st.sampled_from(DESIGNS), st.sampled_from([None, "bench"]), st.integers(0, 999))
def test_likelihood_agrees_with_dense_matrices(
    data: pd.DataFrame, random: list[str], residual_by: str | None, seed: int
) -> None:
    """Criterion, score, expected and average information, Phi and Kenward-Roger's covariance, to 1e-9 and less."""
    for restricted in (True, False):
        model, point, plain = drawn_point(data, random, residual_by, seed, restricted=restricted)
        theta = point.variances[0]
        assert point.criterion[0] == pytest.approx(plain.criterion(theta, restricted=restricted), rel=1e-9)
        scale = np.sqrt(np.diag(plain.expected(theta)))
        theirs = plain.score(theta, restricted=restricted)
        np.testing.assert_allclose(user_score(point) / scale, theirs / scale, rtol=1e-8, atol=1e-8)
    model, point, plain = drawn_point(data, random, residual_by, seed)
    outer = np.outer(scale, scale)
    close(point.expected[0] / outer, plain.expected(theta) / outer)
    p_y = plain.projection(theta)[2] @ plain.y
    sides = [part @ p_y for part in plain.parts]
    average = np.array([[a @ plain.projection(theta)[2] @ b / 2 for a in sides] for b in sides])
    out = np.linalg.inv(point.solved.back)
    close(out.T @ point.average @ out / outer, average / outer)
    prepared = prepare(model, data["weight_g"].to_numpy()[None])
    small = small_sample(point, np.ones((1, len(theta)), bool), prepared)
    basis = model.fixed.orthogonal[model.fixed_row][model.cells.codes]
    change = np.linalg.lstsq(plain.x, basis, rcond=None)[0]
    ours = change @ (small.adjusted[0] / prepared.scale[0] ** 2) @ change.T
    if np.linalg.cond(plain.expected(theta) / outer) < 1e6:
        close(ours, plain.kenward_roger_covariance(theta), 1e-7)


@some
@given(crossed(), st.sampled_from(DESIGNS), st.sampled_from([None, "bench"]), st.integers(0, 999))
def test_prediction_agrees_with_dense_matrices(
    data: pd.DataFrame, random: list[str], residual_by: str | None, seed: int
) -> None:
    """Blocks of Z'V^-1Z, Z'P y, the diagonal of P: what predictions, residuals and leaving out are made of."""
    model, point, plain = drawn_point(data, random, residual_by, seed)
    inverse, _, p = plain.projection(point.variances[0])
    heads = model.cells.codes
    own = point.solved.own(point.phi[0])
    single = model.cells.sizes[heads] == 1
    close(own[heads][single], np.diag(p)[single])
    for position, place in enumerate(point.design.places):
        z = np.zeros((len(heads), len(place.columns), place.parts))
        z[np.arange(len(heads)), place.term.codes[heads]] = place.term.columns[heads] @ place.back
        blocks = np.einsum("nla,nm,mlb->lab", z, inverse, z)
        close(point.solved.inverse.level_blocks(position), blocks)
        close(point.solved.inverse.level_sums(position), blocks.sum(0))
        close(point.level_effects[position], np.einsum("nla,n->la", z, p @ plain.y), 1e-8)


def test_the_two_algebras_agree(mixed_case: Any, fit: MixedFit) -> None:
    """On every reference case of simple terms: likelihood, variances, their covariance, Kenward-Roger's covariance."""
    if not fit.model.terms:
        return
    prepared = fit.prepared
    for method in ("reml", "ml"):
        first = fit if method == "reml" else mixed_case.fit(method="ml")
        point, record = estimate_absorbed(fit.model, prepared, restricted=method == "reml")
        assert point.criterion[0] == pytest.approx(first.point.criterion[0], rel=1e-10)
        np.testing.assert_allclose(point.variances[0], first.point.variances[0], rtol=1e-7, atol=1e-9)
        np.testing.assert_array_equal(record.free, first.record.free)
        close(point.phi, first.point.phi, 1e-8)
        beside = evaluate_absorbed(point.design, point.response, first.point.variances[0], restricted=method == "reml")
        assert beside.criterion[0] == pytest.approx(first.point.criterion[0], rel=1e-12)
        close(beside.phi, first.point.phi, 1e-10)
        close(beside.expected, first.point.expected, 1e-10)
        sd = np.sqrt(np.diagonal(first.point.phi[0]))
        np.testing.assert_allclose(beside.coefficients / sd, first.point.coefficients / sd, atol=1e-10)
    point, record = estimate_absorbed(fit.model, prepared, restricted=True)
    close(variance_covariance(point, record.free), variance_covariance(fit.point, fit.record.free), 1e-7)
    close(small_sample(point, record.free, prepared).adjusted, fit.small.adjusted, 1e-8)


def many_crossed(levels: int, rows: int) -> pd.DataFrame:
    """Rows of two terms crossed at random, as many levels of one as of the other."""
    rng = np.random.default_rng(11)
    first, second = rng.integers(0, levels, (2, rows))
    weight = rng.normal(0, 10, levels)[first] + rng.normal(0, 6, levels)[second] + rng.normal(0, 12, rows)
    return pd.DataFrame({"garden": first, "person": second, "dose": rng.choice(["2", "4"], rows), "weight_g": weight})


def test_the_cheaper_algebra_is_taken() -> None:
    """Large crossed terms and slopes go the second way, nested trials and small ones the first."""
    wide = build_model(many_crossed(400, 4000), "weight_g ~ dose", ["garden", "person"])[0]
    small = build_model(many_crossed(20, 400), "weight_g ~ dose", ["garden", "person"])[0]
    nested = many_crossed(40, 4000).assign(plot=lambda rows: rows["garden"] * 100 + rows["person"])
    assert absorption_pays(wide)
    assert not absorption_pays(small)
    assert not absorption_pays(build_model(nested, "weight_g ~ dose", ["garden", "plot"])[0])


def test_large_crossed_terms_by_average_information() -> None:
    """Where a step goes by the average information, the end is the maximum of the likelihood all the same."""
    data = many_crossed(400, 4000)
    fit = fit_mixed(data, "weight_g ~ dose", ["garden", "person"])
    assert isinstance(fit.point, AbsorbedPoint)
    assert fit.record.largest_score[0] < 1e-9
    sd = np.sqrt(np.diag(fit.point.expected[0]))
    assert np.abs(user_score(fit.point) / sd).max() < 1e-9
    close(fit.point.expected_inside[:2, :2], fit.point.solved.traces(fit.point.phi[0]) / 2)
    for step in np.diag([0.01, 0.01, 0.01]):
        beside = evaluate_absorbed(fit.point.design, fit.point.response, fit.point.inside * (1 + step), restricted=True)
        assert beside.criterion[0] > fit.criterion - 2 * (len(data) - 2) * np.log(fit.prepared.scale[0])
