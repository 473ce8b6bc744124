"""Recommended defaults as one document: what is recommended, how sure, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from trialkit.documents.findings import Decision
from trialkit.documents.ledger_entry import EntryKind
from trialkit.documents.pooled import ClassGain, NextSize, TrialGains
from trialkit.domain.factors import FactorName
from trialkit.domain.treatment import Treatment, is_same_strength

Grouping = Literal["trial", "trial_site", "block", "whole_plot", "bucket"]
"""What differs: trials, sites within trials, blocks within these, whole plots within these, buckets treated alike."""


@dataclass(frozen=True)
class Practice:
    """A treatment as it is done: in amounts for a bucket."""

    treatment: Annotated[Treatment, "Its dose in level teaspoons of `product`; levels of what was tried."]
    n_mg_l: Annotated[float | None, "Nitrogen in the bucket, mg/L; None where it is not known."]
    product: Annotated[str | None, "The nutrient."]
    nutrient_g_per_tsp: Annotated[float | None, "Weight of a level teaspoon of it, g; None where it was not weighed."]
    volume_l: Annotated[float, "Of the bucket, L."]
    heads: Annotated[int, "In the bucket."]

    def is_like(self, other: Practice) -> bool:
        """Whether two practices are one: doses by their nitrogen, where it is known of both."""
        mine, its = self.treatment, other.treatment
        if (mine.cultivar, mine.acidifier) != (its.cultivar, its.acidifier):
            return False
        if self.n_mg_l is None or other.n_mg_l is None:
            return mine.dose_tsp == its.dose_tsp
        return is_same_strength(self.n_mg_l, other.n_mg_l)


@dataclass(frozen=True)
class Expected:
    """What a gardener may expect, such as g per transplanted head or days to harvest."""

    mean: Annotated[float, "On average."]
    lower: Annotated[float, "Lower limit of the mean."]
    upper: Annotated[float, "Upper limit of the mean."]
    new_lower: Annotated[
        float | None,
        "Lower limit in a garden and season not yet seen; None where it is not known how much these differ.",
    ]
    new_upper: Annotated[float | None, "Upper limit there."]


@dataclass(frozen=True)
class AcidForClass:
    """Acid for one class of water, by chemistry."""

    name: Annotated[str, "Of the class."]
    lower: Annotated[float, "Alkalinity from which the class goes, mg/L as calcium carbonate."]
    upper: Annotated[float, "Alkalinity up to which it goes, mg/L as calcium carbonate."]
    acid_tsp: Annotated[float, "Level teaspoons of the acid as sold, for a bucket."]
    solution_tsp: Annotated[
        float | None, "A powder is measured dissolved: teaspoons of its solution for a bucket; None of a liquid."
    ]
    step_tsp: Annotated[
        float | None,
        "Teaspoons of the liquid that may go in at a time; None where no kitchen measure is small enough, and no acid"
        " goes in.",
    ]
    ph_at_lower: Annotated[float, "pH that the amount gives at the lower alkalinity."]
    ph_at_upper: Annotated[float, "pH that it gives at the upper alkalinity."]
    gardens: Annotated[int, "Of the ledger that have such water."]


@dataclass(frozen=True)
class EvidenceTrial:
    """A trial that the defaults rest on."""

    id: Annotated[str, "Of its entry in the ledger."]
    kind: Annotated[EntryKind, "Records of a trial, or means and standard errors with their citation."]
    trial: Annotated[str, "Identity of the trial, or its citation."]
    title: Annotated[str, "Of the trial."]
    season: Annotated[str, "As stated; empty where it is not."]
    gardens: Annotated[int, "With a record."]
    buckets: Annotated[int, "With a record."]
    heads: Annotated[int, "With a record."]
    gain: Annotated[
        float | None,
        "Of the alternative over the current practice here, g per transplanted head; None where it had not both.",
    ]
    gain_se: Annotated[float | None, "Its standard error, g."]


@dataclass(frozen=True)
class ComparedTreatment:
    """A treatment in the pool, and its difference from the current practice.

    Limits and p allow for all comparisons (Dunnett); None of the current practice itself.
    """

    treatment: Annotated[Treatment, "Its dose in teaspoons of today's nutrient."]
    n_mg_l: Annotated[float | None, "Nitrogen in the bucket, mg/L; None where it is not known."]
    mean: Annotated[float, "g per transplanted head."]
    buckets: Annotated[int, "With a record."]
    trials: Annotated[int, "That tried it."]
    with_current: Annotated[int, "Of these trials, how many had the current practice too."]
    difference: Annotated[float | None, "From the current practice, g per transplanted head."]
    se: Annotated[float | None, "Standard error of the difference, g."]
    df: Annotated[float | None, "Degrees of freedom of that."]
    lower: Annotated[float | None, "Lower limit of the difference, g."]
    upper: Annotated[float | None, "Upper limit, g."]
    p: Annotated[float | None, "That there is no difference."]


@dataclass(frozen=True)
class SourceOfVariation:
    """How much something varies."""

    grouping: Annotated[
        Grouping,
        "Between what: trials, sites within trials, blocks within these, whole plots within these, or buckets treated"
        " alike.",
    ]
    factor: Annotated[
        FactorName | None, "The factor whose effects vary between these; None where it is the level that varies."
    ]
    sd_g: Annotated[float, "Standard deviation, g per transplanted head; zero where there was too little to measure."]


@dataclass(frozen=True)
class GainsByClass:
    """Gains by class of water, season and kind of garden."""

    water: Annotated[tuple[ClassGain, ...], "By the alkalinity of the water."]
    season: Annotated[tuple[ClassGain, ...], "By season."]
    kind: Annotated[tuple[ClassGain, ...], "By kind of garden."]


@dataclass(frozen=True)
class ProposedTrial:
    """The trial to run next: the recommended practice and the rival that is likeliest to be ahead of it."""

    recommended: Annotated[Treatment, "The recommended one."]
    rival: Annotated[Treatment, "The other."]
    probability_ahead: Annotated[float, "That the rival is ahead in a new garden, 0 to 1."]
    size: Annotated[NextSize, "How large the trial must be."]


@dataclass(frozen=True)
class FewTrials:
    """A factor that too few trials varied to tell how much its effect differs between seasons."""

    factor: Annotated[FactorName, "The factor."]
    trials: Annotated[int, "That varied it."]


@dataclass(frozen=True)
class NitrogenAlone:
    """A recommended dose that no trial tried with today's product."""

    product: Annotated[str, "Today's."]
    tried: Annotated[tuple[str, ...], "The products that it was tried with."]


@dataclass(frozen=True)
class Gaps:
    """What the trials cannot tell."""

    few_trials: Annotated[tuple[FewTrials, ...], "Factors that too few trials varied."]
    not_separated: Annotated[tuple[Grouping, ...], "Between which it could not be told how much effects differ."]
    tried_once: Annotated[
        tuple[Treatment, ...], "Treatments that one trial alone tried, which are not recommended yet."
    ]
    nitrogen_alone: Annotated[NitrogenAlone | None, "Where the recommended dose goes by its nitrogen alone."]


@dataclass(frozen=True)
class TrialName:
    """A trial by its name."""

    trial: Annotated[str, "Identity of the trial, or its citation."]
    season: Annotated[str, "As stated; empty where it is not."]


@dataclass(frozen=True)
class Change:
    """What changed since an earlier version."""

    since: Annotated[int, "The earlier version."]
    added: Annotated[tuple[TrialName, ...], "Evidence that came."]
    withdrawn: Annotated[tuple[TrialName, ...], "Evidence that went."]
    recommended: Annotated[Practice, "What was recommended then."]


@dataclass(frozen=True)
class Recommended:
    """Recommended defaults with what they rest on."""

    schema: Annotated[Literal["trialkit-recommended-2"], "Name and number of this format."]
    version: Annotated[int, "Of the defaults; the first is 1."]
    date: Annotated[str, "Of the newest change of the ledger, ISO 8601."]
    evidence_sha256: Annotated[str, "Digest of what counts in the ledger."]
    made_with: Annotated[dict[str, str], "Version of trialkit."]
    recommended: Annotated[Practice, "What to do."]
    current: Annotated[Practice, "What was done before."]
    alternative: Annotated[
        Treatment | None,
        "That pictures set beside the current practice: the one recommended, or the strongest rival; None without any.",
    ]
    probability_better: Annotated[
        float | None, "That the alternative gains the margin or more in a new garden, 0 to 1."
    ]
    expected_loss: Annotated[float | None, "Value given up by the recommended practice, in the decision's unit."]
    yield_g: Annotated[Expected, "Of the recommended practice, g per transplanted head."]
    days: Annotated[Expected | None, "Of the recommended practice, days to harvest; None where no trial told."]
    acid: Annotated[
        tuple[AcidForClass, ...], "Of the recommended practice; empty where it has none, or its strength is not known."
    ]
    classes: Annotated[
        GainsByClass | None, "Of the alternative over the current practice; None where no trial had both."
    ]
    evidence: Annotated[tuple[EvidenceTrial, ...], "In the order of seasons, those with means alone first."]
    gardens: Annotated[int, "With a record, in all trials."]
    compared: Annotated[tuple[ComparedTreatment, ...], "Every treatment that trials link with the current practice."]
    not_linked: Annotated[tuple[Treatment, ...], "Those that no trial links with it, nor any chain of trials."]
    variation: Annotated[tuple[SourceOfVariation, ...], "As the model of the buckets has it."]
    trial_gains: Annotated[
        TrialGains | None, "Of the alternative over the current practice; None where no trial had both."
    ]
    decision: Annotated[Decision, "As that of a single trial."]
    change: Annotated[Change | None, "None of the first version."]
    next_trial: Annotated[ProposedTrial, "What would tell most."]
    gaps: Annotated[Gaps, "What the trials cannot tell."]
