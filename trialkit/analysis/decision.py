"""From estimates to a recommended default: expected value, chance and loss of every candidate, and a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.analysis.answer import Candidate, Comparison, Decision, Treatment, Verdict
from trialkit.analysis.derived_model import FEWEST_RANDOM_LEVELS
from trialkit.analysis.losses import WORRYING_DIFFERENCE
from trialkit.analysis.wording import chance, number, treatment_words
from trialkit.mixed import MixedFit

FloatArray = NDArray[np.float64]

DRAWS = 20_000


@dataclass(frozen=True)
class Worth:
    """What a bucket of each candidate costs and yields, in the decision's unit.

    Attributes
    ----------
    unit : str
        ``"g a head"``, or ``"currency a bucket"`` where the protocol has a price.
    per_gram : float
        Worth of one gram of mean head weight.
    cost : ndarray, shape (candidates,)
        What differs between candidates: nutrient and waiting days.
    input_cost : ndarray, shape (candidates,)
        Cost of the inputs alone, to tell which of two is the cheaper (teaspoons where no price is known).
    """

    unit: str
    per_gram: float
    cost: FloatArray
    input_cost: FloatArray


@dataclass(frozen=True)
class Thresholds:
    """What the protocol asks of a change, in grams of head weight and probabilities."""

    margin_g: float
    equivalence_margin_g: float
    adopt_probability: float
    confidence: float
    price_per_kg: float | None
    cost_per_bucket: float
    delay_cost_per_day: float

    def as_dict(self) -> dict[str, float | None]:
        """Return every threshold by name, to be shown."""
        return dict(vars(self))


@dataclass(frozen=True)
class Evidence:
    """How large the trial was, for the sentences."""

    buckets: int
    sites: int
    season: str

    @property
    def place(self) -> str:
        """Where the answer holds: fewer than three gardens say nothing of others."""
        if self.sites >= FEWEST_RANDOM_LEVELS:
            return "in a new garden of this programme"
        return "in the garden of this trial" if self.sites == 1 else "in the gardens of this trial"


def draw_means(fit: MixedFit, labels: Sequence[str], shares: pd.DataFrame, df: float, seed: int) -> FloatArray:
    """Draw candidates' mean weights at a new garden, shape (draws, candidates).

    Joint t approximation: the means' Kenward-Roger covariance, with the smallest d.f. of any difference from the
    current practice, so that the tails are not too light for any of them; plus each site-by-factor variance, drawn
    once per level so that candidates that share a level share its luck. Those variances are taken as estimated: with
    a handful of gardens their own uncertainty is not counted. A garden's own level is common to all candidates.

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
    spread = np.sqrt(df / rng.chisquare(df, DRAWS))[:, None]
    draws = means + spread * (rng.standard_normal((DRAWS, len(means))) @ root.T)
    for column in shares:
        variance = max(float(fit.variances.get(f"site:{column}", 0.0)), 0.0)
        codes = pd.factorize(shares[column])[0]
        draws += np.sqrt(variance) * rng.standard_normal((DRAWS, int(codes.max()) + 1))[:, codes]
    return np.asarray(draws)


def judge(
    draws: FloatArray,
    treatments: Sequence[Treatment],
    current: int,
    worth: Worth,
    thresholds: Thresholds,
    comparisons: Sequence[Comparison],
    lost: Sequence[float],
    evidence: Evidence,
) -> Decision:
    """Judge every candidate against the current practice and say what to do.

    Parameters
    ----------
    draws : ndarray, shape (draws, candidates)
        Mean head weights, g.
    treatments : sequence of Treatment
    current : int
        Position of the current practice.
    worth : Worth
    thresholds : Thresholds
    comparisons : sequence of Comparison
        Against the current practice: simultaneous intervals.
    lost : sequence of float
        Share of the planned heads that each candidate lost.
    evidence : Evidence
    """
    value = draws * worth.per_gram - worth.cost
    gain = value - value[:, [current]]
    better = (gain > thresholds.margin_g * worth.per_gram).mean(0)
    alike = (np.abs(gain) < thresholds.equivalence_margin_g * worth.per_gram).mean(0)
    alike[current] = 1.0
    best = np.bincount(value.argmax(1), minlength=len(treatments)) / len(value)
    loss = (value.max(1, keepdims=True) - value).mean(0)
    expected = value.mean(0)
    eligible = np.array(lost) <= lost[current] + WORRYING_DIFFERENCE
    gains = {i: row.lower > 0 for i, t in enumerate(treatments) for row in comparisons if row.treatment == t}
    leader = int(np.where(eligible, expected, -np.inf).argmax())
    chosen, verdict = _verdict(
        leader,
        gains.get(leader, False),
        better,
        alike,
        eligible,
        worth.input_cost,
        current,
        thresholds.adopt_probability,
    )
    candidates = tuple(
        Candidate(
            treatment=treatments[i],
            mean_weight_g=float(draws[:, i].mean()),
            expected_value=float(expected[i]),
            probability_best=float(best[i]),
            probability_better=float(better[i]),
            probability_equivalent=float(alike[i]),
            expected_loss=float(loss[i]),
            share_lost=float(lost[i]),
            eligible=bool(eligible[i]),
            is_current=i == current,
            is_recommended=i == chosen,
        )
        for i in range(len(treatments))
    )
    return Decision(
        unit=worth.unit,
        place=evidence.place,
        current=treatments[current],
        recommended=treatments[chosen],
        verdict=verdict,
        sentences=_sentences(verdict, candidates, current, chosen, leader, thresholds, comparisons, evidence),
        probability_better=float(better[chosen]),
        probability_best=float(best[chosen]),
        expected_loss=float(loss[chosen]),
        thresholds=thresholds.as_dict(),
        candidates=candidates,
        would_change=_would_change(verdict, candidates[leader], thresholds),
        scope=_scope(evidence, candidates, chosen),
        draws=len(draws),
    )


def _verdict(
    leader: int,
    gains: bool,
    better: FloatArray,
    alike: FloatArray,
    eligible: NDArray[np.bool_],
    input_cost: FloatArray,
    current: int,
    sure: float,
) -> tuple[int, Verdict]:
    """Choose a candidate and say why.

    Adopt the eligible candidate of greatest expected value if it is surely better by the margin and its simultaneous
    interval excludes no gain: it was picked from several, and the interval allows for that. If surely none is better
    by the margin, take a cheaper one that is surely alike, else keep the current practice. Otherwise the trial has
    not settled it.
    """
    if leader != current and better[leader] >= sure and gains:
        return leader, "adopt"
    others = eligible & (np.arange(len(better)) != current)
    if others.any() and (better[others] <= 1 - sure).all():
        cheaper = others & (input_cost < input_cost[current]) & (alike >= sure)
        if cheaper.any():
            choice = np.flatnonzero(cheaper)[input_cost[cheaper].argmin()]
            return int(choice), "no practical difference: take the cheaper"
        return current, "keep current"
    return current, "keep current, retest"


def _sentences(
    verdict: Verdict,
    candidates: Sequence[Candidate],
    current: int,
    chosen: int,
    leader: int,
    thresholds: Thresholds,
    comparisons: Sequence[Comparison],
    evidence: Evidence,
) -> tuple[str, str]:
    """Two sentences that an adviser can read aloud: what to do, and how sure."""
    practice = treatment_words(candidates[current].treatment)
    seen = _where(evidence)
    margin = f"{number(thresholds.margin_g)} g a head"
    if verdict == "adopt":
        gain, interval = _gain(candidates[chosen], comparisons, thresholds)
        return (
            f"Change the default to {treatment_words(candidates[chosen].treatment)}: heads weighed {gain} than with "
            f"the current default, {practice} ({interval}).",
            f"The chance that it is worth at least {margin} more {evidence.place} is "
            f"{chance(candidates[chosen].probability_better)}, {seen}.",
        )
    if verdict == "no practical difference: take the cheaper":
        return (
            f"Change the default to {treatment_words(candidates[chosen].treatment)}, which costs less and does as well "
            f"as {practice}.",
            f"The chance that the two differ by less than {number(thresholds.equivalence_margin_g)} g a head in a new "
            f"garden of this programme is {chance(candidates[chosen].probability_equivalent)}, {seen}.",
        )
    if verdict == "keep current":
        most = max(c.probability_better for c in candidates if not c.is_current and c.eligible)
        return (
            f"Keep the current default, {practice}.",
            f"For no alternative is the chance of gaining at least {margin} {evidence.place} above "
            f"{chance(most)}, {seen}.",
        )
    rival = max(
        (c for c in candidates if not c.is_current and c.eligible), key=lambda c: c.probability_better, default=None
    )
    if leader != current:
        rival = candidates[leader]
    if rival is None:
        return (
            f"Keep the current default, {practice}, for now: every alternative lost many more of its heads.",
            f"Weights of survivors flatter a treatment that killed the weak, so no chance is given, {seen}.",
        )
    short = (
        f"short of the {chance(thresholds.adopt_probability)} that the protocol asks for"
        if rival.probability_better < thresholds.adopt_probability
        else "but the interval that allows for all comparisons does not exclude a loss"
    )
    return (
        f"Keep the current default, {practice}, for now: the trial has not settled whether "
        f"{treatment_words(rival.treatment)} is better.",
        f"The chance that it is worth at least {margin} more {evidence.place} is {chance(rival.probability_better)}, "
        f"{short}, {seen}.",
    )


def _gain(candidate: Candidate, comparisons: Sequence[Comparison], thresholds: Thresholds) -> tuple[str, str]:
    """Difference from the current practice, and its interval, in words."""
    row = next(c for c in comparisons if c.treatment == candidate.treatment)
    sign = 1 if row.difference >= 0 else -1
    low, high = sorted((sign * row.lower, sign * row.upper))
    return (
        f"{sign * row.difference:.0f} g {'more' if sign > 0 else 'less'}",
        f"{thresholds.confidence * 100:g} % interval {low:.0f} to {high:.0f} g, allowing for all comparisons",
    )


def _where(evidence: Evidence) -> str:
    gardens = "1 garden" if evidence.sites == 1 else f"{evidence.sites} gardens"
    season = f" in {evidence.season}" if evidence.season else ""
    return f"going by {evidence.buckets} buckets at {gardens}{season}"


def _would_change(verdict: Verdict, leader: Candidate, thresholds: Thresholds) -> tuple[str, ...]:
    sure = chance(thresholds.adopt_probability)
    if verdict == "adopt":
        return (
            f"A season in which the new default's chance of gaining {number(thresholds.margin_g)} g a head fell "
            f"below {sure}.",
            "A garden unlike these (water, sun, season) where it did worse than the current practice.",
        )
    return (
        f"Evidence that {treatment_words(leader.treatment)} gains at least {number(thresholds.margin_g)} g a head "
        f"with a chance of {sure} or more.",
        f"A smaller margin than {number(thresholds.margin_g)} g, if a smaller gain would matter to a gardener.",
    )


def _scope(evidence: Evidence, candidates: Sequence[Candidate], chosen: int) -> tuple[str, ...]:
    lines = ["Nothing is recommended outside the treatments tried.", "Weights are of the heads that were harvested."]
    lines += [
        f"{treatment_words(c.treatment)} lost {c.share_lost:.0%} of its heads and was not considered."
        for c in candidates
        if not c.eligible
    ]
    doses = [float(c.treatment["dose_tsp"]) for c in candidates if "dose_tsp" in c.treatment]
    if doses and candidates[chosen].treatment["dose_tsp"] == max(doses):
        lines.append("The recommended dose is the largest tried: whether more would be better still is not known.")
    if evidence.sites < FEWEST_RANDOM_LEVELS:
        lines.append("Fewer than three gardens gave weights: the answer holds for these gardens only.")
    lines.append("One season is one season: water, heat and light differ in the next.")
    return tuple(lines)
