"""From draws to a recommended default: expected value, chance and loss of every candidate, and a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.analysis.draws import MeanDraws
from trialkit.analysis.next_trial import next_trial
from trialkit.analysis.worth import Worth
from trialkit.documents.findings import (
    Candidate,
    Comparison,
    Decision,
    Evidence,
    Interval,
    NextTrial,
    Place,
    Thresholds,
    Verdict,
)
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.domain.treatment import Treatment
from trialkit.protocol.sections import DecisionRule

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class CandidateField:
    """The candidates and what is known of them.

    Attributes
    ----------
    treatments : tuple of Treatment
    current : int
        Position of the current practice.
    yields : MeanDraws
        Marketable weight per transplanted head, lost ones counted as nothing, g.
    days : MeanDraws, optional
        Days to harvest, where waiting costs something and could be analysed.
    usable, unrecorded : tuple of float
        Observed share of the recorded heads that were marketable; share of the planned heads without a record.
    eligible : tuple of bool
        Whether its records are complete enough to be set beside the current practice's.
    buckets : tuple of int
        With a record.
    """

    treatments: tuple[Treatment, ...]
    current: int
    yields: MeanDraws
    days: MeanDraws | None
    usable: tuple[float, ...]
    unrecorded: tuple[float, ...]
    eligible: tuple[bool, ...]
    buckets: tuple[int, ...]


@dataclass(frozen=True)
class Prospects:
    """What a choice rests on, for each candidate; all of shape (candidates,).

    Attributes
    ----------
    expected : ndarray
        Mean value, in the decision's unit.
    better : ndarray
        Probability of gaining the margin or more over the current practice.
    alike : ndarray
        Probability of lying within the equivalence margin of it.
    gains : ndarray of bool
        Whether the simultaneous interval of the gain, on average over gardens, excludes no gain.
    """

    expected: FloatArray
    better: FloatArray
    alike: FloatArray
    gains: BoolArray


@dataclass(frozen=True)
class Chances(Prospects):
    """All that the draws say of each candidate.

    Attributes
    ----------
    best : ndarray
        Probability of the greatest value among the eligible.
    loss : ndarray
        Mean value given up against whichever eligible one is truly best.
    """

    best: FloatArray
    loss: FloatArray


def judge(
    field: CandidateField,
    worth: Worth,
    thresholds: Thresholds,
    yield_comparisons: Sequence[Comparison],
    days_comparisons: Sequence[Comparison],
    evidence: Evidence,
) -> Decision:
    """Judge every candidate against the current practice and say what to do.

    Parameters
    ----------
    field : CandidateField
    worth : Worth
    thresholds : Thresholds
    yield_comparisons, days_comparisons : sequence of Comparison
        Against the current practice, with simultaneous intervals, to be told; yields in g per transplanted head.
    evidence : Evidence
    """
    chances, current = weigh(field, worth, thresholds), field.current
    chosen, verdict = choose(chances, np.array(field.eligible), worth, current, thresholds.adopt_probability)
    other = chosen if chosen != current else best_of_the_others(chances, field)
    alternative = None if other is None else field.treatments[other]
    retest = None
    if verdict is Verdict.RETEST and other is not None:
        retest = _retest(field, worth, thresholds, other, evidence.sites)
    return Decision(
        verdict=verdict,
        unit=worth.unit,
        place=place_of(evidence),
        current=field.treatments[current],
        recommended=field.treatments[chosen],
        alternative=alternative,
        thresholds=thresholds,
        candidates=tuple(_candidate(field, chances, i, chosen) for i in range(len(field.treatments))),
        evidence=evidence,
        gain_g=_difference(yield_comparisons, alternative),
        days_later=_difference(days_comparisons, alternative),
        excludes_loss=other is not None and bool(chances.gains[other]),
        saving=worth.saving if verdict is Verdict.TAKE_CHEAPER else None,
        uncounted=worth.uncounted,
        draws=len(field.yields.average),
        next_trial=retest,
    )


def thresholds_of(decision: DecisionRule) -> Thresholds:
    """Thresholds of a protocol's section on the decision."""
    return Thresholds(
        margin_g=decision.margin_g,
        equivalence_margin_g=decision.equivalence_margin_g,
        adopt_probability=decision.adopt_probability,
        confidence=decision.confidence,
        price_per_kg=decision.price_per_kg,
        cost_per_bucket=decision.cost_per_bucket,
        delay_cost_per_day=decision.delay_cost_per_day,
    )


def place_of(evidence: Evidence) -> Place:
    """Where the answer holds: fewer than three gardens say nothing of others."""
    if evidence.sites < FEWEST_RANDOM_LEVELS:
        return "this_garden" if evidence.sites == 1 else "these_gardens"
    return "average_garden" if evidence.confounded else "new_garden"


def _difference(comparisons: Sequence[Comparison], treatment: Treatment | None) -> Interval | None:
    rows = (row for row in comparisons if row.treatment == treatment)
    return next((Interval(row.difference, row.lower, row.upper) for row in rows), None)


def _retest(field: CandidateField, worth: Worth, thresholds: Thresholds, other: int, sites: int) -> NextTrial | None:
    """How large the next trial must be to settle whether a candidate gains, in grams a transplanted head."""
    days = field.days
    average = value_of(field.yields.average, None if days is None else days.average, worth)
    garden = value_of(field.yields.garden, None if days is None else days.garden, worth)
    gains, shaken = ((value[:, other] - value[:, field.current]) / worth.per_gram for value in (average, garden))
    buckets = field.buckets[other] + field.buckets[field.current]
    return next_trial(gains, shaken, thresholds.margin_g, thresholds.adopt_probability, buckets, sites)


def _candidate(field: CandidateField, chances: Chances, i: int, chosen: int) -> Candidate:
    """Put together what is shown of a candidate; one that is not eligible has no chances."""
    eligible, other = field.eligible[i], field.eligible[i] and i != field.current
    return Candidate(
        treatment=field.treatments[i],
        yield_g=float(field.yields.average[:, i].mean()),
        share_usable=field.usable[i],
        share_unrecorded=field.unrecorded[i],
        expected_value=float(chances.expected[i]),
        probability_best=float(chances.best[i]) if eligible else None,
        probability_better=float(chances.better[i]) if other else None,
        probability_equivalent=float(chances.alike[i]) if other else None,
        expected_loss=float(chances.loss[i]) if eligible else None,
        eligible=eligible,
        is_current=i == field.current,
        is_recommended=i == chosen,
    )


def weigh(field: CandidateField, worth: Worth, thresholds: Thresholds) -> Chances:
    """Calculate chances and losses from the draws.

    Chances are of a new garden; the interval is of the average over gardens, on the scale of value.
    """
    value = value_of(field.yields.garden, field.days.garden if field.days else None, worth)
    average = value_of(field.yields.average, field.days.average if field.days else None, worth)
    lower = simultaneous_limits(average - average[:, [field.current]], field.current, thresholds.confidence)[0]
    gain = value - value[:, [field.current]]
    among = np.where(np.array(field.eligible), value, -np.inf)
    return Chances(
        expected=average.mean(0),
        better=(gain > thresholds.margin_g * worth.per_gram).mean(0),
        alike=(np.abs(gain) < thresholds.equivalence_margin_g * worth.per_gram).mean(0),
        best=np.bincount(among.argmax(1), minlength=value.shape[1]) / len(value),
        loss=(among.max(1, keepdims=True) - value).mean(0),
        gains=lower > 0,
    )


def value_of(yields: FloatArray, days: FloatArray | None, worth: Worth) -> FloatArray:
    """Value of yields per transplanted head and days, each of shape (draws, candidates), in the decision's unit."""
    value = yields * worth.per_gram - worth.cost
    return value if days is None else value - worth.per_day * days


def simultaneous_limits(gain: FloatArray, current: int, confidence: float) -> FloatArray:
    """Limits of all gains at once, shape (2, candidates), from draws of shape (draws, candidates).

    The critical value is the quantile of the largest deviation from the median among the candidates, each in units of
    its median absolute deviation, which exists however few the degrees of freedom (the idea of Dunnett's intervals,
    on draws).
    """
    others = np.arange(gain.shape[1]) != current
    middle = np.median(gain, axis=0)
    away = np.abs(gain - middle)
    scale = np.median(away, axis=0)
    largest = (away[:, others] / np.maximum(scale[others], np.finfo(float).tiny)).max(1)
    half = np.quantile(largest, confidence) * scale
    return np.where(others, np.array([middle - half, middle + half]), 0.0)


def choose(chances: Prospects, eligible: BoolArray, worth: Worth, current: int, sure: float) -> tuple[int, Verdict]:
    """Choose a candidate and say why.

    Adopt, of the eligible candidates that are surely better by the margin and whose simultaneous interval excludes
    no gain, the one of greatest expected value: it was picked from several, and the interval allows for that. If
    surely none is better by the margin, take a cheaper one that is surely alike, else keep the current practice.
    Otherwise the trial has not settled it.
    """
    others = eligible & (np.arange(len(eligible)) != current)
    qualified = others & chances.gains & (chances.better >= sure)
    if qualified.any():
        return int(np.where(qualified, chances.expected, -np.inf).argmax()), Verdict.ADOPT
    if others.any() and (chances.better[others] <= 1 - sure).all():
        cheaper = others & worth.saves & (chances.alike >= sure)
        if cheaper.any():
            choice = int(np.where(cheaper, worth.input_cost, np.inf).argmin())
            return choice, Verdict.TAKE_CHEAPER
        return current, Verdict.KEEP
    return current, Verdict.RETEST


def best_of_the_others(chances: Chances, field: CandidateField) -> int | None:
    """Position of the eligible alternative with the greatest chance of being better, then of greatest value."""
    others = [i for i, eligible in enumerate(field.eligible) if eligible and i != field.current]
    return max(others, key=lambda i: (chances.better[i], chances.expected[i]), default=None)
