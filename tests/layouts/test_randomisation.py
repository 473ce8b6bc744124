"""Layouts: balanced as promised, and random as promised."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from seeded import rng
from trialkit.layouts.kinds import LAYOUT_KINDS, LayoutKind, lay_out
from trialkit.layouts.layout_options import PLAIN, LayoutOptions, best_practice_buckets

QUICK_KINDS = ("completely randomised", "randomised complete blocks", "split-plot")
TREATMENTS = pd.DataFrame(list(product("AB", [2.0, 4.0, 6.0])), columns=["cultivar", "dose_tsp"])
RUNS, FEWER_RUNS = 1200, 240
# Each chi-square test below errs with this probability if the layouts are perfect; seeds are fixed, so it errs once
# and for all or never.
ERROR_RATE = 1e-4


OPTIONS = {
    "split-plot": LayoutOptions(whole_plot="cultivar"),
    "row-column": LayoutOptions(rows=3, columns=4),
    "incomplete blocks": LayoutOptions(block_size=3),
    "volunteer blocks": LayoutOptions(block_size=2),
    "augmented blocks": LayoutOptions(checks=(0, 3)),
}
"""What each kind of layout has to be told."""
BLOCKS = {"Latin square": 1, "row-column": 1, "incomplete blocks": 10, "volunteer blocks": 15}
"""Blocks that suit six treatments; 2 for other kinds."""


def treatment_numbers(layout: pd.DataFrame) -> np.ndarray:
    """Return which treatment stands in each bucket, 0 to 5."""
    cultivar, dose_tsp = layout["cultivar"].to_numpy(), layout["dose_tsp"].to_numpy()
    return ((cultivar == "B") * 3 + dose_tsp / 2 - 1).astype(int)


@pytest.mark.parametrize("kind", LAYOUT_KINDS.values(), ids=LAYOUT_KINDS.keys())
def test_every_bucket_is_equally_likely_to_get_each_treatment(kind: LayoutKind) -> None:
    """Over many seeds, each treatment comes to each place equally often (chi-square for each place, Bonferroni).

    Checks of augmented blocks come oftener than new treatments, equally at every place of a block.
    """
    blocks, options = BLOCKS.get(kind.name, 2), OPTIONS.get(kind.name, PLAIN)
    buckets, fewest, most = kind.sizes(6, blocks, options)
    expected = (fewest + most) / 2 / buckets
    counts = np.zeros((buckets, 6), dtype=int)
    generator = rng(20260820)
    runs = RUNS if kind.name in QUICK_KINDS else FEWER_RUNS
    for _ in range(runs):
        layout = lay_out(kind.name, TREATMENTS, ["fernsedge"], blocks, generator, options)
        counts[np.arange(buckets), treatment_numbers(layout)] += 1
    assert stats.chisquare(counts, runs * expected, axis=1).pvalue.min() > ERROR_RATE / len(counts)


def test_neighbours_within_a_block_are_in_every_order() -> None:
    """In a complete block each of the 6 x 5 ordered pairs of first neighbours comes equally often."""
    generator, counts = rng(1), np.zeros((6, 6), dtype=int)
    for _ in range(RUNS):
        first, second = treatment_numbers(lay_out("randomised complete blocks", TREATMENTS, ["s"], 1, generator))[:2]
        counts[first, second] += 1
    assert counts.trace() == 0
    assert stats.chisquare(counts[~np.eye(6, dtype=bool)]).pvalue > ERROR_RATE


@given(st.integers(0, 2**32), st.integers(1, 4), st.integers(1, 3))
def test_every_block_is_complete(seed: int, blocks: int, sites: int) -> None:
    """Each block holds every treatment once; blocks are numbered within the site and places along its bench."""
    names = [f"site{i}" for i in range(sites)]
    layout = lay_out("randomised complete blocks", TREATMENTS, names, blocks, rng(seed))
    assert (layout.groupby(["site", "block", "cultivar", "dose_tsp"]).size() == 1).all()
    assert len(layout) == 6 * blocks * sites
    assert layout["block"].is_monotonic_increasing or sites > 1
    for _, site in layout.groupby("site"):
        assert site["position"].tolist() == list(range(1, 6 * blocks + 1))
        assert set(site["block"]) == set(range(1, blocks + 1))


@given(st.integers(0, 2**32))
def test_every_whole_plot_has_one_level(seed: int) -> None:
    """In a split-plot each whole plot has one level of its factor and every level of the other, side by side."""
    layout = lay_out("split-plot", TREATMENTS, ["a", "b"], 3, rng(seed), LayoutOptions(whole_plot="dose_tsp"))
    plots = layout.groupby(["site", "block", "whole_plot"])
    assert (plots["dose_tsp"].nunique() == 1).all()
    assert (plots["cultivar"].nunique() == 2).all()
    assert (plots["position"].agg(np.ptp) == 1).all()
    assert (layout.groupby(["site", "block"])["dose_tsp"].nunique() == 3).all()
    assert list(layout.columns) == ["site", "block", "whole_plot", "position", "cultivar", "dose_tsp"]


@given(st.integers(0, 2**32))
def test_a_completely_randomised_site_has_each_treatment_as_often(seed: int) -> None:
    """Without blocks each treatment comes as often at each site, and the block is 1 throughout."""
    layout = lay_out("completely randomised", TREATMENTS, ["a", "b"], 3, rng(seed))
    assert (layout.groupby(["site", "cultivar", "dose_tsp"]).size() == 3).all()
    assert set(layout["block"]) == {1}


@pytest.mark.parametrize("kind", LAYOUT_KINDS.values(), ids=LAYOUT_KINDS.keys())
def test_a_seed_repeats_its_layout(kind: LayoutKind) -> None:
    """The same seed gives the same layout, another seed another."""
    blocks, options = BLOCKS.get(kind.name, 2), OPTIONS.get(kind.name, PLAIN)
    first, again, other = (lay_out(kind.name, TREATMENTS, ["a", "b"], blocks, rng(s), options) for s in (5, 5, 6))
    pd.testing.assert_frame_equal(first, again)
    assert not first.equals(other)


@pytest.mark.parametrize("kind", LAYOUT_KINDS.values(), ids=LAYOUT_KINDS.keys())
def test_a_layout_is_as_large_as_its_kind_says(kind: LayoutKind) -> None:
    """Each site has the buckets and each treatment the replication that the kind promises, in one run of positions."""
    blocks, options = BLOCKS.get(kind.name, 2), OPTIONS.get(kind.name, PLAIN)
    layout = lay_out(kind.name, TREATMENTS, ["a", "b"], blocks, rng(3), options)
    buckets, fewest, most = kind.sizes(6, blocks, options)
    for _, site in layout.groupby("site"):
        assert site["position"].tolist() == list(range(1, buckets + 1))
        counts = np.bincount(treatment_numbers(site), minlength=6)
        assert (fewest <= counts).all()
        assert (counts <= most).all()
    assert set(kind.place_columns) <= set(layout.columns)
    for term in kind.distinct:
        assert not layout.duplicated([*term.split(":"), "cultivar", "dose_tsp"]).any()
    for term in kind.complete:
        assert (layout.groupby(term.split(":")).size() == 6).all()


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"treatments": TREATMENTS.iloc[:1]}, "at least two treatments"),
        ({"treatments": pd.concat([TREATMENTS, TREATMENTS])}, "all different"),
        ({"sites": []}, "at least one site"),
        ({"sites": ["a", "a"]}, "each named once"),
    ],
)
@pytest.mark.parametrize("kind", LAYOUT_KINDS.values(), ids=LAYOUT_KINDS.keys())
def test_impossible_layouts_are_refused_in_words(kind: LayoutKind, changed: dict[str, object], words: str) -> None:
    """What cannot be laid out is refused with the reason."""
    options = OPTIONS.get(kind.name, PLAIN)
    given_ = {"treatments": TREATMENTS, "sites": ["a"], "blocks": 2, "rng": rng(1), "options": options} | changed
    with pytest.raises(ValueError, match=words):
        lay_out(kind.name, **given_)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["completely randomised", "randomised complete blocks"])
def test_the_practice_may_have_more_buckets(kind: str) -> None:
    """The current practice stands as often as asked for at each site, in complete blocks in each block."""
    options = LayoutOptions(practice=4, practice_buckets=best_practice_buckets(6))
    layout = lay_out(kind, TREATMENTS, ["a", "b"], 3, rng(1), options)
    for _, part in layout.groupby(["site", "block"]):
        times = 1 if kind == "randomised complete blocks" else 3
        assert np.bincount(treatment_numbers(part)).tolist() == [times, times, times, times, 2 * times, times]


def test_strata_are_those_of_the_randomisation() -> None:
    """Each kind states the random terms that its randomisation gives rise to."""
    assert {name: kind.random_terms for name, kind in LAYOUT_KINDS.items()} == {
        "completely randomised": (),
        "randomised complete blocks": ("site:block",),
        "split-plot": ("site:block", "site:block:whole_plot"),
        "Latin square": ("site:block", "site:block:row", "site:block:column"),
        "row-column": ("site:block", "site:block:row", "site:block:column"),
        "incomplete blocks": ("site:block",),
        "volunteer blocks": ("site:volunteer",),
        "augmented blocks": ("site:block",),
    }
