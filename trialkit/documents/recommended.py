"""Recommended defaults as one document: what is recommended, how sure, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal

from trialkit.documents.decision import Decision, Gain
from trialkit.documents.ledger_entry import EntryKind
from trialkit.domain.short_repr import ShortRepr
from trialkit.domain.treatment import Treatment, is_same_strength
from trialkit.domain.units import Measures
from trialkit.languages import ENGLISH, Language


@dataclass(frozen=True)
class PracticePart:
    """What goes into a bucket with the nutrient."""

    product: Annotated[str, "Its name."]
    tsp: Annotated[float, "Level teaspoons for a bucket."]
    g_per_tsp: Annotated[float, "Weight of a level teaspoon of it, g."]


@dataclass(frozen=True)
class Practice:
    """A treatment as it is done: in amounts for a bucket."""

    treatment: Annotated[Treatment, "Its dose in level teaspoons of `product`; levels of what was tried."]
    n_mg_l: Annotated[float | None, "Nitrogen in the bucket, mg/L; None where it is not known."]
    product: Annotated[str | None, "The nutrient."]
    nutrient_g_per_tsp: Annotated[float | None, "Weight of a level teaspoon of it, g; None where it was not weighed."]
    volume_l: Annotated[float, "Of the bucket, L."]
    heads: Annotated[int, "In the bucket."]
    parts: Annotated[tuple[PracticePart, ...], "What goes in after the nutrient, in this order."] = ()
    elements_mg_l: Annotated[dict[str, float], "What nutrient and parts bring, mg/L; empty where it is not known."] = (
        field(default_factory=dict)
    )

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
    """Acid for one class of water, by chemistry and by what the ledger's waters took."""

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
    ph_standing: Annotated[float, "pH in the middle, once the bucket has come to equilibrium with the air."]
    ph_acid_eaten: Annotated[float, "pH there, once microbes have eaten all of the acid too."]
    gardens: Annotated[int, "Of the ledger that have such water."]


@dataclass(frozen=True)
class AcidRatio:
    """How much of the recommended acid waters took beside what chemistry foresees, by all trials of the ledger."""

    ratio: Annotated[float, "Of amounts; drawn towards 1, the more the less is known."]
    lower: Annotated[float, "Lower limit of that."]
    upper: Annotated[float, "Upper limit."]
    mixings: Annotated[int, "Readings of pH before and after that acid."]
    gardens: Annotated[int, "Where they were made, each counted in every trial."]


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
        "Of the alternative over the current practice here, by the buckets as recorded, g per transplanted head; None "
        "where it had not both.",
    ]
    gain_se: Annotated[float | None, "Its standard error, g."]


@dataclass(frozen=True)
class GardenGain:
    """What the alternative gains over the current practice in gardens of one kind, or in one garden."""

    of: Annotated[Literal["water", "kind", "sun", "garden"], "What they have in common."]
    name: Annotated[str, "Class of water, kind of garden, sun, or the garden's name in the trials."]
    gardens: Annotated[int, "Of the ledger that are such."]
    tried: Annotated[bool, "Whether the alternative was tried in one of these."]
    gain: Annotated[Gain, "There, on average over seasons."]


@dataclass(frozen=True)
class ProposedTrial:
    """The trial to run next: of those within the limits of the newest protocol the one that is worth most."""

    kind: Annotated[str, "Of layout, as a protocol names it."]
    cultivars: Annotated[tuple[str, ...], "To grow, the recommended one first; empty where they play no part."]
    doses_tsp: Annotated[tuple[float, ...], "Level teaspoons a bucket, increasing; empty where dose plays no part."]
    acidifiers: Annotated[
        tuple[str, ...], 'To add, the recommended one first, "none" for no acid; empty where they play no part.'
    ]
    sites: Annotated[tuple[str, ...], "Gardens, those of the newest trial that did not give up."]
    blocks: Annotated[int, "In each garden; volunteers there in volunteer blocks."]
    block_size: Annotated[int | None, "Buckets of each volunteer; None where a block holds every treatment."]
    heads: Annotated[int, "In each bucket."]
    treatments: Annotated[int, "Every combination of the levels."]
    buckets: Annotated[int, "In all gardens."]
    value_g: Annotated[float, "By which it is expected to raise what the next handout brings, g per transplanted head."]
    change: Annotated[float, "Chance that another treatment will be recommended after it."]
    worth_it: Annotated[bool, "Whether what it is expected to bring is worth its buckets."]
    left_out: Annotated[tuple[str, ...], "Gardens of the newest trial that gave up."] = ()


@dataclass(frozen=True)
class NitrogenAlone:
    """A recommended dose that no trial tried with today's product."""

    product: Annotated[str, "Today's."]
    tried: Annotated[tuple[str, ...], "The products that it was tried with."]


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


@dataclass(frozen=True, repr=False)
class Recommended(ShortRepr):
    """Recommended defaults with what they rest on."""

    schema: Annotated[Literal["trialkit-recommended-4"], "Name and number of this format."]
    version: Annotated[int, "Of the defaults; the first is 1."]
    date: Annotated[str, "Of the newest change of the ledger, ISO 8601."]
    evidence_sha256: Annotated[str, "Digest of what counts in the ledger."]
    made_with: Annotated[dict[str, str], "Version of trialkit."]
    recommended: Annotated[Practice, "What to do."]
    current: Annotated[Practice, "What was done before."]
    yield_g: Annotated[Expected, "Of the recommended practice, g per transplanted head."]
    days: Annotated[Expected | None, "Of the recommended practice, days to harvest; None where no trial told."]
    acid: Annotated[
        tuple[AcidForClass, ...], "Of the recommended practice; empty where it has none, or its strength is not known."
    ]
    acid_ratio: Annotated[AcidRatio | None, "That `acid` goes by; None where no garden's readings tell."]
    by_garden: Annotated[tuple[GardenGain, ...], "By water, kind and sun of the garden, and of gardens that came back."]
    evidence: Annotated[tuple[EvidenceTrial, ...], "In the order of seasons, those with means alone first."]
    decision: Annotated[Decision, "As that of a single trial."]
    change: Annotated[Change | None, "None of the first version."]
    next_trial: Annotated[
        ProposedTrial | None, "What to try next; None where no two treatments fit the limits of the newest protocol."
    ]
    nitrogen_alone: Annotated[NitrogenAlone | None, "Where the recommended dose goes by its nitrogen alone."]
    measures: Annotated[Measures, "In which gardeners are told, as the newest trial's protocol says."] = "both"
    language: Annotated[Language, "In which gardeners are told, as the newest trial's protocol says."] = ENGLISH
    after: Annotated[
        tuple[str, ...],
        "SHA-256 digests of the files of the versions before it: two where branches of a ledger were merged.",
    ] = ()
