"""The bench: maps to draw, and treatments kept apart from themselves."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from seeded import rng
from trialkit.domain.errors import WrongCall
from trialkit.layouts.bench import bench_places, clumped
from trialkit.layouts.kinds import lay_out
from trialkit.layouts.layout_options import LayoutOptions

TREATMENTS = pd.DataFrame({"cultivar": list("ABCDE")})
RUNS = 1000
ERROR_RATE = 1e-4


@pytest.mark.parametrize("kind", ["completely randomised", "randomised complete blocks", "augmented blocks"])
@given(seed=st.integers(0, 2**32), width=st.sampled_from([None, 3, 4, 5]))
def test_no_treatment_stands_beside_itself(kind: str, seed: int, width: int | None) -> None:
    """Kept apart, no two buckets of a treatment are neighbours along or across the bench, at any site."""
    options = LayoutOptions(checks=(0,), keep_apart=True, bench_columns=width)
    layout = lay_out(kind, TREATMENTS, ["a", "b"], 2, rng(seed), options)
    for _, site in layout.groupby("site"):
        code = site["cultivar"].map(ord).to_numpy() - ord("A")
        place = np.arange(len(site))
        line = width or len(site)
        assert not clumped(code, place // line, place % line)


@pytest.mark.parametrize("kind", ["completely randomised", "randomised complete blocks"])
def test_keeping_apart_favours_no_treatment(kind: str) -> None:
    """Each treatment still comes to each place equally often: the restriction treats all alike (chi-square)."""
    options, generator = LayoutOptions(keep_apart=True, bench_columns=5), rng(11)
    counts = np.zeros((10, 5), dtype=int)
    for _ in range(RUNS):
        layout = lay_out(kind, TREATMENTS, ["a"], 2, generator, options)
        counts[np.arange(10), layout["cultivar"].map(ord).to_numpy() - ord("A")] += 1
    assert stats.chisquare(counts, axis=1).pvalue.min() > ERROR_RATE / len(counts)


def test_keeping_apart_favours_no_pair_of_treatments() -> None:
    """On two neighbouring places each ordered pair of different treatments comes equally often, across a border too."""
    options, generator, counts = LayoutOptions(keep_apart=True), rng(12), np.zeros((5, 5), dtype=int)
    for _ in range(RUNS):
        layout = lay_out("randomised complete blocks", TREATMENTS, ["a"], 2, generator, options)
        last, first = layout["cultivar"].map(ord).to_numpy()[4:6] - ord("A")
        counts[last, first] += 1
    assert counts.trace() == 0
    assert stats.chisquare(counts[~np.eye(5, dtype=bool)]).pvalue > ERROR_RATE


def test_what_cannot_be_kept_apart_is_refused() -> None:
    """Too few treatments too often, or two, would leave next to nothing to chance: what helps is named."""
    options = LayoutOptions(keep_apart=True)
    with pytest.raises(WrongCall, match="Treatments cannot be kept apart"):
        lay_out("completely randomised", TREATMENTS.iloc[:3], ["a"], 40, rng(1), options)


@pytest.mark.parametrize(("likeness", "lowest"), [(0.0, 0.04), (0.9, 0.02)])
def test_the_analysis_keeps_its_level_when_treatments_are_kept_apart(likeness: float, lowest: float) -> None:
    """No treatment does anything: the classical test rejects at most about 5 % of layouts, alike neighbours or not.

    Neighbours correlate by `likeness`; 3 blocks of 5, 40 benches by 75 layouts. Bound: 3 standard errors above 5 %.
    """
    generator, options = rng(13), LayoutOptions(keep_apart=True)
    layouts = [lay_out("randomised complete blocks", TREATMENTS, ["a"], 3, generator, options) for _ in range(75)]
    rejected = []
    for _ in range(40):
        noise = generator.standard_normal(15)
        for place in range(1, 15):
            noise[place] = likeness * noise[place - 1] + np.sqrt(1 - likeness**2) * noise[place]
        rejected += [complete_block_p(layout, noise) < 0.05 for layout in layouts]
    assert lowest < np.mean(rejected) < 0.05 + 3 * np.sqrt(0.05 * 0.95 / len(rejected))


def complete_block_p(layout: pd.DataFrame, response: np.ndarray) -> float:
    """P value of treatments in 3 complete blocks of 5 (Fisher 1935)."""
    table = np.empty((3, 5))
    table[layout["block"].to_numpy() - 1, layout["cultivar"].map(ord).to_numpy() - ord("A")] = response
    rest = table - table.mean(axis=1, keepdims=True)
    treatments = 3 * float((rest.mean(axis=0) ** 2).sum())
    error = float((rest**2).sum()) - treatments
    return float(stats.f.sf((treatments / 4) / (error / 8), 4, 8))


def test_a_bench_of_several_rows() -> None:
    """Positions run along the rows of the bench; the layout says where each bucket stands."""
    layout = lay_out("randomised complete blocks", TREATMENTS, ["b", "a"], 3, rng(1), LayoutOptions(bench_columns=5))
    for _, site in layout.groupby("site"):
        row, column = bench_places(site, 5)
        assert row.tolist() == [row for row in (1, 2, 3) for _ in range(5)]
        assert column.tolist() == [1, 2, 3, 4, 5] * 3
        assert (row == site["bench_row"]).all()
        assert (column == site["bench_column"]).all()


def test_without_a_width_the_bench_is_one_row() -> None:
    """All positions run along it."""
    row, column = bench_places(lay_out("completely randomised", TREATMENTS, ["a"], 2, rng(1)))
    assert set(row) == {1}
    assert column.tolist() == list(range(1, 11))


def test_volunteers_have_a_row_each() -> None:
    """Each volunteer's buckets make a row."""
    layout = lay_out("volunteer blocks", TREATMENTS, ["a"], 10, rng(1), LayoutOptions(block_size=3))
    row, column = bench_places(layout)
    assert (row == layout["volunteer"]).all()
    assert column.tolist() == [1, 2, 3] * 10


def test_squares_stand_one_below_the_other() -> None:
    """A Latin square's own rows and columns count; a second square comes below."""
    layout = lay_out("Latin square", TREATMENTS, ["a"], 2, rng(1))
    row, column = bench_places(layout)
    for line in range(1, 11):
        assert set(layout["cultivar"][row == line]) == set("ABCDE")
        assert sorted(column[row == line]) == [1, 2, 3, 4, 5]
