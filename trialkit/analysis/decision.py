"""From draws to a recommended default: expected value, chance and loss of every candidate, and a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trialkit.analysis.decision_words import Evidence, Judgement, Thresholds, scope, sentences, would_change
from trialkit.analysis.draws import MeanDraws
from trialkit.analysis.next_trial import next_trial
from trialkit.analysis.worth import Worth
from trialkit.documents.findings import Candidate, Comparison, Decision, NextTrial, Verdict
from trialkit.domain.treatment import Treatment

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Field:
    """The candidates and what is known of them.

    Attributes
    ----------
    treatments : tuple of Treatment
    current : int
        Position of the current practice.
    yields : MeanDraws
        Marketable weight of a planted head, lost ones counted as nothing, g.
    days : MeanDraws, optional
        Days to harvest, where waiting costs something and could be analysed.
    usable, unrecorded : tuple of float
        Observed share of the recorded heads that came to the table; share of the planned heads without a record.
    eligible : tuple of bool
        Whether its records are complete enough to be set beside the current practice's.
    buckets : tuple of int
        With a record; none where their number is not known.
    """

    treatments: tuple[Treatment, ...]
    current: int
    yields: MeanDraws
    days: MeanDraws | None
    usable: tuple[float, ...]
    unrecorded: tuple[float, ...]
    eligible: tuple[bool, ...]
    buckets: tuple[int, ...] = ()


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
    field: Field,
    worth: Worth,
    thresholds: Thresholds,
    yield_comparisons: Sequence[Comparison],
    days_comparisons: Sequence[Comparison],
    evidence: Evidence,
) -> Decision:
    """Judge every candidate against the current practice and say what to do.

    Parameters
    ----------
    field : Field
    worth : Worth
    thresholds : Thresholds
    yield_comparisons, days_comparisons : sequence of Comparison
        Against the current practice, with simultaneous intervals, for the sentences; yields in g a planted head.
    evidence : Evidence
    """
    chances, current = weigh(field, worth, thresholds), field.current
    chosen, verdict = choose(chances, np.array(field.eligible), worth, current, thresholds.adopt_probability)
    other = chosen if chosen != current else best_of_the_others(chances, field)
    candidates = tuple(_candidate(field, chances, i, chosen) for i in range(len(field.treatments)))
    alternative = None if other is None else candidates[other]
    retest = None
    if verdict == "keep current, retest" and other is not None and field.buckets:
        retest = _retest(field, worth, thresholds, other, evidence.sites)
    judgement = Judgement(
        verdict=verdict,
        current=candidates[current],
        chosen=candidates[chosen],
        alternative=alternative,
        surely_gains=other is not None and bool(chances.gains[other]),
        candidates=candidates,
        yield_comparisons=tuple(yield_comparisons),
        days_comparisons=tuple(days_comparisons),
        worth=worth,
        thresholds=thresholds,
        evidence=evidence,
        next_trial=retest,
        sized=bool(field.buckets),
    )
    return Decision(
        unit=worth.unit,
        place=evidence.place,
        current=field.treatments[current],
        recommended=field.treatments[chosen],
        alternative=None if alternative is None else alternative.treatment,
        verdict=verdict,
        sentences=sentences(judgement),
        thresholds=thresholds.as_dict(),
        candidates=candidates,
        would_change=would_change(judgement),
        scope=scope(judgement),
        draws=len(field.yields.average),
        next_trial=retest,
    )


def _retest(field: Field, worth: Worth, thresholds: Thresholds, other: int, sites: int) -> NextTrial | None:
    """How large the next trial must be to settle whether a candidate gains, in grams a planted head."""
    days = field.days
    average = value_of(field.yields.average, None if days is None else days.average, worth)
    garden = value_of(field.yields.garden, None if days is None else days.garden, worth)
    gains, shaken = ((value[:, other] - value[:, field.current]) / worth.per_gram for value in (average, garden))
    buckets = field.buckets[other] + field.buckets[field.current]
    return next_trial(gains, shaken, thresholds.margin_g, thresholds.adopt_probability, buckets, sites)


def _candidate(field: Field, chances: Chances, i: int, chosen: int) -> Candidate:
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


def weigh(field: Field, worth: Worth, thresholds: Thresholds) -> Chances:
    """Reckon chances and losses from the draws.

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
    """Value of yields of a planted head and days, each of shape (draws, candidates), in the decision's unit."""
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
        return int(np.where(qualified, chances.expected, -np.inf).argmax()), "adopt"
    if others.any() and (chances.better[others] <= 1 - sure).all():
        cheaper = others & worth.saves & (chances.alike >= sure)
        if cheaper.any():
            choice = int(np.where(cheaper, worth.input_cost, np.inf).argmin())
            return choice, "no practical difference: take the cheaper"
        return current, "keep current"
    return current, "keep current, retest"


def best_of_the_others(chances: Chances, field: Field) -> int | None:
    """Position of the eligible alternative with the greatest chance of being better, then of greatest value."""
    others = [i for i, eligible in enumerate(field.eligible) if eligible and i != field.current]
    return max(others, key=lambda i: (chances.better[i], chances.expected[i]), default=None)
