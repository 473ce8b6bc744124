"""What the records say of treatments' weights, against long Markov chains (tests/reference/advice/chains.py).

The chains are a general library's, of the dense model of tests/support; their Monte-Carlo errors, below 1 % of a
posterior standard deviation, stand in each file. The rule's own errors are those of some 1,800 points, thinned to 256.
"""

from typing import Any

import numpy as np
import pytest

from advice_data import expected, records
from trialkit.advice.gathering import gather
from trialkit.advice.priors import SLOPE_G, WEIGHT_G
from trialkit.advice.weights import weigh

CASES = ["oats", "barley", "wheat", "volunteers", "ledger"]


@pytest.mark.parametrize("name", CASES)
def test_treatments_and_gains(name: str) -> None:
    """Means within 1 % of their standard deviations and these within 2 %, of treatments and of gains over a practice."""
    case = expected(name)
    model, asked = case["model"], case["asked"]
    doses = np.array(asked["dose"], float)
    gathered = gather(records(name, model["head_variance"]), [dose for dose in doses if np.isfinite(dose)])
    weights = weigh(gathered)
    assert list(weights.model.names) == model["standard_deviations"]
    assert {one: WEIGHT_G[one] for one in model["scales_g"]} == model["scales_g"]
    assert model["slope_sd_g"] == SLOPE_G
    found = list(weights.at(gathered.levels.points(asked["cultivar"], asked["acidifier"], doses)))
    mean = np.array([at.mean for at in found])
    variance = np.array([(at.half**2).sum(0) + at.alone**2 for at in found])
    close(case["mean"], weights.points.weight, mean, variance)
    practice = case["practice"]
    gain = mean - mean[:, [practice]]
    of_gain = [((at.half - at.half[:, [practice]]) ** 2).sum(0) + at.alone**2 + at.alone[practice] ** 2 for at in found]
    close(case["gain"], weights.points.weight, *(np.delete(part, practice, 1) for part in (gain, np.array(of_gain))))


def close(case: dict[str, Any], weight: np.ndarray, mean: np.ndarray, variance: np.ndarray) -> None:
    """Compare means, in standard deviations, and these, in themselves."""
    assert max(case["monte_carlo_error_of_mean_in_sd"] + case["monte_carlo_error_of_sd_in_sd"]) < 0.01
    middle = weight @ mean
    sd = np.sqrt(weight @ (variance + (mean - middle) ** 2))
    theirs = np.array(case["sd"])
    np.testing.assert_allclose((middle - case["expected"]) / theirs, 0, atol=0.01)
    np.testing.assert_allclose(sd / theirs, 1, atol=0.02)
