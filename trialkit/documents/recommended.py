"""Recommended defaults as one document: what is recommended, how sure, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trialkit.documents.findings import Decision
from trialkit.documents.pooled import ClassGain, NextSize, Together
from trialkit.domain.treatment import Treatment


@dataclass(frozen=True)
class Default:
    """A practice that can be recommended, as a treatment and in amounts for a bucket; None of what was not tried."""

    cultivar: str | None
    dose_tsp: float | None
    n_mg_l: float | None
    product: str | None
    acidifier: str | None
    volume_l: float
    heads: int


@dataclass(frozen=True)
class Expected:
    """A mean with limits, and limits for a garden and season not yet seen."""

    mean: float
    lower: float
    upper: float
    new_lower: float | None
    new_upper: float | None


@dataclass(frozen=True)
class AcidForClass:
    """Acid for one class of water, by chemistry, and how many gardens of the ledger have such water.

    A powder is measured dissolved: `solution_tsp` teaspoons of its solution. `step_tsp` teaspoons of the liquid may go
    in at a time; None where no kitchen measure is small enough, and no acid goes in.
    """

    name: str
    lower: float
    upper: float
    acid_tsp: float
    solution_tsp: float | None
    step_tsp: float | None
    ph_at_lower: float
    ph_at_upper: float
    gardens: int


@dataclass(frozen=True)
class Rests:
    """A trial that the defaults rest on."""

    id: str
    kind: Literal["trial", "means"]
    trial: str
    title: str
    season: str
    gardens: int
    buckets: int
    heads: int
    gain: float | None
    gain_se: float | None


@dataclass(frozen=True)
class Compared:
    """A treatment in the pool, beside the current practice; g a planted head.

    Limits and p allow for all comparisons (Dunnett); None of the current practice itself. `trials` tried it, of these
    `beside` beside the current practice.
    """

    treatment: Treatment
    n_mg_l: float | None
    mean: float
    buckets: int
    trials: int
    beside: int
    difference: float | None
    se: float | None
    df: float | None
    lower: float | None
    upper: float | None
    p: float | None


@dataclass(frozen=True)
class Varies:
    """How much something varies: standard deviation in g a planted head, nought where too little to measure."""

    label: str
    sd_g: float


@dataclass(frozen=True)
class Classes:
    """Gains by class of water, season and kind of garden."""

    water: tuple[ClassGain, ...]
    season: tuple[ClassGain, ...]
    kind: tuple[ClassGain, ...]


@dataclass(frozen=True)
class NextTrial:
    """Which trial to run next, why, and its size."""

    question: str
    treatments: tuple[Treatment, ...]
    why: str
    size: NextSize | None


@dataclass(frozen=True)
class Changed:
    """What changed since the last version, and why."""

    since: int | None
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Recommended:
    """Recommended defaults with what they rest on."""

    schema: Literal["trialkit-recommended-1"]
    version: int
    date: str
    evidence_sha256: str
    made_with: dict[str, str]
    recommended: Default
    current: Default
    alternative: Treatment | None
    verdict: str
    sentences: tuple[str, ...]
    probability_better: float | None
    expected_loss: float | None
    yield_g: Expected
    days: Expected | None
    acid: tuple[AcidForClass, ...]
    classes: Classes | None
    evidence: tuple[Rests, ...]
    gardens: int
    compared: tuple[Compared, ...]
    variation: tuple[Varies, ...]
    refused: tuple[str, ...]
    together: Together | None
    decision: Decision
    changed: Changed
    would_change: tuple[str, ...]
    next_trial: NextTrial
    notes: tuple[str, ...]
