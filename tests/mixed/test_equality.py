"""Fits as values: copies and fits made anew are equal, others are not, and equal ones have one hash."""

import copy
import pickle
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from trialkit.mixed import MixedFit, example, fit_binomial, fit_mixed, refit_many


def linear(**options: Any) -> MixedFit:
    """The small trial, fitted."""
    return fit_mixed(example.small_trial(), "weight_g ~ dose", ["block"], **options)


def counts() -> Any:
    """The small trial's losses, fitted."""
    return fit_binomial(example.small_counts(), "lost ~ dose", ["block"], trials="heads")


def refits() -> Any:
    """Two responses, one of which does not settle and so has missing values."""
    fit = linear()
    return refit_many(fit, fit.response + np.array([[0.0], [5.0]]), contrasts=np.array([[0.0, 1.0, 0.0]]))


MADE = {"linear": linear, "counts": counts, "refits": refits}
COPIES = {"pickle": lambda value: pickle.loads(pickle.dumps(value)), "copy": copy.deepcopy, "shallow": copy.copy}


@pytest.mark.parametrize("make", MADE.values(), ids=MADE)
@pytest.mark.parametrize("copied", COPIES.values(), ids=COPIES)
def test_copies_are_equal(make: Callable[[], Any], copied: Callable[[Any], Any]) -> None:
    """A copy equals what it was made of, and has its hash."""
    first = make()
    second = copied(first)
    assert (first == second) is True
    assert (first != second) is False
    assert hash(first) == hash(second) == hash(make())
    assert first == make()
    assert len({first, second}) == 1


def answers(fit: MixedFit) -> list[pd.DataFrame]:
    """All that can be asked of a fit."""
    rows = pd.DataFrame({"dose": ["2", "6"], "block": ["1", "9"]})
    tables = [fit.means("dose"), fit.compare("dose"), fit.residuals(), fit.random_effects("block"), fit.anova()]
    return [*tables, fit.predict(rows), fit.predict(rows, random=False), fit.leave_one_out(), fit.coefficients]


def test_a_copy_answers_as_the_fit() -> None:
    """Everything asked of a fit that went through a pickle, after it was asked of the fit itself, is what it was."""
    first = linear()
    told = answers(first)
    for second in (pickle.loads(pickle.dumps(first)), copy.deepcopy(first)):
        assert second == first
        for one, other in zip(told, answers(second), strict=True):
            pd.testing.assert_frame_equal(one, other)


def test_slopes_and_counts_too() -> None:
    """Likewise of a fit with slopes, and of counts."""
    rows = pd.DataFrame({"days": [0.0, 1, 2, 3] * 6, "plant": [name for name in "abcdef" for _ in range(4)]})
    high = np.random.default_rng(1).normal(size=24) + rows["days"] * rows["plant"].map(ord)
    slopes = fit_mixed(rows.assign(high=high), "high ~ days", "plant with days")
    first = slopes.predict(rows)
    again = pickle.loads(pickle.dumps(slopes))
    assert again == slopes
    pd.testing.assert_frame_equal(again.predict(rows), first)
    lost = counts()
    table = lost.means("dose")
    pd.testing.assert_frame_equal(pickle.loads(pickle.dumps(lost)).means("dose"), table)


def test_what_differs_is_not_equal() -> None:
    """Other data, methods, terms or rows make another fit, and a fit is no number."""
    trial = example.small_trial()
    others = [
        linear(method="ml"),
        linear(bounds="strata"),
        fit_mixed(trial, "weight_g ~ dose_tsp", ["block"]),
        fit_mixed(trial, "weight_g ~ dose"),
        fit_mixed(trial.assign(weight_g=trial["weight_g"] + 1), "weight_g ~ dose", ["block"]),
        fit_mixed(trial.rename(columns={"block": "bench"}), "weight_g ~ dose", ["bench"]),
        fit_mixed(trial.replace({"dose": {"6": "9"}}), "weight_g ~ dose", ["block"]),
        fit_mixed(trial.set_index(trial.index + 1), "weight_g ~ dose", ["block"]),
        counts(),
        5,
    ]
    assert [other for other in others if linear() == other] == []


def test_missing_values_are_alike() -> None:
    """Refits of which some did not settle equal their copies."""
    fit = linear(bounds="strata")
    some = refit_many(fit, fit.simulate(np.random.default_rng(1), 3))
    holed = copy.deepcopy(some)
    holed.variances[1] = some.variances[1] = np.nan
    assert some == holed
    holed.variances[2] += 1
    assert some != holed
