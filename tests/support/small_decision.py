"""Decisions between three doses whose facts are as a test wants them."""

from dataclasses import replace
from typing import Any

from trialkit.documents.decision import (
    Candidate,
    Decision,
    DoseAdvice,
    DosePoint,
    Evidence,
    Gain,
    Stood,
    Thresholds,
    Verdict,
)
from trialkit.domain.treatment import Treatment

LEAST, PRACTICE, MOST = (Treatment("Fenleaf", dose) for dose in (2.0, 4.0, 6.0))
BETWEEN = Treatment("Fenleaf", 5.0)
EVIDENCE = Evidence(buckets=48, gardens=4, trials=1, seasons=("autumn 2026",), failed_gardens=())
THRESHOLDS = Thresholds(10.0, 3.0, 0.9, 0.95, None, 0.0, 0.0)
LARGE = Gain(35.4, 5.4, 61.2)
STOOD = Stood(buckets=16, gardens=4, trials=1)


def decide(
    verdict: Verdict = Verdict.CHANGE,
    other: Treatment = MOST,
    gain: Gain = LARGE,
    *,
    better: float = 0.95,
    near_best: float = 0.92,
    expected_loss: float = 3.37,
    usable: tuple[float, float] = (0.9, 0.9),
    stood: Stood = STOOD,
    **changes: Any,
) -> Decision:
    """Make a decision between the practice and `other`.

    Parameters
    ----------
    verdict : Verdict
    other : Treatment
        What is recommended, or the best of the others where the practice stays.
    gain : Gain
        Of it.
    better, near_best, expected_loss : float
        Chance that the other is better; of the choice, the chance of being near the best and what it gives up.
    usable : tuple of float
        Marketable share of the practice and of the other.
    stood : Stood
        How often the other stood.
    **changes
        Fields of the decision.
    """
    chosen = other if verdict.changes else PRACTICE
    rows = [
        _candidate(one, 100.0 + (gain.estimate if one == other else 0.0 if one == PRACTICE else -30.0))
        for one in dict.fromkeys((LEAST, PRACTICE, MOST, other))
    ]
    rows = [
        replace(
            row,
            is_current=row.treatment == PRACTICE,
            is_recommended=row.treatment == chosen,
            gain=None if row.treatment == PRACTICE else gain if row.treatment == other else Gain(-30.0, -50.0, -10.0),
            probability_better=None if row.treatment == PRACTICE else better if row.treatment == other else 0.05,
            probability_near_best=near_best if row.treatment == chosen else 0.3 if row.treatment == other else 0.2,
            expected_loss=expected_loss if row.treatment == chosen else 30.0,
            share_usable=usable[1] if row.treatment == other else usable[0],
            stood=stood if row.treatment == other else STOOD,
            raw_yield_g=row.raw_yield_g if row.treatment != other or stood.buckets else None,
        )
        for row in rows
    ]
    usual = Decision(
        verdict=verdict,
        unit="g per transplanted head",
        current=PRACTICE,
        recommended=chosen,
        alternative=other,
        thresholds=THRESHOLDS,
        candidates=tuple(rows),
        evidence=EVIDENCE,
        dose=None if chosen.dose_tsp is None else dose_advice(chosen),
        spreads=(),
        effective_points=100.0,
        draws=4096,
    )
    return replace(usual, **changes)


def dose_advice(chosen: Treatment) -> DoseAdvice:
    """Return a curve on which the chosen dose alone is near the best; 2, 4 and 6 teaspoons were tried."""
    doses = (2.0, 3.0, 4.0, 5.0, 6.0)
    assert chosen.dose_tsp is not None
    points = tuple(
        DosePoint(dose, 22.5 * dose, 100 + dose, 80.0, 130.0, 100 + dose, *((99.0, 16) if dose % 2 == 0 else (None, 0)))
        for dose in doses
    )
    good = chosen.dose_tsp
    return DoseAdvice(points, good, good, min(doses), max(doses), at_edge=good == max(doses))


def _candidate(treatment: Treatment, grams: float) -> Candidate:
    return Candidate(
        treatment=treatment,
        n_mg_l=22.5 * (treatment.dose_tsp or 0.0),
        stood=STOOD,
        raw_yield_g=grams + 5,
        yield_g=grams,
        weight_g=grams / 0.9,
        share_usable=0.9,
        share_unrecorded=0.0,
        expected_value=grams,
        gain=None,
        probability_better=None,
        probability_near_best=0.2,
        expected_loss=30.0,
        is_current=False,
        is_recommended=False,
    )
