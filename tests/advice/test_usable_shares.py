"""Laplace's approximation of counts, against R's glmer and a dense Newton method, at given standard deviations."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import block_diag
from scipy.special import expit, gammaln

from advice_data import FOLDER, expected
from trialkit.advice.elimination import Floors
from trialkit.advice.usable_shares import laplace

CASES = expected("laplace")
CERTAIN = 1e14
"""Precision of an effect that glmer is told."""


def counts() -> tuple[pd.DataFrame, np.ndarray, np.ndarray, float]:
    """Rows, counts of cases and of animals by herd and period, and the part of the likelihood that no effect moves."""
    rows = pd.read_csv(FOLDER / CASES["data"]["file"])
    usable, heads = np.zeros((15, 4)), np.zeros((15, 4))
    at = rows["herd"] - 1, rows["period"] - 1
    usable[at], heads[at] = rows["incidence"], rows["size"]
    ways = gammaln(heads + 1) - gammaln(usable + 1) - gammaln(heads - usable + 1)
    return rows, usable, heads, float(ways.sum())


@pytest.mark.parametrize("name", ["herds", "wide"])
def test_herds_vary(name: str) -> None:
    """Periods known, herds at random: the likelihood, and every herd's logits at the mode."""
    case = CASES[name]
    rows, usable, heads, ways = counts()
    sd, level = case["theta"], case["fixed"]
    periods = np.array([0.0, -1.0, -1.1, -1.6])
    floors = Floors(
        np.zeros(15, np.intp),
        np.broadcast_to((level + periods)[:, None], (15, 4, 1)),
        np.full((1, 15, 4, 4), sd**2),
        np.zeros((1, 1, 4, 4)),
        np.full((1, 1), CERTAIN),
        np.ones(1),
    )
    found = laplace(usable, heads, floors)
    assert found.log_likelihood[0] + ways == pytest.approx(case["log_likelihood"], rel=1e-8)
    assert found.treatments is not None
    ours = found.treatments[0, rows["herd"] - 1, rows["period"] - 1]
    np.testing.assert_allclose(ours, case["logit"], atol=1e-5)


def test_herds_and_periods_vary() -> None:
    """Crossed: herds as gardens, periods as effects; the modes of both."""
    case = CASES["crossed"]
    _, usable, heads, ways = counts()
    herd, period = case["theta"]
    design = np.broadcast_to(np.column_stack([np.ones(4), np.eye(4)]), (15, 4, 5))
    floors = Floors(
        np.zeros(15, np.intp),
        design,
        np.full((1, 15, 4, 4), herd**2),
        np.zeros((1, 1, 4, 4)),
        np.r_[CERTAIN, np.full(4, period**-2.0)][None],
        np.r_[case["fixed"], np.zeros(4)],
    )
    found = laplace(usable, heads, floors)
    assert found.log_likelihood[0] + ways == pytest.approx(case["log_likelihood"], rel=1e-8)
    np.testing.assert_allclose(found.mean[0, 1:], list(case["effects"]["period"].values()), atol=1e-5)
    assert found.treatments is not None
    ours = found.treatments[0] - case["fixed"] - found.mean[0, 1:]
    expected_herds = [case["effects"]["herd"][str(i)] for i in range(1, 16)]
    np.testing.assert_allclose(ours, np.broadcast_to(np.array(expected_herds)[:, None], (15, 4)), atol=1e-5)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 3), st.integers(1, 4), st.integers(1, 3))
def test_is_laplace_with_a_dense_covariance(seed: int, trials: int, k: int, gardens: int) -> None:
    """Mode and likelihood are those of Newton's method on all logits at once (Tierney & Kadane 1986).

    Tables hold cells without heads, and cells where all heads or none were usable.
    """
    rng = np.random.default_rng(seed)
    trial = np.repeat(np.arange(trials), gardens)
    sites, p = len(trial), 2
    heads = rng.integers(0, 13, (sites, k)) / 1.3
    usable = heads * rng.choice([0.0, 0.5, 0.9, 1.0], (sites, k))
    roots = rng.normal(size=(sites + trials, k, k))
    spread = roots @ roots.swapaxes(1, 2)
    design, centre, precision = rng.normal(size=(sites, k, p)), rng.normal(size=p), rng.uniform(0.3, 3, p)
    season = [[spread[sites + s] * (s == t) for t in trial] for s in trial]
    x = design.reshape(sites * k, p)
    covariance = block_diag(*spread[:sites]) + np.block(season) + x @ np.diag(1 / precision) @ x.T

    n, y, mean = heads.ravel(), usable.ravel(), x @ centre
    logit = mean
    for _ in range(200):
        share = expit(logit)
        weight = n * share * (1 - share)
        inner = np.eye(len(n)) + covariance * weight
        step = np.linalg.solve(inner, mean - logit + covariance @ (y - n * share))
        logit = logit + step / max(1.0, np.abs(step).max())
    share = expit(logit)
    inner = np.eye(len(n)) + covariance * (n * share * (1 - share))
    expected = (y * logit - n * np.logaddexp(0, logit)).sum() - 0.5 * (logit - mean) @ (y - n * share)
    expected -= 0.5 * np.linalg.slogdet(inner)[1]

    floors = Floors(trial, design, spread[None, :sites], spread[None, sites:], precision[None], centre)
    found = laplace(usable, heads, floors)
    assert found.log_likelihood[0] == pytest.approx(expected, rel=1e-7, abs=1e-7)
    assert found.treatments is not None
    np.testing.assert_allclose(found.treatments[0].ravel(), logit, atol=1e-4)
