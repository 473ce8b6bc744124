"""Latin squares: true squares, and every one equally likely."""

from collections import Counter
from math import factorial

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from seeded import rng
from trialkit.layouts.kinds import lay_out
from trialkit.layouts.latin_squares import random_latin_square, reduced_latin_squares, walked_latin_square

# Each chi-square test errs with this probability if sampling is perfect; seeds are fixed, so it errs once and for all
# or never.
ERROR_RATE = 1e-3


@pytest.mark.parametrize(("order", "count"), [(2, 1), (3, 1), (4, 4), (5, 56)])
def test_the_number_of_reduced_squares(order: int, count: int) -> None:
    """There are 1, 1, 4 and 56 reduced squares of orders 2 to 5 (OEIS A000315; Fisher & Yates)."""
    assert len(set(reduced_latin_squares(order))) == count


@pytest.mark.parametrize(("order", "total"), [(2, 2), (3, 12), (4, 576)])
def test_every_square_comes_and_equally_often(order: int, total: int) -> None:
    """All 2, 12 and 576 squares of orders 2 to 4 (OEIS A002860) come, equally often: chi-square at 0.001."""
    generator = rng(order)
    counts = Counter(random_latin_square(order, generator).tobytes() for _ in range(total * 12))
    assert len(counts) == total == factorial(order) * factorial(order - 1) * len(reduced_latin_squares(order))
    assert stats.chisquare(list(counts.values())).pvalue > ERROR_RATE


def test_every_reduced_square_of_order_five_comes_equally_often() -> None:
    """Reduced again, squares of order 5 fall on all 56 reduced ones equally often: chi-square at 0.001."""
    generator = rng(5)
    counts = Counter(reduced(random_latin_square(5, generator)) for _ in range(56 * 40))
    assert len(counts) == 56
    assert stats.chisquare(list(counts.values())).pvalue > ERROR_RATE


def test_the_walk_reaches_every_square_equally_often() -> None:
    """The walk for larger orders, tried on order 4: 4 reduced squares equally often, chi-square at 0.001.

    The first of the 4 (the group of pairs) differs in kind from the others; a walk that stops wrongly favours it.
    """
    generator = rng(4)
    counts = Counter(reduced(walked_latin_square(4, generator)) for _ in range(1200))
    assert len(counts) == 4
    assert stats.chisquare(list(counts.values())).pvalue > ERROR_RATE


@pytest.mark.parametrize("order", [2, 3, 4, 5, 6, 7, 9, 12])
def test_squares_are_latin(order: int) -> None:
    """Every treatment stands once in each row and each column."""
    square = random_latin_square(order, rng(order))
    for line in (*square, *square.T):
        assert sorted(line) == list(range(order))


@given(st.integers(0, 2**32), st.integers(2, 6), st.integers(1, 2))
def test_a_layout_of_squares(seed: int, order: int, squares: int) -> None:
    """In every row and column of every square of every site each treatment stands once; positions go row by row."""
    treatments = pd.DataFrame({"cultivar": [f"c{i}" for i in range(order)]})
    layout = lay_out("Latin square", treatments, ["a", "b"], squares, rng(seed))
    for line in ("row", "column"):
        assert (layout.groupby(["site", "block", line])["cultivar"].nunique() == order).all()
    assert len(layout) == 2 * squares * order**2
    assert layout.sort_values(["site", "position"]).equals(layout.sort_values(["site", "block", "row", "column"]))


def reduced(square: np.ndarray) -> bytes:
    """Order the columns by the first row, then the other rows by the first column."""
    square = square[:, np.argsort(square[0])]
    return bytes(square[np.argsort(square[:, 0])].tobytes())
