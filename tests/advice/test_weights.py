"""Effects of the model of weights given the standard deviations, against its dense covariance (tests/support).

The dense model is written anew, without trialkit (dense_weights): scipy's multivariate normal for the likelihood, the
free level integrated exactly, conditioning for means and covariances.
"""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from dense_weights import DenseWeights
from trialkit.advice.gathering import BucketRecords, gather
from trialkit.advice.integration import Integrated
from trialkit.advice.priors import WEIGHT_G
from trialkit.advice.weights import WeightModel, Weights, weigh
from trialkit.domain.errors import NotComputed

LEVELS = {"cultivar": ["x", "y", "z"], "acidifier": ["citric", "vinegar"], "dose": [75.0, 100.0, 150.0, 300.0]}
BETWEEN = 120.0


def records(
    seed: int, trials: int, factors: set[str], blocks: int, plots: bool, lost: float, head_variance: float
) -> BucketRecords:
    """Records of an invented ledger whose gardens come back by chance."""
    rng = np.random.default_rng(seed)
    rows = []
    for trial in range(trials):
        sites = rng.choice(5, rng.integers(1, 5), replace=False)
        used = {name: list(rng.permutation(levels)[: rng.integers(2, 4)]) for name, levels in LEVELS.items()}
        if trial == 0:
            used = LEVELS
        for site, block in product(sites, range(blocks)):
            levels = [used[name] if name in factors else [np.nan if name == "dose" else ""] for name in LEVELS]
            for cultivar, acidifier, dose in product(*levels):
                if trial == 0 or rng.random() >= lost:
                    weight = 150 + 20 * rng.normal() if rng.random() >= lost else np.nan
                    plot = cultivar if plots else ""
                    about = (f"trial {trial}", f"garden {site}", f"{block}" if blocks > 1 else "", plot)
                    rows.append((*about, cultivar, acidifier, float(dose), 4, rng.integers(0, 5), weight))
    columns = [
        "trial",
        "site",
        "block",
        "whole_plot",
        "cultivar",
        "acidifier",
        "dose",
        "recorded",
        "usable",
        "weight_g",
    ]
    buckets = pd.DataFrame(rows, columns=columns)
    gardens = buckets[["trial", "site"]].drop_duplicates().reset_index(drop=True)
    gardens["alkalinity"] = rng.uniform(20, 220, len(gardens))
    gardens["sun_hours"] = np.where(rng.random(len(gardens)) < 0.2, np.nan, rng.uniform(3, 10, len(gardens)))
    gardens["kind"] = np.where(
        rng.random(len(gardens)) < 0.3, None, np.array(["roof", "yard"])[np.arange(len(gardens)) % 2]
    )
    return BucketRecords(buckets, gardens, head_variance)


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    trials=st.integers(1, 3),
    factors=st.sets(st.sampled_from(sorted(LEVELS)), min_size=1),
    blocks=st.integers(1, 2),
    plots=st.booleans(),
    lost=st.sampled_from([0.0, 0.15, 0.4]),
    head_variance=st.sampled_from([0.0, 400.0]),
)
@example(seed=264, trials=3, factors={"cultivar"}, blocks=2, plots=False, lost=0.0, head_variance=0.0)
def test_effects_are_those_of_the_dense_model(
    seed: int, trials: int, factors: set[str], blocks: int, plots: bool, lost: float, head_variance: float
) -> None:
    """Likelihood to 1e-8, means and covariance of what is asked to 1e-8 of the largest.

    Standard deviations are a twelfth of their priors' scales at least: where buckets hardly vary, the dense covariance
    has a condition of 1e7, and neither way of solving keeps eight figures. In the example a cultivar is asked about in
    a garden that came back and never had it.
    """
    told = records(seed, trials, factors, blocks, plots, lost, head_variance)
    gathered = gather(told, [BETWEEN])
    assume(gathered.weighed)
    model = WeightModel(gathered, WEIGHT_G)
    points = np.maximum(np.random.default_rng(seed).normal(size=(3, len(model.names))), -1.5)
    sd, density = model.by_name(points), model.log_density(points)
    weights = Weights(model, Integrated(points, np.full(3, 1 / 3), 3.0, points[0]), sd, model.effects(points))

    levels = [LEVELS[name] if name in factors else [np.nan if name == "dose" else ""] for name in LEVELS]
    doses = [*levels[2], BETWEEN] if "dose" in factors else levels[2]
    asked = pd.DataFrame(product(*levels[:2], doses), columns=list(LEVELS)).astype({"dose": float})
    often = told.gardens.groupby("site")["trial"].nunique()
    returning = sorted(often.index[often > 1])
    for site in ["", *returning[:1]]:
        dense = DenseWeights.of(told.buckets, told.gardens, head_variance, asked.assign(site=site), set(model.names))
        at = gathered.levels.points(asked["cultivar"], asked["acidifier"], asked["dose"].to_numpy())
        garden = np.full(len(asked), returning.index(site)) if site else None
        found = weights.at(at, garden)
        for i in range(len(points)):
            here = {name: float(value[i]) for name, value in sd.items()}
            likelihood = dense.log_likelihood(here)
            assert weights.effects.log_likelihood[i] == pytest.approx(likelihood, rel=1e-8, abs=1e-8)
            assert density[i] == pytest.approx(likelihood - 0.5 * (points[i] ** 2).sum(), rel=1e-8, abs=1e-8)
            expected, covariance = dense.asked(here)
            np.testing.assert_allclose(found.mean[i], expected, rtol=1e-8)
            ours = found.half[i].T @ found.half[i] + np.diag(found.alone[i] ** 2)
            np.testing.assert_allclose(ours, covariance, rtol=0, atol=1e-8 * covariance.max())


def test_names_what_the_records_can_speak_of() -> None:
    """A ledger with everything has every standard deviation of the table of priors, and the lasting share."""
    told = records(1, 3, set(LEVELS), 2, True, 0.0, 400.0)
    assert set(WeightModel(gather(told), WEIGHT_G).names) == {*WEIGHT_G, "lasting"}
    few = records(1, 1, {"cultivar"}, 1, False, 0.0, 0.0)
    assert set(WeightModel(gather(few), WEIGHT_G).names) <= {
        "bucket", "garden", "garden_cultivar", "season", "cultivar", "surroundings",
    }  # fmt: skip


def test_nothing_weighed_is_refused() -> None:
    """Without a single weight there is no model of weights, and it is said."""
    told = records(1, 1, {"cultivar"}, 1, False, 0.0, 0.0)
    nothing = BucketRecords(told.buckets.assign(weight_g=np.nan), told.gardens)
    with pytest.raises(NotComputed, match="weighed"):
        weigh(gather(nothing))
