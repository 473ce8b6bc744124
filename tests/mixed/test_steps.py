"""Short cuts of the engine give what the long way round gives."""

import numpy as np
import pandas as pd
import pytest
from formulaic import Formula
from numpy.testing import assert_allclose, assert_array_equal
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from trialkit.mixed import MixedModelError, NotConverged, fit_mixed
from trialkit.mixed.blocks import independent_blocks
from trialkit.mixed.coded_factors import CodedFactor, group_rows
from trialkit.mixed.hypotheses import grid_rows, reference_grid
from trialkit.mixed.likelihood import VALUES, evaluate
from trialkit.mixed.model import build_model, prepare
from trialkit.mixed.scoring import maximise

FORMULA, RANDOM = "weight_g ~ cultivar * dose", ["site", "site:block", "bucket", "site:cultivar"]


def trial(lost: float, seed: int = 1) -> pd.DataFrame:
    """Heads of a trial in three gardens, some lost."""
    rng = np.random.default_rng(seed)
    sizes = {"site": 3, "block": 2, "cultivar": 2, "dose": 3, "head": 3}
    data = pd.MultiIndex.from_product([range(n) for n in sizes.values()], names=list(sizes)).to_frame(index=False)
    data = data.astype(str).assign(bucket=np.arange(len(data)) // 3, x=rng.normal(0, 1, len(data)))
    effects = rng.normal(0, 5, 3)[data["site"].astype(int)] + rng.normal(0, 12, 36)[data["bucket"]]
    data = data.assign(weight_g=100 + effects + rng.normal(0, 8, len(data)))
    return data[rng.random(len(data)) >= lost].reset_index(drop=True)


@pytest.mark.parametrize("restricted", [True, False])
@pytest.mark.parametrize("residual_by", [None, "site"])
def test_shared_variances_are_each_ones_own(residual_by: str | None, restricted: bool) -> None:
    """Responses that share one row of variances get what each gets with a row of its own."""
    data = trial(0.2)
    model, response = build_model(data, FORMULA, RANDOM[1:3], residual_by)
    responses = response + np.random.default_rng(2).normal(0, 5, (4, len(response)))
    products = model.cross_products(prepare(model, responses))
    variances = np.linspace(0.2, 0.9, len(model.variance_names))[None]
    shared = evaluate(products, variances, restricted=restricted)
    own = evaluate(products, np.repeat(variances, 4, 0), restricted=restricted)
    for name in VALUES:
        assert_allclose(getattr(shared, name), getattr(own, name), rtol=1e-11, atol=1e-11)
        assert len(getattr(shared, name)) == 4


def test_groups_of_rows_are_numbered_in_the_order_of_their_codes() -> None:
    """Codes that leave gaps are numbered without any, the first column's first."""
    rng = np.random.default_rng(3)
    columns = [rng.choice([0, 2, 5], 60), rng.choice([1, 4], 60), rng.integers(0, 7, 60)]
    codes, rows = group_rows(columns)
    assert_array_equal(codes[rows], np.arange(len(rows)))
    assert all((column[rows][codes] == column).all() for column in columns)
    order = np.lexsort([column[rows] for column in columns[::-1]])
    assert_array_equal(order, np.arange(len(order)))


@pytest.mark.parametrize("nested", [True, False])
def test_blocks_are_the_connected_parts(nested: bool) -> None:
    """Blocks are the connected parts of the graph of cells and levels, terms nested or crossed."""
    rng = np.random.default_rng(4)
    fine = np.concatenate([np.arange(12), rng.integers(0, 12, 28)])
    coarse = fine // 4 if nested else np.concatenate([np.arange(8), rng.integers(0, 4, 32) + 4 * (fine[8:] >= 6)])
    terms = [CodedFactor(n, tuple(range(c.max() + 1)), c) for n, c in (("fine", fine), ("coarse", coarse))]
    ends = np.concatenate([40 + fine, 52 + coarse])
    graph = coo_array((np.ones(80), (np.tile(np.arange(40), 2), ends)), shape=(60, 60))
    parts = connected_components(graph, directed=False)[1][:40]
    block = independent_blocks(terms, 40).cell_block
    assert_array_equal(block[:, None] == block, parts[:, None] == parts)


@pytest.mark.parametrize(
    "right_side", ["1", "a * b * c", "b:a + x + a * b", "x * c + a", "c + b * a:x + a:x + x * b * a", " a*a + c:c+1 "]
)
def test_rows_are_coded_as_formulaic_codes_the_data(right_side: str) -> None:
    """The distinct rows, spread over the data again, are the model matrix of the data; columns have its names."""
    rng = np.random.default_rng(1)
    levels = {"a": ["x", "y", "z"], "b": [False, True], "c": [2.0, 4.0, 6.0, 8.0]}
    data = pd.DataFrame({name: pd.Categorical(rng.choice(of, 60), of) for name, of in levels.items()})
    data = data.assign(x=rng.normal(size=60), y=rng.normal(size=60))
    design = build_model(data, f"y ~ {right_side}", [])[0]
    known = Formula(f"y ~ {right_side}").rhs.get_model_matrix(data, output="numpy")
    assert design.fixed.names == known.model_spec.column_names
    assert_array_equal(design.fixed.coding.matrix[design.fixed_row][design.cells.codes], np.asarray(known))


@pytest.mark.parametrize("formula", [FORMULA, "weight_g ~ cultivar * x + dose", "weight_g ~ cultivar:x + dose"])
@pytest.mark.parametrize("missing", [False, True])
def test_grid_rows_are_coded_as_the_data(formula: str, missing: bool) -> None:
    """Rows of the reference grid are those of the data's coding, whether every combination was tried or not."""
    data = trial(0.0)
    if missing:
        data = data[(data["cultivar"] != "0") | (data["dose"] != "1")]
    design = build_model(data, formula, ["bucket"])[0].fixed
    assert_array_equal(grid_rows(design), design.coding.rows(reference_grid(design.coding, design.covariates)))


@pytest.mark.parametrize("bounds", ["nonnegative", "strata"])
def test_an_orthogonal_trial_takes_one_step(bounds: str) -> None:
    """Without a variance held at zero, the first step from anywhere ends at the analysis of variance."""
    data = trial(0.0)
    model, response = build_model(data, FORMULA, ["site:block", "bucket"])
    products = model.cross_products(prepare(model, response[None]))
    for start in ([1.0, 1.0, 1.0], [0.1, 0.5, 2.0]):
        point, record = maximise(
            evaluate(products, np.array([start]), restricted=True), restricted=True, bounded=bounds == "nonnegative"
        )
        assert record.iterations[0] == 1
        assert record.free.all()
        assert (point.variances > 0).all()


@pytest.mark.parametrize("method", ["reml", "ml"])
def test_all_random_variances_at_zero_leave_least_squares(method: str) -> None:
    """Where every random variance is held at zero the residual variance is that of ordinary least squares."""
    data = trial(0.1)
    for term in ("bucket", "site"):
        data["weight_g"] -= data.groupby(term)["weight_g"].transform("mean")
    with_terms = fit_mixed(data, "weight_g ~ dose", ["site", "bucket"], method=method)  # type: ignore[arg-type]
    plain = fit_mixed(data, "weight_g ~ dose", method=method)  # type: ignore[arg-type]
    assert with_terms.at_zero == ("site", "bucket")
    assert_allclose(with_terms.variances["residual"], plain.variances["residual"], rtol=1e-9)
    assert_allclose(with_terms.criterion, plain.criterion, rtol=1e-12)


def test_the_edge_is_refused_in_words() -> None:
    """Twelve buckets in rows and columns whose free variances run to the edge: one clear error, and no other."""
    weights = [109, 104, 104, 100, 107, 104, 100, 102, 93, 104, 103, 90]
    places = [(t, f"{t}{r}", f"{t}{c}") for t in "abc" for r in (0, 1) for c in (0, 1)]
    data = pd.DataFrame(places, columns=["treatment", "row", "column"]).assign(weight_g=weights)
    with pytest.raises(NotConverged, match="ran to the edge"):
        fit_mixed(data, "weight_g ~ treatment", ["row", "column"], bounds="strata")


@pytest.mark.parametrize(
    "days", [[33, 33, 36, 36, 42, 42, 42, 42, 39, 39, 39, 39], [42, 42, 42, 42, 42, 36, 42, 36, 45, 45, 45, 45]]
)
def test_days_in_threes_never_break_the_algebra(days: list[int]) -> None:
    """Twelve buckets whose days were counted at visits three days apart: one clear refusal.

    Such responses lie on the edge exactly, so that matrices on the way are singular and not nearly so.
    """
    index = pd.MultiIndex.from_product([range(3), range(2), range(2)], names=["site", "block", "dose"])
    data = index.to_frame(index=False).astype(str).assign(days=days)
    with pytest.raises(MixedModelError):
        fit_mixed(data, "days ~ dose", ["site", "site:block", "site:dose"], bounds="strata")
