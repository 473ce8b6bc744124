"""Augmented blocks: checks everywhere, new cultivars once."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from seeded import named, rng
from trialkit.layouts.efficiency import connected_groups, layout_efficiency
from trialkit.layouts.information import codes, information_matrix
from trialkit.layouts.kinds import lay_out
from trialkit.layouts.layout_options import LayoutOptions


@given(st.integers(1, 3), st.integers(1, 12), st.integers(2, 5), st.integers(1, 2), st.integers(0, 2**32))
def test_checks_in_every_block_and_new_cultivars_once(
    checks: int, new: int, blocks: int, sites: int, seed: int
) -> None:
    """Each block holds every check once, each site every new cultivar once, and blocks are of nearly one size."""
    names = [f"s{i}" for i in range(sites)]
    options = LayoutOptions(checks=tuple(range(checks)))
    layout = lay_out("augmented blocks", named(checks + new), names, blocks, rng(seed), options)
    is_check = layout["cultivar"].isin([f"c{i:02d}" for i in range(checks)])
    in_block = layout[is_check].groupby(["site", "block", "cultivar"]).size()
    assert len(in_block) == sites * blocks * checks
    assert (in_block == 1).all()
    assert (layout[~is_check].groupby(["site", "cultivar"]).size() == 1).all()
    assert np.ptp(layout.groupby(["site", "block"]).size()) <= 1
    assert len(connected_groups(layout, ["cultivar"], ["site:block"])) == 1
    pd.testing.assert_frame_equal(
        layout, lay_out("augmented blocks", named(checks + new), names, blocks, rng(seed), options)
    )


def test_the_published_variances_of_differences() -> None:
    """Federer (1956): 2 s²/b of two checks; 2 s² in one block, 2 s² (1 + 1/c) in two, of new ones (from memory)."""
    layout = lay_out("augmented blocks", named(11), ["a"], 4, rng(4), LayoutOptions(checks=(0, 1, 2)))
    names = layout["cultivar"].drop_duplicates().tolist()
    inverse = np.linalg.pinv(information_matrix(codes(layout["cultivar"].tolist()), [codes(layout["block"].tolist())]))
    block = layout.drop_duplicates("cultivar").set_index("cultivar")["block"]
    variance = np.diag(inverse)[:, None] + np.diag(inverse)[None, :] - 2 * inverse
    assert variance[names.index("c00"), names.index("c01")] == pytest.approx(2 / 4)
    new = [name for name in names if name > "c02"]
    for first in new:
        for second in new:
            if first < second:
                expected = 2.0 if block[first] == block[second] else 2 * (1 + 1 / 3)
                assert variance[names.index(first), names.index(second)] == pytest.approx(expected)
    assert layout_efficiency(layout, ["cultivar"], ["site:block"]).strata[-1].error == (4 - 1) * (3 - 1)
