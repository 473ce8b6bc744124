"""Layouts: balanced as promised, and random as promised."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from trialkit.layouts.kinds import LAYOUT_KINDS
from trialkit.layouts.randomisation import completely_randomised, randomised_complete_blocks, split_plot

TREATMENTS = pd.DataFrame(list(product("AB", [2.0, 4.0, 6.0])), columns=["cultivar", "dose_tsp"])
RUNS = 1200
# Each chi-square test below errs with this probability if the layouts are perfect; seeds are fixed, so it errs once
# and for all or never.
ERROR_RATE = 1e-4


def rng(seed: int) -> np.random.Generator:
    """Return a generator of known state."""
    return np.random.Generator(np.random.PCG64(seed))


def treatment_numbers(layout: pd.DataFrame) -> np.ndarray:
    """Return which treatment stands in each bucket, 0 to 5."""
    return ((layout["cultivar"] == "B") * 3 + layout["dose_tsp"] / 2 - 1).to_numpy(dtype=int)


@pytest.mark.parametrize("kind", LAYOUT_KINDS.values(), ids=LAYOUT_KINDS.keys())
def test_every_bucket_is_equally_likely_to_get_each_treatment(kind) -> None:  # type: ignore[no-untyped-def]
    """Over many seeds, each treatment comes to each place equally often (chi-square for each place, Bonferroni)."""
    whole_plot = "cultivar" if kind.name == "split-plot" else None
    counts = np.zeros((12, 6), dtype=int)
    generator = rng(20260820)
    for _ in range(RUNS):
        layout = kind.randomise(TREATMENTS, ["fernhill"], 2, generator, whole_plot=whole_plot)
        counts[np.arange(12), treatment_numbers(layout)] += 1
    assert stats.chisquare(counts, axis=1).pvalue.min() > ERROR_RATE / len(counts)


def test_neighbours_within_a_block_are_in_every_order() -> None:
    """In a complete block each of the 6 x 5 ordered pairs of first neighbours comes equally often."""
    generator, counts = rng(1), np.zeros((6, 6), dtype=int)
    for _ in range(RUNS):
        first, second = treatment_numbers(randomised_complete_blocks(TREATMENTS, ["s"], 1, generator))[:2]
        counts[first, second] += 1
    assert counts.trace() == 0
    assert stats.chisquare(counts[~np.eye(6, dtype=bool)]).pvalue > ERROR_RATE


@given(st.integers(0, 2**32), st.integers(1, 4), st.integers(1, 3))
def test_every_block_is_complete(seed: int, blocks: int, sites: int) -> None:
    """Each block holds every treatment once; blocks are numbered within the site and places along its bench."""
    names = [f"site{i}" for i in range(sites)]
    layout = randomised_complete_blocks(TREATMENTS, names, blocks, rng(seed))
    assert (layout.groupby(["site", "block", "cultivar", "dose_tsp"]).size() == 1).all()
    assert len(layout) == 6 * blocks * sites
    assert layout["block"].is_monotonic_increasing or sites > 1
    for _, site in layout.groupby("site"):
        assert site["position"].tolist() == list(range(1, 6 * blocks + 1))
        assert set(site["block"]) == set(range(1, blocks + 1))


@given(st.integers(0, 2**32))
def test_every_whole_plot_has_one_level(seed: int) -> None:
    """In a split-plot each whole plot has one level of its factor and every level of the other, side by side."""
    layout = split_plot(TREATMENTS, ["a", "b"], 3, rng(seed), whole_plot="dose_tsp")
    plots = layout.groupby(["site", "block", "whole_plot"])
    assert (plots["dose_tsp"].nunique() == 1).all()
    assert (plots["cultivar"].nunique() == 2).all()
    assert (plots["position"].agg(np.ptp) == 1).all()
    assert (layout.groupby(["site", "block"])["dose_tsp"].nunique() == 3).all()
    assert list(layout.columns) == ["site", "block", "whole_plot", "position", "cultivar", "dose_tsp"]


@given(st.integers(0, 2**32))
def test_a_completely_randomised_site_has_each_treatment_as_often(seed: int) -> None:
    """Without blocks each treatment comes as often at each site, and the block is 1 throughout."""
    layout = completely_randomised(TREATMENTS, ["a", "b"], 3, rng(seed))
    assert (layout.groupby(["site", "cultivar", "dose_tsp"]).size() == 3).all()
    assert set(layout["block"]) == {1}


@pytest.mark.parametrize("kind", LAYOUT_KINDS.values(), ids=LAYOUT_KINDS.keys())
def test_a_seed_repeats_its_layout(kind) -> None:  # type: ignore[no-untyped-def]
    """The same seed gives the same layout, another seed another."""
    whole_plot = "cultivar" if kind.name == "split-plot" else None
    first, again, other = (kind.randomise(TREATMENTS, ["a"], 3, rng(s), whole_plot=whole_plot) for s in (5, 5, 6))
    pd.testing.assert_frame_equal(first, again)
    assert not first.equals(other)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"treatments": TREATMENTS.iloc[:1]}, "at least two treatments"),
        ({"treatments": pd.concat([TREATMENTS, TREATMENTS])}, "all different"),
        ({"treatments": TREATMENTS.rename(columns={"cultivar": "block"})}, "cannot be called block"),
        ({"sites": []}, "at least one site"),
        ({"sites": ["a", "a"]}, "each named once"),
        ({"blocks": 0}, "at least one block"),
        ({"whole_plot": "acidifier"}, "whole-plot factor"),
    ],
)
@pytest.mark.parametrize("kind", LAYOUT_KINDS.values(), ids=LAYOUT_KINDS.keys())
def test_impossible_layouts_are_refused_in_words(kind, changed: dict[str, object], words: str) -> None:  # type: ignore[no-untyped-def]
    """What cannot be laid out is refused with the reason."""
    whole_plot = "cultivar" if kind.name == "split-plot" else None
    given_ = {"treatments": TREATMENTS, "sites": ["a"], "blocks": 2, "rng": rng(1), "whole_plot": whole_plot} | changed
    if words == "cannot be called block" and whole_plot:
        given_["whole_plot"] = "dose_tsp"
    with pytest.raises(ValueError, match=words):
        kind.randomise(**given_)


def test_strata_are_those_of_the_randomisation() -> None:
    """Each kind states the random terms that its randomisation gives rise to."""
    assert {name: kind.random_terms for name, kind in LAYOUT_KINDS.items()} == {
        "completely randomised": (),
        "randomised complete blocks": ("site:block",),
        "split-plot": ("site:block", "site:block:whole_plot"),
    }
