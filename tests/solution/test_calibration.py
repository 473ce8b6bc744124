"""A site's alkalinity from its records: truth is recovered, and intervals hold it as often as they say."""

import math

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import norm

from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.solution import calibration, ph_after
from trialkit.solution.calibration import STRIDE, effective_alkalinity

SCATTER, READINGS, TRIALS = 0.2, 12, 80


def records(draws: np.random.Generator, alkalinity: float) -> tuple[np.ndarray, np.ndarray]:
    """Draw acid for twelve buckets and what a strip in steps of a half shows."""
    moles = draws.uniform(0.3, 1.0, READINGS) * alkalinity / 50_000 * 1.1
    truth = ph_after(acid="acetic", acid_mol_l=moles, alkalinity_mg_l_caco3=alkalinity, ph_start=7.5)
    return moles, np.round(2 * (truth + draws.normal(0, SCATTER, READINGS))) / 2


@pytest.mark.parametrize("alkalinity", [40.0, 160.0])
def test_intervals_hold_the_truth(alkalinity: float) -> None:
    """Of 80 sites 95 % of intervals hold their alkalinity, within 3.3 Monte-Carlo standard errors."""
    draws = np.random.default_rng(20261127)
    held = 0
    for _ in range(TRIALS):
        moles, reading = records(draws, alkalinity)
        found = effective_alkalinity("acetic", moles, np.full(READINGS, 7.5), reading)
        held += found.lower <= alkalinity <= found.upper
    assert held / TRIALS == pytest.approx(0.95, abs=3.3 * math.sqrt(0.95 * 0.05 / TRIALS))


def test_against_a_general_optimiser() -> None:
    """The same interval-censored likelihood, maximised by scipy over alkalinity and scatter, within the grid's step."""
    moles, reading = records(np.random.default_rng(3), 120.0)

    def loss(parameters: np.ndarray) -> float:
        truth = ph_after(acid="acetic", acid_mol_l=moles, alkalinity_mg_l_caco3=math.exp(parameters[0]), ph_start=7.5)
        scatter = math.exp(parameters[1])
        chance = norm.cdf(reading + 0.25, truth, scatter) - norm.cdf(reading - 0.25, truth, scatter)
        return -float(np.log(chance).sum())

    best = minimize(loss, [math.log(100), math.log(0.2)], method="Nelder-Mead")
    found = effective_alkalinity("acetic", moles, np.full(READINGS, 7.5), reading)
    assert found.value == pytest.approx(math.exp(best.x[0]), rel=0.02)


def test_a_coarse_look_first_finds_what_the_whole_grid_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """Few readings or many, soft water or hard: the same numbers as where every point is looked at."""
    draws = np.random.default_rng(11)
    for alkalinity in (5.0, 40.0, 160.0, 400.0):
        for count in (3, 4, READINGS):
            moles, reading = (one[:count] for one in records(draws, alkalinity))
            found = []
            for stride in (STRIDE, 1):
                monkeypatch.setattr(calibration, "STRIDE", stride)
                found.append(effective_alkalinity("acetic", moles, np.full(count, 7.5), reading))
            assert found[0] == found[1]


def test_readings_that_tell_no_upper_end() -> None:
    """Little acid in hard water moves no strip: the interval reaches the end of the search, and that is said."""
    found = effective_alkalinity("acetic", [1e-6] * 6, [7.5] * 6, [7.5] * 6)
    assert found.bounded


def test_too_few_readings() -> None:
    """Two readings tell a scatter and an alkalinity together no better than a guess; lengths must agree."""
    with pytest.raises(NotComputed, match="3 readings"):
        effective_alkalinity("acetic", [1e-3] * 2, [7.5] * 2, [6.0] * 2)
    with pytest.raises(WrongCall, match="a pH before and a pH after"):
        effective_alkalinity("acetic", [1e-3] * 3, [7.5] * 3, [6.0] * 2)
