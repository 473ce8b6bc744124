"""What a trial is expected to bring, against closed forms, an algorithm for one-dimensional learning, and simulation.

Sources: Raiffa & Schlaifer 1961, Applied Statistical Decision Theory, section 5.4 (two acts, linear loss, the unit
normal loss integral); Frazier, Powell & Dayanik 2009, INFORMS J. Computing 21, 599-613, algorithm 1 (expected greatest
of lines in one standard normal). Both are written anew here.
"""

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from scipy.special import ndtr
from scipy.stats import norm

from dense_weights import DenseWeights
from trialkit.advice.choice import Value
from trialkit.advice.elimination import Effects, eliminate
from trialkit.advice.gathering import BucketRecords, Gathered, gather
from trialkit.advice.integration import Integrated
from trialkit.advice.priors import SHARE_LOGIT, WEIGHT_G
from trialkit.advice.sample_information import Beliefs, DecisionCosts, PartBefore, Preposterior, told_by
from trialkit.advice.usable_shares import ShareModel, Shares
from trialkit.advice.weights import WeightModel

POINTS = 16
CERTAIN, NONE, FAR = 1e12, 1e-6, 1e5
"""A precision, and standard deviations: of gardens so far apart that only differences within them tell."""
FREE = DecisionCosts(change=0.0, same=0.0, margin=10.0, sure=0.9, confidence=0.95)


def buckets(
    trial: str, gardens: int, blocks: int, cultivars: str, doses: tuple[float, ...] = (np.nan,)
) -> pd.DataFrame:
    """Buckets of a complete trial, every head usable."""
    rows = [
        (trial, f"{trial}{garden}", str(block) if blocks > 1 else "", "", cultivar, "", dose, 4, 4.0, 100.0)
        for garden, block, cultivar, dose in product(range(gardens), range(blocks), cultivars, doses)
    ]
    names = ["trial", "site", "block", "whole_plot", "cultivar", "acidifier", "dose", "recorded", "usable", "weight_g"]
    return pd.DataFrame(rows, columns=names)


def gardens_of(rows: pd.DataFrame) -> pd.DataFrame:
    """Gardens of which nothing is known."""
    return rows[["trial", "site"]].drop_duplicates().assign(alkalinity=np.nan, sun_hours=np.nan, kind=None)


def thought(rows: pd.DataFrame, sd: dict[str, float], asked: tuple[float, ...] = (), level_sd: float = 40.0) -> Beliefs:
    """Beliefs about buckets' treatments by fixed standard deviations; those without a weight are only planned.

    Shares are certain, so that weights alone are to be learnt.
    """
    base = gather(BucketRecords(rows, gardens_of(rows)), asked)
    known = {name: np.full(POINTS, value) for name, value in sd.items()}
    floors = WeightModel(base, WEIGHT_G).floors(known)
    level = np.array([name == "level" for name in base.effects])
    precision = np.where(level, level_sd**-2, floors.precision)
    told = base.told(known["bucket"], [known[name] for name in base.local])
    found = eliminate(told, replace(floors, precision=precision))
    after = found.factor @ found.factor.swapaxes(1, 2)
    p = len(level)
    certain = np.tile(CERTAIN * np.eye(p), (POINTS, 1, 1))
    shares = Shares(
        ShareModel(base, 1.0, SHARE_LOGIT),
        Integrated(np.zeros((POINTS, 3)), np.full(POINTS, 1 / POINTS), POINTS, np.zeros(3)),
        np.full((POINTS, 3), NONE),
        Effects(np.tile(level * 40.0, (POINTS, 1)), np.sqrt(certain), np.zeros(POINTS)),
    )
    doses = np.array(asked) if asked else np.zeros(1)
    of = list(product(base.levels.cultivar, doses))
    points = base.levels.points([c for c, _ in of], [""] * len(of), np.array([d for _, d in of]))
    logits = PartBefore(shares.effects.mean, certain, certain)
    return Beliefs(
        base,
        known,
        PartBefore(found.mean, after, after),
        logits,
        shares,
        points,
        0,
        Value.in_grams(len(of)),
    )


def blank(rows: pd.DataFrame) -> pd.DataFrame:
    """The same without records."""
    return rows.assign(recorded=0, usable=0.0, weight_g=np.nan)


def planned(beliefs: Beliefs, rows: pd.DataFrame) -> Gathered:
    """Buckets of a planned trial."""
    return gather(BucketRecords(rows, gardens_of(rows)), like=beliefs.base)


NOTHING_ELSE = {**dict.fromkeys(WEIGHT_G, NONE), "garden": 12.0, "lasting": 0.5}


@pytest.mark.parametrize("cost", [0.0, 3.0, 8.0])
@pytest.mark.parametrize(("gardens", "blocks"), [(1, 2), (3, 1), (4, 3)])
def test_two_treatments_with_known_variances(gardens: int, blocks: int, cost: float) -> None:
    """The unit normal loss integral at the cost, in standard deviations of what will be expected of the difference."""
    tau, sigma = 12.0, 15.0
    rows = buckets("plan", gardens, blocks, "AB")
    beliefs = thought(blank(rows), NOTHING_ELSE | {"cultivar": tau, "bucket": sigma, "block": 5.0})
    found = Preposterior.of(beliefs, planned(beliefs, rows), replace(FREE, change=cost), 1.0).foreseen
    before, noise = 2 * tau**2, 2 * sigma**2 / (gardens * blocks)
    sd = before / np.sqrt(before + noise)
    expected = sd * (norm.pdf(cost / sd) - cost / sd * ndtr(-cost / sd))
    assert found.value == pytest.approx(expected, rel=0.01)
    assert found.change == pytest.approx(ndtr(-cost / sd), abs=0.01)
    assert found.gain == pytest.approx(expected + cost * ndtr(-cost / sd), rel=0.01)


@pytest.mark.parametrize("garden_by", [0.5, 6.0])
def test_gardens_bound_what_blocks_can_tell(garden_by: float) -> None:
    """What gardens do to cultivars adds to the variance of the difference, over the number of gardens alone."""
    rows = buckets("plan", 3, 4, "AB")
    sd = NOTHING_ELSE | {"cultivar": 12.0, "bucket": 15.0, "garden_cultivar": garden_by, "season": 4.0}
    beliefs = thought(blank(rows), sd)
    found = Preposterior.of(beliefs, planned(beliefs, rows), FREE, 1.0).foreseen
    noise = 2 * (15.0**2 / 12 + garden_by**2 / 3 + 4.0**2)
    expected = 288 / np.sqrt(288 + noise) / np.sqrt(2 * np.pi)
    assert found.value == pytest.approx(expected, rel=0.01)


def greatest_of_lines(a: np.ndarray, b: np.ndarray) -> float:
    """Expected greatest of lines a + b z over a standard normal z, less the greatest a: by the upper envelope."""
    order = np.lexsort([a, b])
    a, b = a[order], b[order]
    kept: list[int] = []
    cuts: list[float] = []
    for i in range(len(a)):
        if kept and b[i] == b[kept[-1]]:
            kept.pop()
            if cuts:
                cuts.pop()
        while kept:
            cut = (a[kept[-1]] - a[i]) / (b[i] - b[kept[-1]])
            if cuts and cut <= cuts[-1]:
                kept.pop()
                cuts.pop()
                continue
            cuts.append(cut)
            break
        kept.append(i)
    at = np.array(cuts)
    a, b = a[kept], b[kept]
    low, high = np.r_[-np.inf, at], np.r_[at, np.inf]
    whole = a * (ndtr(high) - ndtr(low)) + b * (norm.pdf(low) - norm.pdf(high))
    return float(whole.sum())


def test_one_thing_to_learn_about_many_candidates() -> None:
    """A trial of two treatments moves all doses of both cultivars along one line: the envelope's expectation is exact.

    An earlier trial has told of doses and cultivars, so that candidates differ and go together.
    """
    sd = NOTHING_ELSE | {"cultivar": 12.0, "curve": 8.0, "interaction": 4.0, "bucket": 15.0, "garden": FAR}
    rng = np.random.default_rng(4)
    before = buckets("old", 2, 1, "AB", (2.0, 4.0, 8.0))
    before = before.assign(weight_g=140 + 12 * rng.standard_normal(len(before)))
    new = buckets("plan", 6, 1, "AB", (4.0, 6.0)).query("(cultivar == 'A') == (dose == 4.0)")
    rows = pd.concat([before, blank(new)], ignore_index=True)
    beliefs = thought(rows, sd, (2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0))
    trial = planned(beliefs, new)
    found = Preposterior.of(beliefs, trial, FREE, 1.0)
    information, _ = told_by(beliefs, trial, 1.0)
    moved = np.linalg.inv(beliefs.weights.thought[0]) - np.linalg.inv(beliefs.weights.thought[0] + information[0])
    covariance = beliefs.by_weights @ moved @ beliefs.by_weights.T
    gains = covariance - covariance[:, [0]] - covariance[[0]] + covariance[0, 0]
    value, axes = np.linalg.eigh(gains)
    assert value[-2] < 1e-5 * value[-1]
    along = axes[:, -1] * np.sqrt(value[-1])
    expected = greatest_of_lines(beliefs.expected, along - along[0]) - beliefs.expected.max()
    assert expected > 0.5
    assert found.foreseen.value == pytest.approx(expected, rel=0.02)


@pytest.mark.parametrize("seed", range(6))
def test_what_is_left_is_the_dense_model_s(seed: int) -> None:
    """Covariance of gains after both trials, by conditioning a dense normal of all their buckets (tests/support)."""
    rng = np.random.default_rng(seed)
    first = buckets("one", int(rng.integers(1, 4)), 2, "ABC", (2.0, 4.0, 8.0)).sample(frac=0.8, random_state=seed)
    second = buckets("two", int(rng.integers(1, 4)), 2, "AB", (4.0, 6.0)).sample(frac=0.9, random_state=seed)
    second["site"] = second["site"].replace("two0", "one0")
    sd = {name: float(rng.uniform(0.5, 1.0) * scale) for name, scale in WEIGHT_G.items()} | {"lasting": 0.4}
    rows = pd.concat([first, blank(second)], ignore_index=True)
    beliefs = thought(rows, sd, (2.0, 3.0, 4.0, 6.0, 8.0), level_sd=1e5)
    information, _ = told_by(beliefs, planned(beliefs, second), 1.0)
    columns, left = beliefs.base.asked(beliefs.asked)
    ours = columns @ np.linalg.inv(beliefs.weights.thought[0] + information[0]) @ columns.T
    ours += sum(sd[name] ** 2 * beside.T @ beside for name, beside in left.items())
    both = pd.concat([first, second], ignore_index=True)
    asked = pd.DataFrame(
        product("ABC", [""], [2.0, 3.0, 4.0, 6.0, 8.0], [""]), columns=["cultivar", "acidifier", "dose", "site"]
    )
    names = set(WeightModel(beliefs.base, WEIGHT_G).names) | {"block"}
    theirs = DenseWeights.of(both, gardens_of(both), 0.0, asked, names).asked(sd)[1]

    def gains(covariance: np.ndarray) -> np.ndarray:
        return covariance - covariance[:, [0]] - covariance[[0]] + covariance[0, 0]

    tried = beliefs.base.terms.untried(beliefs.asked) == 0
    np.testing.assert_allclose(
        gains(ours)[np.ix_(tried, tried)], gains(theirs)[np.ix_(tried, tried)], rtol=1e-6, atol=1e-5
    )


def test_an_analysis_that_knows_less_is_simulated() -> None:
    """Effects and records drawn by chance, the choice by the analysis's shrinkage: what the choices truly give."""
    rows = buckets("plan", 3, 2, "ABCD")
    sd = NOTHING_ELSE | {"cultivar": 6.0, "bucket": 15.0, "garden_cultivar": 4.0}
    beliefs = thought(blank(rows), sd)
    analysed = beliefs.weights.thought * 0.2
    beliefs = replace(beliefs, weights=replace(beliefs.weights, analysed=analysed))
    trial = planned(beliefs, rows)
    found = Preposterior.of(beliefs, trial, replace(FREE, change=2.0), 1.0).foreseen
    information, _ = told_by(beliefs, trial, 1.0)
    rng = np.random.default_rng(1)
    draws, p = 200_000, information.shape[1]
    effects = rng.standard_normal((draws, p)) @ np.linalg.cholesky(np.linalg.inv(beliefs.weights.thought[0])).T
    value, axes = np.linalg.eigh(information[0])
    noise = rng.standard_normal((draws, p)) @ (axes * np.sqrt(np.maximum(value, 0.0))).T
    expected = (effects @ information[0] + noise) @ np.linalg.inv(analysed[0] + information[0]) @ beliefs.by_weights.T
    cost = np.array([0.0, 2.0, 2.0, 2.0])
    chosen = (expected - cost).argmax(1)
    true = effects @ beliefs.by_weights.T
    gain = true[range(draws), chosen] - true[:, 0]
    error = gain.std() / np.sqrt(draws)
    assert found.gain == pytest.approx(gain.mean(), abs=0.01 * gain.mean() + 4 * error)
    assert found.value == pytest.approx((gain - cost[chosen]).mean(), abs=0.01 * gain.mean() + 4 * error)
    assert found.change == pytest.approx((chosen != 0).mean(), abs=0.01)


def test_more_tells_more() -> None:
    """More gardens, blocks or heads never bring less, and a trial that tells nothing brings nothing."""
    sd = NOTHING_ELSE | {"cultivar": 12.0, "curve": 8.0, "interaction": 4.0, "bucket": 15.0, "garden_cultivar": 5.0}
    sd |= {"garden": FAR}
    whole = buckets("plan", 8, 4, "AB", (2.0, 4.0, 8.0))
    beliefs = thought(blank(whole), sd, (2.0, 3.0, 4.0, 5.0, 6.0, 8.0))

    def value(rows: pd.DataFrame) -> float:
        return Preposterior.of(beliefs, planned(beliefs, rows), FREE, 1.0).foreseen.value

    sizes = {
        (gardens, blocks): value(buckets("plan", gardens, blocks, "AB", (2.0, 4.0, 8.0)))
        for gardens in (1, 2, 3, 4, 8)
        for blocks in (2, 3, 4)
    }
    for (gardens, blocks), known in sizes.items():
        assert all(known >= less - 1e-9 for (g, b), less in sizes.items() if g <= gardens and b <= blocks)
    nothing = buckets("plan", 1, 1, "A", (2.0,))
    assert value(nothing) == pytest.approx(0.0, abs=0.1)
