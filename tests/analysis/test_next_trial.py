"""The size of the next trial: by hand, and by trying it."""

import numpy as np
import pytest
from scipy.stats import binom, norm

from trialkit.analysis.next_trial import next_trial


def draws(mean: float, sd: float, luck: float) -> tuple[np.ndarray, np.ndarray]:
    """Normal draws of a gain, on average and at a new garden, each with its mirror image."""
    z = norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    shaken = np.random.default_rng(1).permutation(z)
    return mean + sd * z, mean + sd * z + luck * shaken


def test_without_luck_by_hand() -> None:
    """Gain 20, margin 10, error 10, chance .9: (1.2816 + .8416)^2 (10 / 10)^2 = 4.508 times 24 buckets is 109."""
    found = next_trial(*draws(5.0, 10.0, 0.0), 10.0, 0.9, 24, 4)
    assert found is not None
    assert (found.gain_g, found.power) == (20.0, 0.8)
    assert found.buckets == pytest.approx(109, abs=1)  # the error is read off quantiles of 20,000 draws
    assert found.gardens == 19


def test_gardens_that_differ_ask_for_more_or_for_too_much() -> None:
    """Luck adds to the size; where its 90 % point passes the gain beyond the margin, no size is enough."""
    without, more, none = (next_trial(*draws(20.0, 8.0, luck), 10.0, 0.9, 24, 4) for luck in (0.0, 4.0, 8.0))
    assert without is not None
    assert more is not None
    assert without.buckets < more.buckets
    assert none is None  # 1.28 x 8 > 20 - 10


def test_the_size_does_what_it_says() -> None:
    """Trials of that size reach the chance asked for in four of five (bounds: 99 % binomial of 2,000; seeded)."""
    error, luck, margin, sure = 8.0, 3.0, 10.0, 0.9
    found = next_trial(*draws(22.0, error, luck), margin, sure, 24, 4)
    assert found is not None
    se = error / np.sqrt(found.buckets / 24)
    estimates = np.random.default_rng(2).normal(found.gain_g, se, 2000)
    settled = norm.cdf((estimates - margin) / np.hypot(se, luck)) >= sure
    low, high = binom.ppf([0.005, 0.995], 2000, 0.8)
    assert low <= settled.sum() <= high + 40  # buckets are whole, so rather more than four of five


def test_no_gain_in_sight_has_no_size() -> None:
    """Without a margin and without an estimated gain there is nothing to look for."""
    assert next_trial(*draws(-3.0, 5.0, 0.0), 0.0, 0.9, 24, 4) is None
