"""Information on treatments, efficiency factors and connectedness, against published values."""

import json
from itertools import combinations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seeded import rng
from trialkit.domain.arrays import FloatArray
from trialkit.layouts.balanced import balanced_bound, resolvable_bound
from trialkit.layouts.information import canonical_factors, codes, comparable_groups, harmonic_mean, information_matrix
from trialkit.layouts.kinds import lay_out
from trialkit.layouts.layout_options import PLAIN, LayoutOptions

REFERENCE = Path(__file__).parents[1] / "reference"


def efficiency(blocks: list[tuple[int, ...]]) -> float:
    """Return the average efficiency factor of blocks given by their treatments."""
    treatment = np.array([t for block in blocks for t in block])
    block = np.repeat(np.arange(len(blocks)), [len(held) for held in blocks])
    return harmonic_mean(
        canonical_factors(information_matrix(treatment, [block]), np.bincount(treatment).astype(float))
    )


def variances(matrix: FloatArray) -> FloatArray:
    """Return the variance of each difference over the error variance, of a connected layout."""
    inverse = np.linalg.pinv(matrix, hermitian=True)
    return np.diag(inverse)[:, None] + np.diag(inverse)[None, :] - 2 * inverse


def test_the_reference_layout() -> None:
    """Factors, mean and variances of an unequally replicated layout are those computed in R (tolerance 1e-9)."""
    expected = json.loads((REFERENCE / "design_efficiency" / "ergostool_incomplete_blocks.json").read_text("utf-8"))
    data = pd.read_csv(REFERENCE / "mixed_models" / "ergostool_incomplete_blocks.csv", dtype=str)
    data = data.sort_values("Type", kind="stable")
    matrix = information_matrix(codes(data["Type"].tolist()), [codes(data["Subject"].tolist())])
    factors = canonical_factors(matrix, np.array(expected["replication"], dtype=float))
    assert factors == pytest.approx(expected["canonical_efficiency_factors"], rel=1e-9)
    assert harmonic_mean(factors) == pytest.approx(expected["harmonic_mean_efficiency"], rel=1e-9)
    assert variances(matrix) == pytest.approx(np.array(expected["pairwise_variances"]), rel=1e-9, abs=1e-12)
    assert (len(comparable_groups(matrix)) == 1) is expected["connected"]


def test_more_buckets_of_the_practice_sharpen_comparisons_with_it() -> None:
    """Ten treatments in 12 buckets a block: three of the control beat one, for the same buckets (Dunnett 1955)."""
    ten = pd.DataFrame({"cultivar": [f"c{i}" for i in range(10)]})
    with_control = []
    for blocks, options in ((12, PLAIN), (10, LayoutOptions(practice=0, practice_buckets=3))):
        layout = lay_out("randomised complete blocks", ten, ["s"], blocks, rng(1), options)
        names = sorted(set(layout["cultivar"]))
        matrix = information_matrix(codes(layout["cultivar"].tolist()), [codes(layout["block"].tolist())])
        order = list(dict.fromkeys(layout["cultivar"])).index("c0")
        assert len(names) == 10
        with_control.append(np.delete(variances(matrix)[order], order).max())
    assert with_control == pytest.approx([2 / 12, 1 / 10 + 1 / 30])
    assert with_control[1] < with_control[0]


@pytest.mark.parametrize(("treatments", "size"), [(4, 2), (5, 2), (6, 2), (5, 4), (6, 3), (7, 3)])
def test_all_combinations_are_balanced(treatments: int, size: int) -> None:
    """All combinations reach the factor of balanced incomplete blocks, on every comparison (Cochran & Cox 1957)."""
    blocks = list(combinations(range(treatments), size))
    assert efficiency(blocks) == pytest.approx(balanced_bound(treatments, size), rel=1e-9)


@pytest.mark.parametrize(
    ("treatments", "size", "factor"),
    [
        (4, 2, 0.6667), (5, 2, 0.625), (6, 2, 0.6), (6, 3, 0.8), (7, 3, 0.7778), (9, 3, 0.75), (13, 4, 0.8125),
        (5, 4, 0.9375),
    ],
)  # fmt: skip
def test_the_published_factors_of_balanced_blocks(treatments: int, size: int, factor: float) -> None:
    """The closed form gives the factors printed in Cochran & Cox 1957, ch. 11 (four decimals)."""
    assert balanced_bound(treatments, size) == pytest.approx(factor, abs=5e-5)


@pytest.mark.parametrize(
    ("treatments", "size", "replicates", "bound"),
    [
        (12, 4, 2, 0.7333), (12, 4, 3, 0.7857), (20, 4, 2, 0.7037), (20, 4, 3, 0.7600), (24, 4, 2, 0.6970),
        (24, 4, 3, 0.7541), (9, 3, 2, 0.6667), (9, 3, 3, 0.7273), (9, 3, 4, 0.7500),
    ],
)  # fmt: skip
def test_the_bound_of_resolvable_layouts(treatments: int, size: int, replicates: int, bound: float) -> None:
    """The bound is that of Patterson & Williams 1976, and equals the values of square lattices."""
    assert resolvable_bound(treatments, size, replicates) == pytest.approx(bound, abs=5e-5)


@given(st.integers(0, 2**32), st.integers(3, 9), st.integers(2, 6), st.integers(3, 12))
def test_no_blocks_beat_the_bound(seed: int, treatments: int, size: int, blocks: int) -> None:
    """Whatever stands together, factors lie between 0 and 1 and equal replication never beats balanced blocks."""
    rng = np.random.Generator(np.random.PCG64(seed))
    size = min(size, treatments)
    copies = np.tile(np.arange(treatments), size * blocks)[: treatments * size * blocks]
    treatment, block = rng.permutation(copies), np.repeat(np.arange(treatments * blocks), size)
    matrix = information_matrix(treatment, [block])
    factors = canonical_factors(matrix, np.bincount(treatment).astype(float))
    assert np.allclose(matrix.sum(axis=0), 0, atol=1e-9)
    assert factors.min() >= 0
    assert factors.max() <= 1 + 1e-9
    assert harmonic_mean(factors) <= balanced_bound(treatments, size) + 1e-9


def test_complete_blocks_lose_nothing() -> None:
    """In complete blocks every factor is 1 and every difference has variance 2/r."""
    treatment, block = np.tile(np.arange(5), 4), np.repeat(np.arange(4), 5)
    matrix = information_matrix(treatment, [block])
    assert canonical_factors(matrix, np.full(5, 4.0)) == pytest.approx(1.0)
    assert variances(matrix)[np.triu_indices(5, 1)] == pytest.approx(2 / 4)


def test_a_layout_that_falls_apart_says_into_what() -> None:
    """Treatments that no chain of blocks joins are grouped apart."""
    matrix = information_matrix(np.array([0, 1, 2, 3, 0, 1]), [np.array([0, 0, 1, 1, 2, 2])])
    assert comparable_groups(matrix) == ((0, 1), (2, 3))
    assert harmonic_mean(canonical_factors(matrix, np.array([2.0, 2, 1, 1]))) == 0


def test_rows_and_columns_each_connected_may_not_be_together() -> None:
    """Treatments joined by rows and by columns can still be lost between both; counting shared blocks misses it."""
    square = np.array([[0, 1], [1, 2]])
    row, column = np.indices(square.shape).reshape(2, -1)
    for blocking in (row, column):
        assert len(comparable_groups(information_matrix(square.ravel(), [blocking]))) == 1
    assert len(comparable_groups(information_matrix(square.ravel(), [row, column]))) > 1


def test_codes_follow_the_order_of_appearance() -> None:
    """Labels are numbered as they come."""
    assert codes(["b", "a", "b", "c"]).tolist() == [0, 1, 0, 2]
