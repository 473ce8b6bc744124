"""The search: what it thinks an exchange gains is what it gains, and it keeps to its frame."""

import numpy as np
import pytest

from seeded import rng
from trialkit.layouts.incomplete_blocks import block_frame
from trialkit.layouts.information import information_matrix
from trialkit.layouts.interchange import (
    Frame,
    _apart,
    _gains,
    _Permission,
    _variances,
    criterion,
    information,
    search,
)
from trialkit.layouts.row_column import rectangle_frame

FRAMES = {"blocks": (7, block_frame(np.repeat([0, 1], 12), 3)), "rectangles": (5, rectangle_frame(2, 1, 3, 4))}


@pytest.mark.parametrize("name", FRAMES)
def test_the_gain_of_every_exchange_is_that_of_making_it(name: str) -> None:
    """The updating formula gives, for every pair of buckets, the fall of the criterion found by exchanging them."""
    count, frame = FRAMES[name]
    treatment = rng(1).permutation(np.arange(len(frame.groups)) % count)
    gains = _gains(treatment, _variances(treatment, count, frame), frame, _apart(frame))
    before = criterion(treatment, count, frame)
    for first in range(len(treatment)):
        for second in range(first):
            after = treatment.copy()
            after[[first, second]] = after[[second, first]]
            fall = 1 - criterion(after, count, frame) / before
            if treatment[first] != treatment[second] and fall > -1:
                assert gains[first, second] == pytest.approx(fall, abs=1e-6)


@pytest.mark.parametrize("name", FRAMES)
def test_the_information_is_that_of_eliminating_the_blockings(name: str) -> None:
    """With one size of block the quick formula gives the same matrix as projecting the blockings out."""
    count, frame = FRAMES[name]
    treatment = rng(2).permutation(np.arange(len(frame.groups)) % count)
    blockings = [labels for labels, factor in frame.systems if factor > 0]
    assert information(treatment, count, frame) == pytest.approx(information_matrix(treatment, blockings), abs=1e-9)


@pytest.mark.parametrize("name", FRAMES)
def test_permissions_agree_with_looking(name: str) -> None:
    """A pair may exchange exactly if the frame still holds afterwards."""
    count, frame = FRAMES[name]
    treatment = search(count, frame, rng(3), start=np.arange(len(frame.groups)) % count)
    permission = _Permission(frame, count)
    every = permission.every(treatment)
    for first in range(len(treatment)):
        for second in range(len(treatment)):
            assert every[first, second] == permission.pair(treatment, first, second)
            if every[first, second]:
                after = treatment.copy()
                after[[first, second]] = after[[second, first]]
                assert keeps_to(frame, after, count)


def keeps_to(frame: Frame, treatment: np.ndarray, count: int) -> bool:
    """Tell whether groups are even and distinct blockings hold nothing twice."""
    groups = [np.bincount(treatment[frame.groups == g], minlength=count) for g in np.unique(frame.groups)]
    held = [treatment[labels == label] for labels in frame.distinct for label in np.unique(labels)]
    return all(np.ptp(g) <= 1 for g in groups) and all(len(set(h)) == len(h) for h in held)


def test_the_search_never_leaves_it_worse() -> None:
    """From any start that keeps to the frame the criterion does not rise."""
    count, frame = FRAMES["blocks"]
    start = np.arange(len(frame.groups)) % count
    assert criterion(search(count, frame, rng(4), start=start), count, frame) <= criterion(start, count, frame)
