"""Ledgers of many trials: posteriors sharp in some directions and open in others still get an answer."""

from functools import cache

import numpy as np
import pandas as pd
import pytest
from invented import ALL_USABLE, Cell, Spreads, as_records, grown

from trialkit.advice.gathering import Gathered, gather
from trialkit.advice.integration import FEWEST_EFFECTIVE, POINTS
from trialkit.advice.terms import Points
from trialkit.advice.weights import Weights, weigh

CELLS = [Cell(cultivar, -1, dose) for cultivar in range(2) for dose in (2.0, 8.0)]
WEIGHT = np.array([136.0, 154.0, 146.0, 164.0])
GARDENS, BLOCKS = [f"g{i}" for i in range(4)], 2
SPREADS = Spreads(garden_by=4.0)
TRIALS = 60


@cache
def gathered(count: int) -> Gathered:
    """Some of sixty trials in the same four gardens, spread over the years.

    So many tell well what passes of a garden; four gardens hardly tell what lasts. A search along each score by itself
    ended half way up the ridge between the two, and all sixty were refused.
    """
    rng = np.random.default_rng(2)
    share = np.full(len(CELLS), ALL_USABLE)
    trials = [grown(rng, f"t{i:02d}", GARDENS, BLOCKS, CELLS, WEIGHT, share, SPREADS) for i in range(TRIALS)]
    some = np.linspace(0, TRIALS - 1, count).round().astype(int)
    return gather(as_records(pd.concat([trials[i] for i in some], ignore_index=True)))


@cache
def weighed(count: int) -> Weights:
    """What so many trials say."""
    return weigh(gathered(count))


@pytest.mark.parametrize("count", [30, TRIALS])
def test_many_trials_get_an_answer(count: int) -> None:
    """Enough points count, and standard deviations that many trials tell are those by which they were drawn."""
    found = weighed(count)
    assert found.points.effective > FEWEST_EFFECTIVE * POINTS
    sd = {name: float(found.points.weight @ value) for name, value in found.sd.items()}
    assert sd["bucket"] == pytest.approx(SPREADS.bucket, rel=0.1)
    level = found.sd["season_level"]
    order = np.argsort(level)
    low, high = np.interp([0.005, 0.995], np.cumsum(found.points.weight[order]), level[order])
    assert low < SPREADS.season < high
    passing = found.sd["garden"] * np.sqrt(1 - found.sd["lasting"])
    assert found.points.weight @ passing == pytest.approx(SPREADS.garden, rel=0.25)


def test_some_of_the_trials_tell_standard_deviations_well_enough() -> None:
    """Learnt from half of the trials, effects of all: gains within a tenth of their standard deviations, these too."""
    asked = gathered(TRIALS).levels.points(["C0", "C0", "C1", "C1"], [""] * 4, np.array([2.0, 8.0, 2.0, 8.0]))
    (gain, sd), (other, sd_of_other) = (
        gains(found, asked) for found in (weighed(TRIALS), weigh(gathered(TRIALS), gathered(TRIALS // 2)))
    )
    np.testing.assert_allclose((other - gain) / sd, 0, atol=0.1)
    np.testing.assert_allclose(sd_of_other / sd, 1, atol=0.1)


def gains(found: Weights, asked: Points) -> tuple[np.ndarray, np.ndarray]:
    """Gains over the first treatment, and their standard deviations."""
    at = found.at(asked)
    mean = (at.mean - at.mean[:, [0]])[:, 1:]
    within = ((at.half - at.half[..., [0]]) ** 2).sum(1) + at.alone**2 + at.alone[:, [0]] ** 2
    weight = found.points.weight
    middle = weight @ mean
    return middle, np.sqrt(weight @ (within[:, 1:] + (mean - middle) ** 2))
