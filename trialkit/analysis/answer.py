"""Results as values: what an analysis found, ready to be written, drawn or checked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Level = str | float
Treatment = dict[str, Level]
Verdict = Literal["adopt", "keep current", "keep current, retest", "no practical difference: take the cheaper"]


@dataclass(frozen=True)
class Variance:
    """A variance component; `statement` is set where it was too small to measure."""

    term: str
    label: str
    variance: float
    sd: float | None
    statement: str | None


@dataclass(frozen=True)
class Test:
    """A Kenward-Roger F test of one term."""

    term: str
    label: str
    f: float
    numerator_df: int
    denominator_df: float
    p: float


@dataclass(frozen=True)
class Mean:
    """Estimated mean of a treatment combination, in the response's unit, with its Kenward-Roger interval."""

    treatment: Treatment
    mean: float
    se: float
    df: float
    lower: float
    upper: float
    buckets: int
    heads: int


@dataclass(frozen=True)
class LevelMean:
    """Estimated marginal mean of one level of one factor."""

    level: Level
    mean: float
    se: float
    df: float
    lower: float
    upper: float


@dataclass(frozen=True)
class Comparison:
    """A treatment less the current practice, with simultaneous (Dunnett) limits and p."""

    treatment: Treatment
    difference: float
    se: float
    df: float
    lower: float
    upper: float
    p: float


@dataclass(frozen=True)
class BucketMean:
    """Mean of one bucket's heads: a replicate."""

    bucket: str
    site: str
    block: str
    treatment: Treatment
    mean: float
    heads: int


@dataclass(frozen=True)
class SiteMean:
    """Mean of the bucket means of a treatment at a site."""

    site: str
    treatment: Treatment
    mean: float
    buckets: int


@dataclass(frozen=True)
class Check:
    """Something that could be wrong: what was found and what follows from it."""

    id: str
    title: str
    finding: str
    consequence: str
    ok: bool


@dataclass(frozen=True)
class FittedModel:
    """The model behind a response's numbers and how its variances were found."""

    formula: str
    random: tuple[str, ...]
    bounds: str
    iterations: int
    criterion: float
    observations: int
    buckets: int
    statements: tuple[str, ...]


@dataclass(frozen=True)
class ResponseResult:
    """The answer for one response, or the reason why it has none."""

    label: str
    unit: str
    status: Literal["analysed", "not analysed"]
    reason: str | None
    model: FittedModel | None = None
    variances: tuple[Variance, ...] = ()
    tests: tuple[Test, ...] = ()
    means: tuple[Mean, ...] = ()
    marginal_means: dict[str, tuple[LevelMean, ...]] | None = None
    comparisons: tuple[Comparison, ...] = ()
    buckets: tuple[BucketMean, ...] = ()
    site_means: tuple[SiteMean, ...] = ()
    checks: tuple[Check, ...] = ()


@dataclass(frozen=True)
class TreatmentLosses:
    """Heads planned, harvested and lost (dead, bolted or missing) under one treatment."""

    treatment: Treatment
    planned: int
    harvested: int
    lost: int


@dataclass(frozen=True)
class SiteLosses:
    """Heads planned, harvested and lost (dead, bolted or missing) at one garden."""

    site: str
    planned: int
    harvested: int
    lost: int


@dataclass(frozen=True)
class Losses:
    """What became of the heads; `unrecorded` ones were planned but have no row."""

    planned: int
    recorded: int
    unrecorded: int
    harvested: int
    not_ready: int
    dead: int
    bolted: int
    missing: int
    by_treatment: tuple[TreatmentLosses, ...]
    by_site: tuple[SiteLosses, ...]
    statement: str


@dataclass(frozen=True)
class Candidate:
    """A treatment as a candidate default: value at a new garden, in the decision's unit.

    One that lost many more heads than the current practice is not `eligible`: its weights are those of survivors.
    """

    treatment: Treatment
    mean_weight_g: float
    expected_value: float
    probability_best: float
    probability_better: float
    probability_equivalent: float
    expected_loss: float
    share_lost: float
    eligible: bool
    is_current: bool
    is_recommended: bool


@dataclass(frozen=True)
class Decision:
    """What to recommend and how sure."""

    unit: str
    place: str
    current: Treatment
    recommended: Treatment
    verdict: Verdict
    sentences: tuple[str, str]
    probability_better: float
    probability_best: float
    expected_loss: float
    thresholds: dict[str, float | None]
    candidates: tuple[Candidate, ...]
    would_change: tuple[str, ...]
    scope: tuple[str, ...]
    draws: int
