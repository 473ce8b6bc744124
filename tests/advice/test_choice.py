"""The choice by hand: what a change costs, doses that are alike, and how sure it is from values drawn by hand."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from trialkit.advice.choice import DRAWS, Prospects, Value, grow_now, how_sure, prospects
from trialkit.advice.weights import At

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


def draws_of(at: At, weight: Any) -> Any:
    """Draws of three candidates whose heads all become marketable, or nearly."""
    nothing = np.zeros((3, len(weight), 3))
    weights = SimpleNamespace(points=SimpleNamespace(weight=weight), at=lambda *_: at, elsewhere=lambda *_: nothing)
    shares = SimpleNamespace(
        at=lambda *_: (np.array([0.9, 0.8, 0.9]), np.eye(3) * 1e-4), elsewhere=lambda *_: np.zeros((3, 3))
    )
    asked: Any = None
    return prospects(weights, shares, asked, 0, Value.in_grams(3), seed=5).draws  # type: ignore[arg-type]


@pytest.fixture
def at() -> At:
    """Two points with covariances of rank two, put together out of four sources."""
    rng = np.random.default_rng(11)
    half = rng.normal(0, 5, (2, 4, 2)) @ np.array([[1.0, 0.5, 0.0], [0.0, 0.5, 1.0]])
    return At(np.array([[150.0, 160.0, 155.0], [152.0, 158.0, 151.0]]), half, np.full((2, 3), 2.0))


def test_draws_do_not_go_by_how_a_covariance_was_put_together(at: At) -> None:
    """Sources turned as processors turn vectors of equal eigenvalues give the same draws, one by one."""
    weight = np.array([0.3, 0.7])
    turned, _ = np.linalg.qr(np.random.default_rng(3).normal(size=(4, 4)))
    found = draws_of(at, weight)
    assert found.shape == (DRAWS, 3)
    assert np.abs(draws_of(replace(at, half=turned @ at.half), weight) - found).max() < 1e-6
    assert np.cov(found.T) == pytest.approx(np.cov(draws_of(replace(at, half=-at.half), weight).T), rel=1e-6)


def test_a_weight_at_the_edge_of_rounding_moves_one_draw(at: At) -> None:
    """The last digit of a weight gives one pair of draws to the neighbour, and leaves all others as they are."""
    edge = (DRAWS // 8 + 0.5) / (DRAWS // 2)
    less, more = (draws_of(at, np.array([edge + by, 1 - edge - by])) for by in (-1e-9, 1e-9))
    moved = [np.setdiff1d(np.round(less[:, one], 9), np.round(more[:, one], 9)).size for one in range(3)]
    assert moved == [2, 2, 2]
