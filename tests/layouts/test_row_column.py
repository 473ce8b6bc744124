"""Rows and columns that need not be squares."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st

from seeded import named, rng
from trialkit.layouts.efficiency import connected_groups, layout_efficiency
from trialkit.layouts.kinds import LAYOUT_KINDS, lay_out
from trialkit.layouts.layout_options import LayoutOptions
from trialkit.layouts.row_column import fewest_rectangles

TERMS = LAYOUT_KINDS["row-column"].random_terms


@settings(max_examples=20, phases=[Phase.explicit, Phase.reuse, Phase.generate])  # shrinking repeats whole searches
@given(st.integers(3, 8), st.integers(3, 5), st.integers(4, 6), st.integers(1, 2), st.integers(0, 2**32))
def test_rectangles_are_even_and_connected(treatments: int, rows: int, columns: int, sites: int, seed: int) -> None:
    """Each rectangle holds each treatment as often as any other or once more, and all can be compared."""
    assume(sites >= fewest_rectangles(treatments, rows, columns))
    options = LayoutOptions(rows=rows, columns=columns)
    names = [f"s{i}" for i in range(sites)]
    layout = lay_out("row-column", named(treatments), names, 1, rng(seed), options)
    counts = layout.groupby(["site", "cultivar"]).size().unstack(fill_value=0)
    assert np.ptp(counts.to_numpy()) <= 1
    assert layout.groupby(["site", "row"]).size().eq(columns).all()
    assert layout.groupby(["site", "column"]).size().eq(rows).all()
    assert len(connected_groups(layout, ["cultivar"], TERMS)) == 1
    pd.testing.assert_frame_equal(layout, lay_out("row-column", named(treatments), names, 1, rng(seed), options))


def test_a_square_of_as_many_treatments_comes_out_latin() -> None:
    """The search finds a Latin square, the best there is, where rows, columns and treatments are equally many."""
    layout = lay_out("row-column", named(5), ["a"], 1, rng(2), LayoutOptions(rows=5, columns=5))
    assert layout_efficiency(layout, ["cultivar"], TERMS).average_factor == pytest.approx(1.0)


def test_a_youden_square_is_found() -> None:
    """Seven treatments in 3 rows of 7: balanced in columns, complete in rows, E = 7/9 (Youden 1937; Cochran & Cox)."""
    layout = lay_out("row-column", named(7), ["a"], 1, rng(1), LayoutOptions(rows=3, columns=7))
    assert layout_efficiency(layout, ["cultivar"], TERMS).average_factor == pytest.approx(7 / 9, rel=1e-9)


def test_treatments_can_be_kept_apart() -> None:
    """With the wish to be kept apart no treatment stands beside itself along a row or a column."""
    layout = lay_out("row-column", named(4), ["a", "b"], 2, rng(3), LayoutOptions(rows=3, columns=6, keep_apart=True))
    for _, buckets in layout.groupby(["site", "block"]):
        grid = buckets.pivot(index="row", columns="column", values="cultivar").to_numpy()
        assert (grid[1:] != grid[:-1]).all()
        assert (grid[:, 1:] != grid[:, :-1]).all()


@pytest.mark.parametrize(
    ("treatments", "rows", "columns", "words"),
    [
        (9, 2, 4, "8 buckets in a garden cannot hold 9 treatments"),
        (4, 2, 2, "2 columns cannot compare 4 treatments once rows and columns are taken out. That takes 3"),
    ],
)
def test_rectangles_that_cannot_be_made(treatments: int, rows: int, columns: int, words: str) -> None:
    """A rectangle too small for its treatments, is refused with what would do."""
    with pytest.raises(ValueError, match=words):
        lay_out("row-column", named(treatments), ["a"], 1, rng(1), LayoutOptions(rows=rows, columns=columns))
