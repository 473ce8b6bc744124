"""Incomplete blocks: balanced where they can be, near the bound elsewhere, and laid out at random."""

from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from seeded import named, rng
from trialkit.domain.arrays import IntArray
from trialkit.layouts.balanced import (
    BASE_BLOCKS,
    PLANE_OF_ORDER,
    balanced_blocks,
    balanced_bound,
    developed,
    resolvable_bound,
    square_lattice,
)
from trialkit.layouts.incomplete_blocks import alpha_blocks, choose_blocks, fewest_blocks
from trialkit.layouts.information import canonical_factors, comparable_groups, harmonic_mean, information_matrix
from trialkit.layouts.kinds import lay_out
from trialkit.layouts.layout_options import LayoutOptions


def efficiency(chosen: IntArray) -> float:
    """Return the average efficiency factor of blocks of shape (…, block size)."""
    treatment, block = chosen.ravel(), np.arange(chosen.size) // chosen.shape[-1]
    matrix = information_matrix(treatment, [block])
    return harmonic_mean(canonical_factors(matrix, np.bincount(treatment).astype(float)))


def assert_balanced(blocks: tuple[tuple[int, ...], ...], treatments: int, size: int) -> None:
    """Check b k = v r and lambda (v - 1) = r (k - 1) with one r and one lambda (di Paola, Wallis & Wallis 1973)."""
    together = np.zeros((treatments, treatments), dtype=int)
    for block in blocks:
        assert len(set(block)) == size
        together[np.ix_(block, block)] += 1
    replication, meetings = np.diag(together), together[~np.eye(treatments, dtype=bool)]
    assert len(set(replication)) == len(set(meetings)) == 1
    assert len(blocks) * size == treatments * replication[0]
    assert meetings[0] * (treatments - 1) == replication[0] * (size - 1)


@pytest.mark.parametrize(("treatments", "size"), BASE_BLOCKS.keys())
def test_base_blocks_give_balanced_blocks(treatments: int, size: int) -> None:
    """Each family of base blocks, turned round, satisfies the identities of balanced blocks."""
    assert_balanced(developed(BASE_BLOCKS[treatments, size], treatments), treatments, size)


@pytest.mark.parametrize("order", PLANE_OF_ORDER)
def test_square_lattices(order: int) -> None:
    """Each replicate of a balanced lattice holds every treatment once, and all replicates together are balanced."""
    lattice = square_lattice(order)
    assert len(lattice) == order + 1
    for replicate in lattice:
        assert sorted(t for block in replicate for t in block) == list(range(order**2))
    assert_balanced(tuple(block for replicate in lattice for block in replicate), order**2, order)


@pytest.mark.parametrize(("replicates", "factor"), [(2, 0.6667), (3, 0.7273), (4, 0.75)])
def test_the_published_values_of_lattices(replicates: int, factor: float) -> None:
    """The 3 x 3 lattice in 2, 3 and 4 replicates has the factors of Cochran & Cox 1957."""
    found = choose_blocks(9, 3, 1, 3 * replicates, rng(1), resolvable=True)
    assert efficiency(found) == pytest.approx(factor, abs=5e-5)


@pytest.mark.parametrize(
    ("treatments", "size", "blocks"),
    [
        (4, 2, 6), (5, 2, 10), (6, 2, 15), (7, 3, 7), (9, 3, 12), (13, 4, 13), (5, 4, 5), (6, 3, 10), (8, 4, 14),
        (7, 4, 7), (16, 4, 20), (21, 5, 21), (25, 5, 30), (31, 6, 31), (10, 4, 30), (11, 6, 11), (7, 3, 14),
    ],
)  # fmt: skip
def test_balanced_blocks_are_found_where_they_exist(treatments: int, size: int, blocks: int) -> None:
    """For known parameters (Cochran & Cox 1957, ch. 11) construction or search reaches E = lambda v / (r k)."""
    found = choose_blocks(treatments, size, 1, blocks, rng(7))
    assert_balanced(tuple(map(tuple, found[0].tolist())), treatments, size)
    assert efficiency(found) == pytest.approx(balanced_bound(treatments, size), rel=1e-9)


def test_balanced_blocks_are_not_made_up() -> None:
    """Where no construction is known nothing is returned."""
    assert balanced_blocks(8, 3, 9) is None


@pytest.mark.parametrize(
    ("treatments", "size", "sites", "blocks", "share"),
    [
        (12, 4, 2, 3, 0.96), (12, 4, 3, 3, 0.97), (20, 4, 3, 5, 0.97), (24, 4, 3, 6, 0.96), (30, 5, 4, 6, 0.98),
        (12, 6, 2, 4, 0.99), (8, 2, 2, 8, 0.94), (15, 3, 3, 5, 0.93), (16, 4, 5, 4, 1 - 1e-9),
    ],
)  # fmt: skip
def test_resolvable_layouts_come_near_their_bound(
    treatments: int, size: int, sites: int, blocks: int, share: float
) -> None:
    """Replicates are complete, and E lies between a stated share of the Patterson-Williams bound and the bound."""
    found = choose_blocks(treatments, size, sites, blocks, rng(3), resolvable=True)
    replicates = found.reshape(-1, treatments)
    assert (np.sort(replicates, axis=1) == np.arange(treatments)).all()
    bound = resolvable_bound(treatments, size, len(replicates))
    assert share * bound <= efficiency(found) <= bound + 1e-9


@pytest.mark.parametrize(
    ("treatments", "size", "sites", "blocks", "share"),
    [
        (6, 3, 4, 6, 0.998), (6, 3, 24, 1, 0.998), (8, 3, 8, 3, 0.995), (10, 3, 1, 17, 0.99), (16, 2, 8, 4, 0.84),
        (12, 5, 6, 3, 0.99),
    ],
)  # fmt: skip
def test_other_blocks_come_near_the_bound_of_balanced_ones(
    treatments: int, size: int, sites: int, blocks: int, share: float
) -> None:
    """Where balance is impossible E reaches a stated share of the bound; each site is as even as its size allows."""
    found = choose_blocks(treatments, size, sites, blocks, rng(3))
    bound = balanced_bound(treatments, size)
    assert share * bound <= efficiency(found) <= bound + 1e-9
    for site in found:
        counts = np.bincount(site.ravel(), minlength=treatments)
        assert counts.max() - counts.min() <= 1
    assert np.ptp(np.bincount(found.ravel())) <= 1


@settings(max_examples=30, phases=[Phase.explicit, Phase.reuse, Phase.generate])  # shrinking repeats whole searches
@given(st.data())
def test_every_layout_is_connected_and_has_no_treatment_twice_in_a_block(data: st.DataObject) -> None:
    """Any number of treatments in any blocks that suffice: laid out by the seed, connected, distinct, of one size."""
    treatments = data.draw(st.integers(3, 14))
    size = data.draw(st.integers(2, min(5, treatments - 1)))
    needed = fewest_blocks(treatments, size)
    sites = data.draw(st.integers(1, 3))
    blocks = data.draw(st.integers(-(-needed // sites), -(-needed // sites) + 4))
    seed = data.draw(st.integers(0, 2**32))
    options = LayoutOptions(block_size=size)
    names = [f"site{i}" for i in range(sites)]
    layout = lay_out("volunteer blocks", named(treatments), names, blocks, rng(seed), options)
    groups = layout.groupby(["site", "volunteer"])["cultivar"]
    assert (groups.size() == size).all()
    assert (groups.nunique() == size).all()
    assert len(groups) == sites * blocks
    codes = layout["cultivar"].str[1:].astype(int).to_numpy()
    block = layout.groupby(["site", "volunteer"]).ngroup().to_numpy()
    assert len(comparable_groups(information_matrix(codes, [block]))) == 1
    pd.testing.assert_frame_equal(
        layout, lay_out("volunteer blocks", named(treatments), names, blocks, rng(seed), options)
    )


def test_volunteers_are_numbered_within_their_site() -> None:
    """Volunteer and block are the same number; places run along the site."""
    layout = lay_out("volunteer blocks", named(6), ["a", "b"], 4, rng(1), LayoutOptions(block_size=3))
    assert list(layout.columns) == ["site", "block", "volunteer", "position", "cultivar"]
    assert (
        layout["volunteer"].tolist()
        == layout["block"].tolist()
        == [v for _ in "ab" for v in (1, 2, 3, 4) for _ in "123"]
    )


def test_resolvable_blocks_stay_together_when_randomised() -> None:
    """Blocks 1 to s of a site hold every treatment once, so do the next s."""
    layout = lay_out(
        "incomplete blocks", named(12), ["a", "b"], 6, rng(5), LayoutOptions(block_size=4, resolvable=True)
    )
    replicate = (layout["block"] - 1) // 3
    assert (layout.groupby(["site", replicate])["cultivar"].nunique() == 12).all()


def test_an_alpha_array_is_developed_as_published() -> None:
    """Block j holds, at place i, treatment (a_i + j) mod s + i s (Patterson & Williams 1976)."""
    blocks = alpha_blocks(np.array([[0, 0, 0], [0, 1, 3]]), 4)
    assert blocks[0].tolist() == [[0, 4, 8], [1, 5, 9], [2, 6, 10], [3, 7, 11]]
    assert blocks[1].tolist() == [[0, 5, 11], [1, 6, 8], [2, 7, 9], [3, 4, 10]]


@pytest.mark.parametrize(
    ("treatments", "size", "sites", "blocks", "resolvable", "words"),
    [
        (9, 3, 1, 3, False, "cannot compare 9 treatments: it takes 4"),
        (7, 3, 1, 7, True, "The block size must divide"),
        (6, 3, 1, 5, True, "multiple of treatments / block size"),
    ],
)
def test_blocks_that_cannot_be_made(
    treatments: int, size: int, sites: int, blocks: int, resolvable: bool, words: str
) -> None:
    """Blocks of the wrong number are refused with what would do."""
    names = [f"s{i}" for i in range(sites)]
    with pytest.raises(ValueError, match=words):
        lay_out(
            "incomplete blocks",
            named(treatments),
            names,
            blocks,
            rng(1),
            LayoutOptions(block_size=size, resolvable=resolvable),
        )


def test_every_two_treatments_meet_equally_often_over_seeds() -> None:
    """Where balance is impossible, whom the imbalance falls on is left to chance: all pairs meet alike on average."""
    generator, meetings, runs = rng(2), np.zeros((5, 5)), 300
    for _ in range(runs):
        layout = lay_out("incomplete blocks", named(5), ["a"], 4, generator, LayoutOptions(block_size=2))
        codes = layout["cultivar"].str[1:].astype(int).to_numpy().reshape(-1, 2)
        for first, second in codes:
            meetings[min(first, second), max(first, second)] += 1
    counts = np.array([meetings[pair] for pair in combinations(range(5), 2)])
    # Four of ten pairs meet in each run; 4 standard deviations of a binomial count is a bound far from any bias.
    assert np.abs(counts - runs * 0.4).max() < 4 * np.sqrt(runs * 0.4 * 0.6)
