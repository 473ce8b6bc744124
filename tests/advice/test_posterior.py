"""What the records say of treatments' weights, against long Markov chains (tests/reference/advice/chains.py).

The chains are a general library's, of the dense model of tests/support; their Monte-Carlo errors, below 1 % of a
posterior standard deviation, stand in each file. The rule's own errors are those of some 1,800 points, thinned to 512.
What is aimed at, means within 1 % of their standard deviation and these within 2 %, is reached but for means of gains
on ledger (1.5 %). Points scrambled otherwise (six ways) have largest errors of gains whose root mean square is 0.5 to
1.6 % in means, on ledger up to 3.1 %, and 0.5 to 2.4 % in standard deviations, on wheat up to 3.5 %.
"""

from typing import Any

import numpy as np
import pytest

from advice_data import expected, records
from trialkit.advice.gathering import gather
from trialkit.advice.priors import SLOPE_G, WEIGHT_G
from trialkit.advice.weights import weigh

AIM = (0.01, 0.02)
WITHIN = {
    "oats": (AIM, AIM),
    "barley": (AIM, AIM),
    "wheat": (AIM, AIM),
    "volunteers": (AIM, AIM),
    "ledger": (AIM, (0.016, 0.02)),
}
"""How near means, and standard deviations, come: of treatments, and of gains over a practice."""


@pytest.mark.parametrize("name", WITHIN)
def test_treatments_and_gains(name: str) -> None:
    """Means in units of their standard deviations, and these in units of themselves."""
    case = expected(name)
    model, asked = case["model"], case["asked"]
    doses = np.array(asked["dose"], float)
    gathered = gather(records(name, model["head_variance"]), [dose for dose in doses if np.isfinite(dose)])
    weights = weigh(gathered, scales={**WEIGHT_G, **model["scales_g"]})  # the priors that the chain had
    assert list(weights.model.names) == model["standard_deviations"]
    assert model["scales_g"].keys() <= WEIGHT_G.keys()
    assert model["slope_sd_g"] == SLOPE_G
    found = weights.at(gathered.levels.points(asked["cultivar"], asked["acidifier"], doses))
    mean, half, alone = found.mean, found.half, found.alone
    close(case["mean"], weights.points.weight, mean, (half**2).sum(1) + alone**2, WITHIN[name][0])
    practice = case["practice"]
    gain = np.delete(mean - mean[:, [practice]], practice, 1)
    of_gain = ((half - half[..., [practice]]) ** 2).sum(1) + alone**2 + alone[:, [practice]] ** 2
    close(case["gain"], weights.points.weight, gain, np.delete(of_gain, practice, 1), WITHIN[name][1])


def close(
    case: dict[str, Any], weight: np.ndarray, mean: np.ndarray, variance: np.ndarray, within: tuple[float, float]
) -> None:
    """Compare means, in standard deviations, and these, in themselves."""
    assert max(case["monte_carlo_error_of_mean_in_sd"] + case["monte_carlo_error_of_sd_in_sd"]) < 0.01
    middle = weight @ mean
    sd = np.sqrt(weight @ (variance + (mean - middle) ** 2))
    theirs = np.array(case["sd"])
    np.testing.assert_allclose((middle - case["expected"]) / theirs, 0, atol=within[0])
    np.testing.assert_allclose(sd / theirs, 1, atol=within[1])
