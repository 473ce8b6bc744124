"""What a ledger tells of its entries: the line of its index, the manifest in an entry's folder, and the list of all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trialkit.domain.treatment import Treatment

EntryKind = Literal["trial", "means"]


@dataclass(frozen=True)
class Listed:
    """An entry as the index tells it.

    Attributes
    ----------
    id : str
        Name of its folder: the first half of the digest of its manifest.
    kind : {"trial", "means"}
        Records of a trial, or means and standard errors with their citation.
    trial : str
        Identity of the trial.
    title : str
        Of the trial.
    season : str
        As stated; empty where it is not.
    started_on : str
        When the trial began, ISO 8601; empty where it is not known.
    added_on : str
        When it was accepted, ISO 8601.
    inputs_sha256 : str
        Of protocol and tables alone: the same records analysed anew are the same evidence.
    buckets : int
        With a record.
    heads : int
        With a record.
    gardens : int
        With a record.
    withdrawn_on : str or None
        When it was withdrawn, ISO 8601.
    why : str or None
        Why it was withdrawn; None where it counts.
    """

    id: str
    kind: EntryKind
    trial: str
    title: str
    season: str
    started_on: str
    added_on: str
    inputs_sha256: str
    buckets: int
    heads: int
    gardens: int
    withdrawn_on: str | None = None
    why: str | None = None

    @property
    def counts(self) -> bool:
        """Whether it is evidence still."""
        return self.why is None


@dataclass(frozen=True)
class EvidenceList:
    """What `trialkit evidence list` answers.

    Attributes
    ----------
    schema : str
        Name and number of this format.
    entries : tuple of Listed
        All, in the order in which they came.
    damaged : tuple of str
        What is wrong with the files, a sentence each.
    """

    schema: Literal["trialkit-evidence-list-1"]
    entries: tuple[Listed, ...]
    damaged: tuple[str, ...]


@dataclass(frozen=True)
class EntrySite:
    """A site of an accepted trial.

    Attributes
    ----------
    site : str
        Its identity in the trial.
    kind : str
        Such as school or balcony; empty where it is not stated.
    alkalinity_mg_l_caco3 : float or None
        By its readings where they tell, else as stated, mg/L as calcium carbonate.
    """

    site: str
    kind: str
    alkalinity_mg_l_caco3: float | None


@dataclass(frozen=True, kw_only=True)
class DaysMean:
    """Mean days to harvest of a treatment in an accepted trial; the levels of what the trial varied.

    Attributes
    ----------
    cultivar : str or None
        None where the trial had one only.
    dose_tsp : float or None
        Level teaspoons of nutrient a bucket; None where the trial had one dose only.
    acidifier : str or None
        None where the trial had one only.
    mean : float
        Days.
    se : float
        Its standard error, days.
    df : float
        Degrees of freedom of that.
    """

    cultivar: str | None = None
    dose_tsp: float | None = None
    acidifier: str | None = None
    mean: float
    se: float
    df: float

    @property
    def treatment(self) -> Treatment:
        """Levels of what the trial varied."""
        return Treatment(self.cultivar, self.dose_tsp, self.acidifier)


@dataclass(frozen=True)
class TrialFacts:
    """What the pool asks of an accepted trial besides its buckets.

    Attributes
    ----------
    made_with : dict of str to str
        Versions that analysed it.
    product : str or None
        That its doses are doses of; None where that is not known.
    sites : tuple of EntrySite
        That took part.
    days : tuple of DaysMean
        Mean days to harvest by treatment; empty where days to harvest could not be analysed.
    verdict : str or None
        Its own; None where it had no decision.
    """

    made_with: dict[str, str]
    product: str | None
    sites: tuple[EntrySite, ...]
    days: tuple[DaysMean, ...]
    verdict: str | None


@dataclass(frozen=True)
class SummaryMean:
    """The mean of a treatment in a trial of which only means and standard errors are left.

    Attributes
    ----------
    citation : str
        Where it stands; means of one citation are of one trial.
    season : str
        As stated; empty where it is not.
    started_on : str
        When the trial began, ISO 8601; empty where it is not known.
    cultivar : str
        Its name; empty where it is not stated.
    n_mg_l : float
        Nitrogen in the bucket, mg/L.
    acidifier : str
        Its name, or "none"; empty where it is not stated.
    mean_g : float
        g a planted head.
    se_g : float
        Its standard error, g.
    gardens : int or None
        Behind it, where known.
    """

    citation: str
    season: str
    started_on: str
    cultivar: str
    n_mg_l: float
    acidifier: str
    mean_g: float
    se_g: float
    gardens: int | None


@dataclass(frozen=True)
class SummaryFacts:
    """Means and standard errors of trials.

    Attributes
    ----------
    means : tuple of SummaryMean
        A mean for each treatment and citation.
    """

    means: tuple[SummaryMean, ...]


@dataclass(frozen=True)
class Manifest:
    """What an entry says of itself (``entry.json``).

    Attributes
    ----------
    format : str
        Name and number of this format.
    kind : {"trial", "means"}
        Records of a trial, or means and standard errors.
    trial : str
        Identity of the trial.
    title : str
        Of the trial.
    season : str
        As stated.
    started_on : str
        When the trial began, ISO 8601; empty where it is not known.
    files : dict of str to str
        SHA-256 digest of each file of the entry, by its name.
    facts : TrialFacts or SummaryFacts
        What the pool asks of it.
    """

    format: Literal["trialkit-entry-1"]
    kind: EntryKind
    trial: str
    title: str
    season: str
    started_on: str
    files: dict[str, str]
    facts: TrialFacts | SummaryFacts
