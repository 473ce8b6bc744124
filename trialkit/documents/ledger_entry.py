"""What a ledger tells of its entries: the line of its index, the manifest in an entry's folder, and the list of all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from trialkit.documents.document import Closed
from trialkit.domain.treatment import Treatment

EntryKind = Literal["trial", "means"]
SHOWN_DIGITS = 12
"""Of an entry's name, wherever it is shown to be typed."""


@dataclass(frozen=True, kw_only=True)
class EntryTold:
    """What the index tells of an entry when it is added."""

    id: Annotated[str, "Name of its folder: the first half of the digest of its manifest."]
    kind: Annotated[EntryKind, "Records of a trial, or means and standard errors with their citation."]
    trial: Annotated[str, "Identity of the trial."]
    title: Annotated[str, "Of the trial."]
    season: Annotated[str, "As stated; empty where it is not."]
    started_on: Annotated[str, "When the trial began, ISO 8601; empty where it is not known."]
    added_on: Annotated[str, "When it was accepted, ISO 8601."]
    inputs_sha256: Annotated[str, "Of protocol and tables alone: the same records analysed anew are the same evidence."]
    buckets: Annotated[int, "With a record."]
    heads: Annotated[int, "With a record."]
    gardens: Annotated[int, "With a record."]


@dataclass(frozen=True, kw_only=True)
class Listed(EntryTold):
    """An entry as the index tells it."""

    withdrawn_on: Annotated[str | None, "When it was withdrawn, ISO 8601."] = None
    why: Annotated[str | None, "Why it was withdrawn; None where it counts."] = None

    @property
    def counts(self) -> bool:
        """Whether it is evidence still."""
        return self.why is None


@dataclass(frozen=True, kw_only=True)
class IndexLine(Closed):
    """A line of a ledger's index, bound to the newest lines of its time."""

    after: Annotated[
        tuple[str, ...] | None,
        "Digests of the newest lines when this one was written: several after a merge; None of an unbound index.",
    ] = None
    line_sha256: Annotated[str, "First half of the digest of all the rest of the line."] = ""


@dataclass(frozen=True, kw_only=True)
class Began(IndexLine):
    """The ledger began."""

    event: Literal["began"] = "began"
    format: Annotated[Literal["trialkit-ledger-1", "trialkit-ledger-2"], "The first has lines that are not bound."]


@dataclass(frozen=True, kw_only=True)
class Added(IndexLine, EntryTold):
    """An entry came, or came again."""

    event: Literal["added"] = "added"


@dataclass(frozen=True, kw_only=True)
class Withdrawn(IndexLine):
    """An entry counts no more."""

    event: Literal["withdrawn"] = "withdrawn"
    id: Annotated[str, "Of the entry."]
    on: Annotated[str, "Day, ISO 8601."]
    why: Annotated[str, "The reason."]


@dataclass(frozen=True, kw_only=True)
class Readmitted(IndexLine):
    """A withdrawn entry counts again."""

    event: Literal["readmitted"] = "readmitted"
    id: Annotated[str, "Of the entry."]
    on: Annotated[str, "Day, ISO 8601."]
    why: Annotated[str, "The reason."]


@dataclass(frozen=True, kw_only=True)
class Recommending(IndexLine):
    """A version of the recommended defaults was made."""

    event: Literal["recommended"] = "recommended"
    version: Annotated[int, "Its number; two branches may have made one each."]
    file: Annotated[str, "Its name in history."]
    sha256: Annotated[str, "Of that file."]


@dataclass(frozen=True)
class ListedVersion:
    """A version of the recommended defaults, as the index tells it."""

    version: Annotated[int, "Its number."]
    sha256: Annotated[str, "Of its file; handouts show how it begins."]


@dataclass(frozen=True)
class EvidenceList:
    """What `trialkit evidence list` answers."""

    schema: Annotated[Literal["trialkit-evidence-list-1"], "Name and number of this format."]
    entries: Annotated[tuple[Listed, ...], "All, in the order in which they came."]
    versions: Annotated[tuple[ListedVersion, ...], "Of the recommended defaults, in the order of their numbers."]
    state: Annotated[
        str, "Digest of all that ever happened to the ledger; empty where lines are not bound, or damaged."
    ]
    damaged: Annotated[tuple[str, ...], "What is wrong with the files, a sentence each."]


@dataclass(frozen=True)
class EntrySite:
    """A site of an accepted trial."""

    site: Annotated[str, "Its identity in the trial."]
    kind: Annotated[str, "Such as school or balcony; empty where it is not stated."]
    alkalinity_mg_l_caco3: Annotated[
        float | None, "By its readings where they tell, else as stated, mg/L as calcium carbonate."
    ]
    sun_hours: Annotated[float | None, "Of direct sun a day; None where it is not stated."] = None


@dataclass(frozen=True)
class HeadScatter:
    """How much marketable heads of a bucket differ, pooled over buckets."""

    squares: Annotated[float, "Sum of squares about the buckets' means, g squared."]
    df: Annotated[int, "Its degrees of freedom."]


@dataclass(frozen=True)
class AcidTaken:
    """How much of an acid a garden's water took, by its readings, beside what chemistry foresees of what was stated."""

    acidifier: Annotated[str, "The acid product."]
    mixings: Annotated[int, "Buckets with a reading of pH before and after the acid."]
    ratio: Annotated[float, "Alkalinity that the readings tell, over that in sites.csv."]
    lower: Annotated[float, "Lower limit of that, at 95 %."]
    upper: Annotated[float, "Upper limit."]


@dataclass(frozen=True, kw_only=True)
class DaysMean:
    """Mean days to harvest of a treatment in an accepted trial; the levels of what the trial varied."""

    cultivar: Annotated[str | None, "None where the trial had one only."] = None
    dose_tsp: Annotated[
        float | None, "Level teaspoons of nutrient a bucket; None where the trial had one dose only."
    ] = None
    acidifier: Annotated[str | None, "None where the trial had one only."] = None
    mean: Annotated[float, "Days."]
    se: Annotated[float, "Its standard error, days."]
    df: Annotated[float, "Degrees of freedom of that."]

    @property
    def treatment(self) -> Treatment:
        """Levels of what the trial varied."""
        return Treatment(self.cultivar, self.dose_tsp, self.acidifier)


@dataclass(frozen=True)
class TrialFacts:
    """What the pool asks of an accepted trial besides its buckets."""

    made_with: Annotated[dict[str, str], "Versions that analysed it."]
    product: Annotated[str | None, "That its doses are doses of; None where that is not known."]
    sites: Annotated[tuple[EntrySite, ...], "That took part."]
    verdict: Annotated[str | None, "Its own; None where it had no decision."]
    head_scatter: Annotated[HeadScatter | None, "None of entries made before it was kept."] = None
    acid: Annotated[
        tuple[AcidTaken, ...], "Of each garden and acid whose readings tell; empty of entries made before it was kept."
    ] = ()
    days: Annotated[
        tuple[DaysMean, ...],
        "Mean days to harvest by treatment, of entries made before each bucket told its own; empty of others.",
    ] = ()


@dataclass(frozen=True)
class SummaryMean:
    """The mean of a treatment in a trial of which only means and standard errors are left."""

    citation: Annotated[str, "Where it stands; means of one citation are of one trial."]
    season: Annotated[str, "As stated; empty where it is not."]
    started_on: Annotated[str, "When the trial began, ISO 8601; empty where it is not known."]
    cultivar: Annotated[str, "Its name; empty where it is not stated."]
    n_mg_l: Annotated[float, "Nitrogen in the bucket, mg/L."]
    acidifier: Annotated[str, 'Its name, or "none"; empty where it is not stated.']
    mean_g: Annotated[float, "g per transplanted head."]
    se_g: Annotated[float, "Its standard error, g."]
    gardens: Annotated[int | None, "Behind it, where known."]

    @property
    def treatment(self) -> tuple[str, float, str]:
        """What it is the mean of."""
        return self.cultivar, self.n_mg_l, self.acidifier


@dataclass(frozen=True)
class SummaryFacts:
    """Means and standard errors of trials."""

    means: Annotated[tuple[SummaryMean, ...], "A mean for each treatment and citation."]


@dataclass(frozen=True)
class Manifest:
    """What an entry says of itself (``entry.json``)."""

    format: Annotated[Literal["trialkit-entry-1"], "Name and number of this format."]
    kind: Annotated[EntryKind, "Records of a trial, or means and standard errors."]
    trial: Annotated[str, "Identity of the trial."]
    title: Annotated[str, "Of the trial."]
    season: Annotated[str, "As stated."]
    started_on: Annotated[str, "When the trial began, ISO 8601; empty where it is not known."]
    files: Annotated[dict[str, str], "SHA-256 digest of each file of the entry, by its name."]
    facts: Annotated[TrialFacts | SummaryFacts, "What the pool asks of it."]
