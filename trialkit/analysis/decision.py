"""From estimates to a recommended default: expected value, chance and loss of every candidate, and a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.analysis.answer import Candidate, Comparison, Decision, Treatment, Verdict
from trialkit.analysis.decision_words import Evidence, Judgement, Thresholds, scope, sentences, would_change
from trialkit.analysis.losses import WORRYING_DIFFERENCE
from trialkit.analysis.worth import Worth
from trialkit.mixed import MixedFit

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

DRAWS = 20_000
# A t distribution has no variance below these degrees of freedom, so averages over its draws do not settle.
FEWEST_DF = 2.0


@dataclass(frozen=True)
class Chances:
    """What the draws say of each candidate; all of shape (candidates,).

    Attributes
    ----------
    expected : ndarray
        Mean value, in the decision's unit.
    better : ndarray
        Probability of gaining the margin or more over the current practice.
    alike : ndarray
        Probability of lying within the equivalence margin of it.
    best : ndarray
        Probability of the greatest value among the eligible.
    loss : ndarray
        Mean value given up against whichever eligible one is truly best.
    """

    expected: FloatArray
    better: FloatArray
    alike: FloatArray
    best: FloatArray
    loss: FloatArray


def draw_means(fit: MixedFit, labels: Sequence[str], shares: pd.DataFrame, df: float, seed: int) -> FloatArray:
    """Draw candidates' means at a new garden, shape (draws, candidates).

    Joint t approximation: the means' Kenward-Roger covariance, with the smallest d.f. of any difference from the
    current practice, so that the tails are not too light for any of them; plus each site-by-factor variance, drawn
    once per level so that candidates that share a level share its luck. Those variances are taken as estimated: with
    a handful of gardens their own uncertainty is not counted. A garden's own level is common to all candidates. Every
    draw has its mirror image, so that the draws' mean is the estimate itself.

    Parameters
    ----------
    fit : MixedFit
        With a joint ``treatment`` factor.
    labels : sequence of str
        Candidates.
    shares : pandas.DataFrame
        Their levels, one column a factor.
    df : float
        Degrees of freedom of the joint t.
    seed : int
    """
    rng = np.random.Generator(np.random.PCG64(seed))
    means = fit.means("treatment")["mean"].loc[list(labels)].to_numpy(float)
    covariance = fit.mean_covariance("treatment").loc[list(labels), list(labels)].to_numpy(float)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    half = DRAWS // 2
    spread = np.sqrt(df / rng.chisquare(df, half))[:, None]
    errors = spread * (rng.standard_normal((half, len(means))) @ root.T)
    for column in shares:
        variance = max(float(fit.variances.get(f"site:{column}", 0.0)), 0.0)
        codes = pd.factorize(shares[column])[0]
        errors += np.sqrt(variance) * rng.standard_normal((half, int(codes.max()) + 1))[:, codes]
    return np.asarray(means + np.concatenate([errors, -errors]))


def judge(
    weights: FloatArray,
    days: FloatArray | None,
    treatments: Sequence[Treatment],
    current: int,
    worth: Worth,
    thresholds: Thresholds,
    comparisons: Sequence[Comparison],
    unusable: Sequence[float],
    evidence: Evidence,
) -> Decision:
    """Judge every candidate against the current practice and say what to do.

    Parameters
    ----------
    weights : ndarray, shape (draws, candidates)
        Draws of mean head weight, g.
    days : ndarray, shape (draws, candidates), or None
        Draws of mean days to harvest, where waiting costs something and could be analysed.
    treatments : sequence of Treatment
    current : int
        Position of the current practice.
    worth : Worth
    thresholds : Thresholds
    comparisons : sequence of Comparison
        Against the current practice: simultaneous intervals.
    unusable : sequence of float
        Share of the planned heads that gave nothing to eat, by candidate.
    evidence : Evidence
    """
    value = weights * worth.per_gram - worth.cost
    if days is not None:
        value = value - worth.per_day * days
    eligible = np.array(unusable) <= unusable[current] + WORRYING_DIFFERENCE
    chances = weigh(value, current, eligible, worth.per_gram, thresholds)
    gains = np.zeros(len(treatments), bool)
    for i, treatment in enumerate(treatments):
        gains[i] = any(row.lower > 0 for row in comparisons if row.treatment == treatment)
    chosen, verdict = choose(chances, gains, eligible, worth, current, thresholds.adopt_probability)
    alternative = chosen if chosen != current else best_of_the_others(chances, eligible, current)
    candidates = tuple(
        Candidate(
            treatment=treatments[i],
            mean_weight_g=float(weights[:, i].mean()),
            expected_value=float(chances.expected[i]),
            probability_best=float(chances.best[i]) if eligible[i] else None,
            probability_better=float(chances.better[i]) if eligible[i] and i != current else None,
            probability_equivalent=float(chances.alike[i]) if eligible[i] and i != current else None,
            expected_loss=float(chances.loss[i]) if eligible[i] else None,
            share_unusable=float(unusable[i]),
            eligible=bool(eligible[i]),
            is_current=i == current,
            is_recommended=i == chosen,
        )
        for i in range(len(treatments))
    )
    judgement = Judgement(
        verdict,
        candidates[current],
        candidates[chosen],
        None if alternative is None else candidates[alternative],
        candidates,
        tuple(comparisons),
        worth,
        thresholds,
        evidence,
    )
    return Decision(
        unit=worth.unit,
        place=evidence.place,
        current=treatments[current],
        recommended=treatments[chosen],
        alternative=None if alternative is None else treatments[alternative],
        verdict=verdict,
        sentences=sentences(judgement),
        thresholds=thresholds.as_dict(),
        candidates=candidates,
        would_change=would_change(judgement),
        scope=scope(judgement),
        draws=len(weights),
    )


def weigh(value: FloatArray, current: int, eligible: BoolArray, per_gram: float, thresholds: Thresholds) -> Chances:
    """Reckon chances and losses from draws of value, shape (draws, candidates)."""
    gain = value - value[:, [current]]
    among = np.where(eligible, value, -np.inf)
    return Chances(
        expected=value.mean(0),
        better=(gain > thresholds.margin_g * per_gram).mean(0),
        alike=(np.abs(gain) < thresholds.equivalence_margin_g * per_gram).mean(0),
        best=np.bincount(among.argmax(1), minlength=value.shape[1]) / len(value),
        loss=(among.max(1, keepdims=True) - value).mean(0),
    )


def choose(
    chances: Chances, gains: BoolArray, eligible: BoolArray, worth: Worth, current: int, sure: float
) -> tuple[int, Verdict]:
    """Choose a candidate and say why.

    Adopt, of the eligible candidates that are surely better by the margin and whose simultaneous interval excludes
    no gain, the one of greatest expected value: it was picked from several, and the interval allows for that. If
    surely none is better by the margin, take a cheaper one that is surely alike, else keep the current practice.
    Otherwise the trial has not settled it.
    """
    others = eligible & (np.arange(len(eligible)) != current)
    qualified = others & gains & (chances.better >= sure)
    if qualified.any():
        return int(np.where(qualified, chances.expected, -np.inf).argmax()), "adopt"
    if others.any() and (chances.better[others] <= 1 - sure).all():
        cheaper = others & worth.saves & (chances.alike >= sure)
        if cheaper.any():
            choice = int(np.where(cheaper, worth.input_cost, np.inf).argmin())
            return choice, "no practical difference: take the cheaper"
        return current, "keep current"
    return current, "keep current, retest"


def best_of_the_others(chances: Chances, eligible: BoolArray, current: int) -> int | None:
    """Position of the eligible alternative with the greatest chance of being better, then of greatest value."""
    others = [i for i in range(len(eligible)) if eligible[i] and i != current]
    return max(others, key=lambda i: (chances.better[i], chances.expected[i]), default=None)
