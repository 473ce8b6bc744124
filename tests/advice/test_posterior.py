"""What the records say of treatments' weights, against long Markov chains (tests/reference/advice/chains.py).

The chains are a general library's, of the dense model of tests/support; their Monte-Carlo errors, below 0.4 % of a
posterior standard deviation, stand in each file. The rule's own errors are those of some 1,800 points.
"""

from typing import Any

import numpy as np
import pytest

from advice_data import expected, records
from trialkit.advice.gathering import gather
from trialkit.advice.priors import LEVEL_G, SLOPE_G, WEIGHT_G
from trialkit.advice.weights import weigh

CASES = ["oats", "barley", "wheat", "volunteers", "ledger"]


@pytest.mark.parametrize("name", CASES)
def test_treatments_and_gains(name: str) -> None:
    """Means and standard deviations within 1.2 % of the latter; gains over a practice within 2 % and 1.5 %."""
    case = expected(name)
    model, asked = case["model"], case["asked"]
    doses = np.array(asked["dose"], float)
    gathered = gather(records(name, model["head_variance"]), [dose for dose in doses if np.isfinite(dose)])
    weights = weigh(gathered)
    assert list(weights.model.names) == model["standard_deviations"]
    assert {one: WEIGHT_G[one] for one in model["scales_g"]} == model["scales_g"]
    assert (model["slope_sd_g"], model["level_sd_of_seasons_g"]) == (SLOPE_G, LEVEL_G)
    mean, half = weights.at(gathered.levels.points(asked["cultivar"], asked["acidifier"], doses))
    close(case["mean"], weights.points.weight, mean, half, (0.012, 0.012))
    practice = case["practice"]
    gain, of_gain = (np.delete(part - part[..., [practice]], practice, -1) for part in (mean, half))
    close(case["gain"], weights.points.weight, gain, of_gain, (0.02, 0.015))


def close(
    case: dict[str, Any], weight: np.ndarray, mean: np.ndarray, half: np.ndarray, within: tuple[float, float]
) -> None:
    """Compare means, in standard deviations, and these, in themselves."""
    assert max(case["monte_carlo_error_of_mean_in_sd"] + case["monte_carlo_error_of_sd_in_sd"]) < 0.004
    middle = weight @ mean
    sd = np.sqrt(weight @ ((half**2).sum(1) + (mean - middle) ** 2))
    theirs = np.array(case["sd"])
    np.testing.assert_allclose((middle - case["expected"]) / theirs, 0, atol=within[0])
    np.testing.assert_allclose(sd / theirs, 1, atol=within[1])
