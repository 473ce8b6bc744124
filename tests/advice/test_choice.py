"""The choice by hand: what a change costs, doses that are alike, and how sure it is from values drawn by hand."""

from dataclasses import replace

import numpy as np
import pytest

from trialkit.advice.choice import Prospects, grow_now, how_sure

ALIKE = np.array([[1, 1, 1, 0], [1, 1, 1, 0], [1, 1, 1, 0], [0, 0, 0, 1]], bool)
DOSE = np.array([4.0, 6.0, 8.0, 4.0])


@pytest.mark.parametrize(
    ("value", "chosen"),
    [
        ([100.0, 102.9, 102.0, 90.0], 0),  # gains less than a change must be worth
        ([100.0, 103.5, 104.0, 90.0], 1),  # within a gram of the best: the smaller dose
        ([100.0, 102.5, 104.0, 90.0], 2),
        ([100.0, 103.5, 104.0, 110.0], 3),  # another cultivar: its dose is not set beside theirs
        ([103.5, 103.0, 104.4, 90.0], 0),
    ],
)
def test_what_to_grow(value: list[float], chosen: int) -> None:
    """The practice is the first; a change must be worth 3 g, doses within 1 g are alike."""
    assert grow_now(np.array(value), 0, ALIKE, DOSE, 3.0, 1.0) == chosen


def drawn(values: list[list[float]]) -> Prospects:
    """Prospects of which only the draws matter."""
    draws, nothing = np.array(values), np.zeros(len(values[0]))
    return Prospects(nothing, nothing, nothing, nothing, nothing, nothing, nothing, nothing, draws, draws, 0)


def test_how_sure() -> None:
    """Four draws by hand: near the best in three of four; what is given up is the mean shortfall."""
    found = drawn([[10.0, 12.0], [10.0, 9.0], [10.0, 16.0], [10.0, 10.0]])
    kept = how_sure(found, 0, margin=2.0, sure=0.75)
    assert (kept.changed, kept.settled) == (False, True)
    assert kept.near_best.tolist() == [0.75, 1.0]
    assert kept.regret.tolist() == [2.0, 0.25]
    assert not how_sure(found, 0, margin=2.0, sure=0.8).settled
    assert how_sure(replace(found, practice=1), 0, margin=2.0, sure=0.8).changed
