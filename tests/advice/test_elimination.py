"""Elimination floor by floor gives what one dense multivariate normal gives (scipy.stats), to rounding.

Conditioning as in Searle, Casella & McCulloch 1992, Variance Components, section 7.4.
"""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import block_diag
from scipy.stats import multivariate_normal

from trialkit.advice.elimination import Floors, Told, eliminate


def spd(rng: np.random.Generator, size: int, rank: int | None = None) -> np.ndarray:
    """Give a covariance of that rank."""
    root = rng.normal(size=(size, size if rank is None else rank))
    return np.asarray(root @ root.T)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 3), st.integers(1, 4), st.integers(1, 3))
def test_is_conditioning_of_a_dense_normal(seed: int, trials: int, k: int, gardens: int) -> None:
    """Likelihood, effects, their precision and the treatments' means agree, where treatments are missing too."""
    rng = np.random.default_rng(seed)
    trial = np.repeat(np.arange(trials), gardens)
    sites, p = len(trial), 3
    there = rng.random((sites, k)) < 0.8
    there[0] = True
    information = np.array([spd(rng, k) + np.eye(k) for _ in trial]) * there[:, :, None] * there[:, None, :]
    mean = rng.normal(3, 2, (sites, k)) * there
    score = (information @ mean[..., None])[..., 0]
    garden = np.array([spd(rng, k, rng.integers(0, k + 1)) for _ in trial])
    season = np.array([spd(rng, k, rng.integers(0, k + 1)) for _ in range(trials)])
    design, centre = rng.normal(size=(sites, k, p)), rng.normal(size=p)
    precision = rng.uniform(0.1, 4.0, p)

    keep = there.ravel()
    x = design.reshape(sites * k, p)
    over = block_diag(*garden)
    over += np.block([[season[s] if s == t else np.zeros((k, k)) for t in trial] for s in trial])
    over += x @ np.diag(1 / precision) @ x.T
    noise = np.linalg.inv(block_diag(*information)[np.ix_(keep, keep)])
    whole = over[np.ix_(keep, keep)] + noise
    away = mean.ravel()[keep] - x[keep] @ centre
    solved = np.linalg.solve(whole, away)

    told = Told(
        information[None],
        score[None],
        np.array([(mean * score).sum()]),
        np.array([np.linalg.slogdet(noise)[1]]),
    )
    floors = Floors(trial, design, garden[None], season[None], precision[None], centre)
    found = eliminate(told, floors, keep.sum() * np.log(2 * np.pi), back=True)

    expected = multivariate_normal.logpdf(away, np.zeros(len(away)), whole)
    np.testing.assert_allclose(found.log_likelihood[0], expected, rtol=1e-8, atol=1e-8)
    scale = np.abs(mean).max()
    held = np.diag(1 / precision) @ x[keep].T
    np.testing.assert_allclose(found.mean[0], centre + held @ solved, rtol=0, atol=1e-8 * scale)
    covariance = np.diag(1 / precision) - held @ np.linalg.solve(whole, held.T)
    ours = np.linalg.inv(found.factor[0] @ found.factor[0].T)
    np.testing.assert_allclose(ours, covariance, rtol=0, atol=1e-8 * np.abs(covariance).max())
    assert found.treatments is not None
    treatments = x @ centre + over[:, keep] @ solved
    np.testing.assert_allclose(found.treatments[0].ravel(), treatments, rtol=0, atol=1e-8 * scale)


def test_many_sets_of_variances_at_once_are_each_alone() -> None:
    """What one set of variances gives does not hang on those beside it."""
    rng = np.random.default_rng(4)
    trial, k, p, m = np.array([0, 0, 1]), 3, 2, 4
    told = Told(
        np.array([[spd(rng, k) + np.eye(k) for _ in trial] for _ in range(m)]),
        rng.normal(size=(m, 3, k)),
        rng.uniform(50, 60, m),
        rng.normal(size=m),
    )
    garden = np.array([[spd(rng, k) for _ in trial] for _ in range(m)])
    season = np.array([[spd(rng, k) for _ in range(2)] for _ in range(m)])
    design, centre, precision = rng.normal(size=(3, k, p)), rng.normal(size=p), rng.uniform(0.5, 2, (m, p))
    found = eliminate(told, Floors(trial, design, garden, season, precision, centre))
    for i in range(m):
        own = Told(*(part[i : i + 1] for part in (told.information, told.score, told.quadratic, told.log_determinant)))
        floors = Floors(trial, design, garden[i : i + 1], season[i : i + 1], precision[i : i + 1], centre)
        alone = eliminate(own, floors)
        np.testing.assert_allclose(found.log_likelihood[i], alone.log_likelihood[0], rtol=1e-12)
        np.testing.assert_allclose(found.mean[i], alone.mean[0], rtol=1e-10, atol=1e-12)
