"""How a response is fitted: variances free, then on bucket means, then at zero or above."""

import numpy as np
import pandas as pd
import pingouin
import pytest

from trialkit.analysis.derived_model import derive_model
from trialkit.analysis.fitting import Fits, fit_response
from trialkit.analysis.response import probability_of_superiority
from trialkit.mixed import MixedModelError


def fit(heads: pd.DataFrame) -> Fits:
    """Fit three treatments in three blocks of one garden."""
    for column in ("site", "block", "treatment", "cultivar"):
        heads[column] = pd.Categorical(heads[column])
    return fit_response("y", heads, derive_model(heads, ["cultivar"], ("site:block",)))


def heads(bucket_sd: float, seed: int) -> pd.DataFrame:
    """Three blocks x three treatments x four heads without effects, of which four heads were lost."""
    rng = np.random.default_rng(seed)
    axes = [["s"], range(3), list("ABC"), range(4)]
    frame = pd.MultiIndex.from_product(axes, names=["site", "block", "treatment", "head"]).to_frame(index=False)
    frame["cultivar"] = frame["treatment"]
    frame["bucket"] = np.arange(len(frame)) // 4
    kept = frame.drop(index=rng.choice(36, 4, replace=False)).reset_index(drop=True)
    within = rng.standard_normal(len(kept))
    return kept.assign(y=100 + within + bucket_sd * rng.standard_normal(9)[kept["bucket"]])


def test_free_variances_where_they_settle() -> None:
    """An ordinary trial is fitted on its heads, without a note."""
    fits = fit(heads(bucket_sd=2.0, seed=4))
    assert fits.bounds == "strata"
    assert fits.model.notes == ()
    assert fits.crossed.model.heads == 32


def test_bucket_means_where_they_do_not() -> None:
    """Buckets more alike than chance allows, some short of heads: the analysis of variance of the bucket means.

    F by hand: blocks, treatments and error of the nine means (Yates 1934, unweighted means).
    """
    frame = heads(bucket_sd=0.0, seed=4)
    fits = fit(frame.copy())
    assert fits.crossed.model.heads == 9
    assert "bucket_means" in {note.code for note in fits.model.notes}
    means = frame.groupby(["block", "treatment"], observed=True)["y"].mean().to_numpy().reshape(3, 3)
    block, treatment, grand = means.mean(1, keepdims=True), means.mean(0, keepdims=True), means.mean()
    error = ((means - block - treatment + grand) ** 2).sum() / 4
    test = fits.crossed.anova().loc["cultivar"]
    assert test["f"] == pytest.approx(3 * ((treatment - grand) ** 2).sum() / 2 / error, rel=1e-8)
    assert test["denominator_df"] == pytest.approx(4)


def test_every_way_is_an_honest_failure_at_the_end() -> None:
    """Where nothing varies at all, no way settles and the engine's refusal is passed on."""
    with pytest.raises(MixedModelError):
        fit(heads(bucket_sd=2.0, seed=4).assign(y=100.0))


def test_probability_of_superiority_against_the_published_example() -> None:
    """Heights of men and women, 69.7 (2.8) and 64.3 (2.6) inches: a man is taller in 92 % of pairs.

    McGraw & Wong (1992), Psychol. Bull. 111, 361-365, their first example; figures from memory.
    """
    sd = float(np.sqrt((2.8**2 + 2.6**2) / 2))
    assert probability_of_superiority(69.7 - 64.3, sd) == pytest.approx(0.92, abs=0.005)
    assert probability_of_superiority(0.0, sd) == pytest.approx(0.5)
    assert probability_of_superiority(1.0, 0.0) is None


@pytest.mark.parametrize("effect", [-1.7, 0.2, 2.5])
def test_probability_of_superiority_against_a_general_library(effect: float) -> None:
    """The area under the curve that pingouin converts a standardised difference to."""
    assert probability_of_superiority(effect * 3.0, 3.0) == pytest.approx(
        pingouin.convert_effsize(effect, "cohen", "AUC"), abs=1e-12
    )
