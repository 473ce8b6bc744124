"""Recommended defaults as one document: what is recommended, how sure, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trialkit.documents.findings import Decision
from trialkit.documents.ledger_entry import EntryKind
from trialkit.documents.pooled import ClassGain, NextSize, TrialGains
from trialkit.domain.factors import FactorName
from trialkit.domain.treatment import Treatment, is_same_strength

Grouping = Literal["trial", "trial_site", "block", "whole_plot", "bucket"]
"""What differs: trials, sites within trials, blocks within these, whole plots within these, buckets treated alike."""


@dataclass(frozen=True)
class Practice:
    """A treatment as it is done: in amounts for a bucket.

    Attributes
    ----------
    treatment : Treatment
        Its dose in level teaspoons of `product`; levels of what was tried.
    n_mg_l : float or None
        Nitrogen in the bucket, mg/L; None where it is not known.
    product : str or None
        The nutrient.
    nutrient_g_per_tsp : float or None
        Weight of a level teaspoon of it, g; None where it was not weighed.
    volume_l : float
        Of the bucket, L.
    heads : int
        In the bucket.
    """

    treatment: Treatment
    n_mg_l: float | None
    product: str | None
    nutrient_g_per_tsp: float | None
    volume_l: float
    heads: int

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
    """What a gardener may expect, such as g a planted head or days to harvest.

    Attributes
    ----------
    mean : float
        On average.
    lower : float
        Lower limit of the mean.
    upper : float
        Upper limit of the mean.
    new_lower : float or None
        Lower limit in a garden and season not yet seen; None where it is not known how much these differ.
    new_upper : float or None
        Upper limit there.
    """

    mean: float
    lower: float
    upper: float
    new_lower: float | None
    new_upper: float | None


@dataclass(frozen=True)
class AcidForClass:
    """Acid for one class of water, by chemistry.

    Attributes
    ----------
    name : str
        Of the class.
    lower : float
        Alkalinity from which the class goes, mg/L as calcium carbonate.
    upper : float
        Alkalinity up to which it goes, mg/L as calcium carbonate.
    acid_tsp : float
        Level teaspoons of the acid as sold, for a bucket.
    solution_tsp : float or None
        A powder is measured dissolved: teaspoons of its solution for a bucket; None of a liquid.
    step_tsp : float or None
        Teaspoons of the liquid that may go in at a time; None where no kitchen measure is small enough, and no acid
        goes in.
    ph_at_lower : float
        pH that the amount gives at the lower alkalinity.
    ph_at_upper : float
        pH that it gives at the upper alkalinity.
    gardens : int
        Of the ledger that have such water.
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
class EvidenceTrial:
    """A trial that the defaults rest on.

    Attributes
    ----------
    id : str
        Of its entry in the ledger.
    kind : {"trial", "means"}
        Records of a trial, or means and standard errors with their citation.
    trial : str
        Identity of the trial, or its citation.
    title : str
        Of the trial.
    season : str
        As stated; empty where it is not.
    gardens : int
        With a record.
    buckets : int
        With a record.
    heads : int
        With a record.
    gain : float or None
        Of the alternative over the current practice in this trial, g a planted head; None where it had not both.
    gain_se : float or None
        Its standard error, g.
    """

    id: str
    kind: EntryKind
    trial: str
    title: str
    season: str
    gardens: int
    buckets: int
    heads: int
    gain: float | None
    gain_se: float | None


@dataclass(frozen=True)
class ComparedTreatment:
    """A treatment in the pool, and its difference from the current practice.

    Limits and p allow for all comparisons (Dunnett); None of the current practice itself.

    Attributes
    ----------
    treatment : Treatment
        Its dose in teaspoons of today's nutrient.
    n_mg_l : float or None
        Nitrogen in the bucket, mg/L; None where it is not known.
    mean : float
        g a planted head.
    buckets : int
        With a record.
    trials : int
        That tried it.
    with_current : int
        Of these trials, how many had the current practice too.
    difference : float or None
        From the current practice, g a planted head.
    se : float or None
        Standard error of the difference, g.
    df : float or None
        Degrees of freedom of that.
    lower : float or None
        Lower limit of the difference, g.
    upper : float or None
        Upper limit, g.
    p : float or None
        That there is no difference.
    """

    treatment: Treatment
    n_mg_l: float | None
    mean: float
    buckets: int
    trials: int
    with_current: int
    difference: float | None
    se: float | None
    df: float | None
    lower: float | None
    upper: float | None
    p: float | None


@dataclass(frozen=True)
class SourceOfVariation:
    """How much something varies.

    Attributes
    ----------
    grouping : str
        Between what: trials, sites within trials, blocks within these, whole plots within these, or buckets treated
        alike.
    factor : str or None
        The factor whose effects vary between these; None where it is the level that varies.
    sd_g : float
        Standard deviation, g a planted head; nought where there was too little to measure.
    """

    grouping: Grouping
    factor: FactorName | None
    sd_g: float


@dataclass(frozen=True)
class GainsByClass:
    """Gains by class of water, season and kind of garden.

    Attributes
    ----------
    water : tuple of ClassGain
        By the alkalinity of the water.
    season : tuple of ClassGain
        By season.
    kind : tuple of ClassGain
        By kind of garden.
    """

    water: tuple[ClassGain, ...]
    season: tuple[ClassGain, ...]
    kind: tuple[ClassGain, ...]


@dataclass(frozen=True)
class ProposedTrial:
    """The trial to run next: the recommended practice and the rival that is likeliest to be ahead of it.

    Attributes
    ----------
    recommended : Treatment
        The recommended one.
    rival : Treatment
        The other.
    probability_ahead : float
        That the rival is ahead in a new garden, 0 to 1.
    size : NextSize
        How large the trial must be.
    """

    recommended: Treatment
    rival: Treatment
    probability_ahead: float
    size: NextSize


@dataclass(frozen=True)
class FewTrials:
    """A factor that too few trials varied to tell how much its effect differs between seasons.

    Attributes
    ----------
    factor : str
        The factor.
    trials : int
        That varied it.
    """

    factor: FactorName
    trials: int


@dataclass(frozen=True)
class NitrogenAlone:
    """A recommended dose that no trial tried with today's product.

    Attributes
    ----------
    product : str
        Today's.
    tried : tuple of str
        The products that it was tried with.
    """

    product: str
    tried: tuple[str, ...]


@dataclass(frozen=True)
class Gaps:
    """What the trials cannot tell.

    Attributes
    ----------
    few_trials : tuple of FewTrials
        Factors that too few trials varied.
    not_separated : tuple of {"trial", "trial_site"}
        Between which it could not be told how much effects differ.
    tried_once : tuple of Treatment
        Treatments that one trial alone tried, which are not recommended yet.
    nitrogen_alone : NitrogenAlone or None
        Where the recommended dose goes by its nitrogen alone.
    """

    few_trials: tuple[FewTrials, ...]
    not_separated: tuple[Grouping, ...]
    tried_once: tuple[Treatment, ...]
    nitrogen_alone: NitrogenAlone | None


@dataclass(frozen=True)
class TrialName:
    """A trial by its name.

    Attributes
    ----------
    trial : str
        Identity of the trial, or its citation.
    season : str
        As stated; empty where it is not.
    """

    trial: str
    season: str


@dataclass(frozen=True)
class Change:
    """What changed since an earlier version.

    Attributes
    ----------
    since : int
        The earlier version.
    added : tuple of TrialName
        Evidence that came.
    withdrawn : tuple of TrialName
        Evidence that went.
    recommended : Practice
        What was recommended then.
    """

    since: int
    added: tuple[TrialName, ...]
    withdrawn: tuple[TrialName, ...]
    recommended: Practice


@dataclass(frozen=True)
class Recommended:
    """Recommended defaults with what they rest on.

    Attributes
    ----------
    schema : str
        Name and number of this format.
    version : int
        Of the defaults; the first is 1.
    date : str
        Of the newest change of the ledger, ISO 8601.
    evidence_sha256 : str
        Digest of what counts in the ledger.
    made_with : dict of str to str
        Version of trialkit.
    recommended : Practice
        What to do.
    current : Practice
        What was done before.
    alternative : Treatment or None
        That pictures set beside the current practice: the one recommended, or the strongest rival; None without any.
    probability_better : float or None
        That the alternative gains the margin or more in a new garden, 0 to 1.
    expected_loss : float or None
        Value given up by the recommended practice, in the decision's unit.
    yield_g : Expected
        Of the recommended practice, g a planted head.
    days : Expected or None
        Of the recommended practice, days to harvest; None where no trial told.
    acid : tuple of AcidForClass
        Of the recommended practice; empty where it has none, or its strength is not known.
    classes : GainsByClass or None
        Of the alternative over the current practice; None where no trial had both.
    evidence : tuple of EvidenceTrial
        In the order of seasons, those with means alone first.
    gardens : int
        With a record, in all trials.
    compared : tuple of ComparedTreatment
        Every treatment that trials link with the current practice.
    not_linked : tuple of Treatment
        Those that no trial links with it, nor any chain of trials.
    variation : tuple of SourceOfVariation
        As the model of the buckets has it.
    trial_gains : TrialGains or None
        Of the alternative over the current practice; None where no trial had both.
    decision : Decision
        As that of a single trial.
    change : Change or None
        None of the first version.
    next_trial : ProposedTrial
        What would tell most.
    gaps : Gaps
        What the trials cannot tell.
    """

    schema: Literal["trialkit-recommended-2"]
    version: int
    date: str
    evidence_sha256: str
    made_with: dict[str, str]
    recommended: Practice
    current: Practice
    alternative: Treatment | None
    probability_better: float | None
    expected_loss: float | None
    yield_g: Expected
    days: Expected | None
    acid: tuple[AcidForClass, ...]
    classes: GainsByClass | None
    evidence: tuple[EvidenceTrial, ...]
    gardens: int
    compared: tuple[ComparedTreatment, ...]
    not_linked: tuple[Treatment, ...]
    variation: tuple[SourceOfVariation, ...]
    trial_gains: TrialGains | None
    decision: Decision
    change: Change | None
    next_trial: ProposedTrial
    gaps: Gaps
