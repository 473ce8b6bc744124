"""Decisions on three candidates whose draws are known."""

from dataclasses import replace
from typing import Any

import numpy as np

from trialkit.analysis.decision import CandidateField, judge
from trialkit.analysis.draws import MeanDraws
from trialkit.analysis.worth import Worth
from trialkit.documents.findings import Comparison, Decision, Evidence, Thresholds
from trialkit.domain.treatment import Treatment

TREATMENTS = tuple(Treatment("Fenleaf", dose) for dose in (2.0, 4.0, 6.0))
EVIDENCE = Evidence(buckets=48, sites=4, seasons=("autumn 2026",))
THRESHOLDS = Thresholds(10.0, 10.0, 0.9, 0.95, None, 0.0, 0.0)
NO_SAVING = Worth("g per transplanted head", 1.0, np.zeros(3), 0.0, np.zeros(3, bool), np.zeros(3), "nutrient", ())
LESS_NUTRIENT = replace(NO_SAVING, saves=np.array([True, False, False]), input_cost=np.array([2.0, 4.0, 6.0]))
IN_MONEY = replace(NO_SAVING, unit="currency a bucket", per_gram=0.04)
DRAWN = 20_000


def decide(
    means: list[float],
    sd: float | list[float],
    current: int = 1,
    *,
    days: list[float] | None = None,
    usable: tuple[float, ...] = (1.0, 1.0, 1.0),
    unrecorded: tuple[float, ...] = (0.0, 0.0, 0.0),
    evidence: Evidence = EVIDENCE,
    worth: Worth = LESS_NUTRIENT,
    **asked: Any,
) -> Decision:
    """Judge candidates with independent normal draws around `means`, g a head; `asked` changes the thresholds."""
    spread = np.broadcast_to(sd, 3)
    draws = np.array(means) + spread * np.random.default_rng(5).standard_normal((DRAWN, 3))
    field = CandidateField(
        treatments=TREATMENTS,
        current=current,
        yields=MeanDraws(draws, draws),
        days=None if days is None else MeanDraws(*[np.tile(days, (DRAWN, 1))] * 2),
        usable=usable,
        unrecorded=unrecorded,
        eligible=tuple(abs(u - unrecorded[current]) <= 0.2 for u in unrecorded),
        buckets=(16, 16, 16),
    )
    weight = compared(means, spread, current)
    later = () if days is None else compared(days, np.full(3, 0.5), current)
    return judge(field, worth, replace(THRESHOLDS, **asked), weight, later, evidence)


def compared(means: list[float], errors: np.ndarray, current: int) -> tuple[Comparison, ...]:
    """Differences from the current practice, with limits two standard errors away."""
    return tuple(
        Comparison(treatment, gain, error, 20.0, gain - 2 * error, gain + 2 * error, 0.5)
        for i, (treatment, mean, error) in enumerate(zip(TREATMENTS, means, errors.tolist(), strict=True))
        for gain in [mean - means[current]]
        if i != current
    )
