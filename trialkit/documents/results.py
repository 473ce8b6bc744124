"""The whole document that an analysis writes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trialkit.documents.findings import Decision, Losses, NoDecision, ResponseResult
from trialkit.documents.water import Water
from trialkit.domain.factors import FactorName
from trialkit.domain.treatment import Level


@dataclass(frozen=True)
class About:
    """The trial in the adviser's words.

    Attributes
    ----------
    id : str
        Of the trial.
    title : str
        Of the trial.
    question : str
        That it asks.
    season : str
        When it stood; empty where nobody said.
    started_on : str or None
        Day, ISO 8601.
    contact_role : str
        Whom to ask.
    """

    id: str
    title: str
    question: str
    season: str
    started_on: str | None
    contact_role: str


@dataclass(frozen=True)
class InputFile:
    """A file that the analysis read.

    Attributes
    ----------
    file : str
        Its name in the trial's folder.
    sha256 : str
        Its digest.
    """

    file: str
    sha256: str


@dataclass(frozen=True)
class Site:
    """A garden that took part.

    Attributes
    ----------
    site : str
        Its short name, as the tables have it.
    name : str or None
        What people call it.
    kind : str or None
        School, library, home and the like.
    water_source : str or None
        Where its water comes from.
    alkalinity_mg_l_caco3 : float or None
        Of its water, mg/L as calcium carbonate, as stated.
    sun_hours : float or None
        Of direct sun a day.
    """

    site: str
    name: str | None
    kind: str | None
    water_source: str | None
    alkalinity_mg_l_caco3: float | None
    sun_hours: float | None


@dataclass(frozen=True)
class VariedFactor:
    """A treatment factor with two levels or more.

    Attributes
    ----------
    name : str
        As the protocol names it.
    column : str
        Of layout.csv.
    unit : str or None
        Of its levels; None where they are names.
    levels : tuple of str or float
        As the protocol orders them.
    product : str or None
        Nutrient that the doses are of.
    """

    name: FactorName
    column: str
    unit: str | None
    levels: tuple[Level, ...]
    product: str | None


@dataclass(frozen=True)
class FixedFactor:
    """A treatment factor that was the same in every bucket.

    Attributes
    ----------
    name : str
        As the protocol names it.
    level : str or float
        The one level; of a dose, level teaspoons a bucket.
    product : str or None
        Nutrient that the dose is of.
    """

    name: FactorName
    level: Level
    product: str | None


@dataclass(frozen=True)
class AcidUsed:
    """What was recorded of one acidifier at one garden.

    Attributes
    ----------
    site : str
        The garden.
    acidifier : str
        Its name.
    buckets : int
        That got it.
    acid_tsp : float or None
        Median teaspoons a bucket.
    powder_g_per_tsp : float or None
        What a level teaspoon of a powder weighs; None for liquids. Powders are dissolved before use.
    ph_after : float or None
        Median pH after mixing.
    """

    site: str
    acidifier: str
    buckets: int
    acid_tsp: float | None
    powder_g_per_tsp: float | None
    ph_after: float | None


@dataclass(frozen=True)
class Design:
    """What was planned and how it was randomised.

    Attributes
    ----------
    kind : str
        Of layout.
    sites : tuple of Site
        Gardens that took part.
    blocks_per_site : int
        Blocks at each garden.
    buckets : int
        Laid out.
    heads_per_bucket : int
        Planted in each.
    heads : int
        Planted in all.
    volume_l : float
        Of a full bucket, litres.
    whole_plot : str or None
        Factor that was randomised to whole plots, where there are any.
    factors : tuple of VariedFactor
        What was varied.
    fixed : tuple of FixedFactor
        What was the same in every bucket.
    acid_used : tuple of AcidUsed
        What was recorded of each acidifier at each garden.
    """

    kind: str
    sites: tuple[Site, ...]
    blocks_per_site: int
    buckets: int
    heads_per_bucket: int
    heads: int
    volume_l: float
    whole_plot: str | None
    factors: tuple[VariedFactor, ...]
    fixed: tuple[FixedFactor, ...]
    acid_used: tuple[AcidUsed, ...]


@dataclass(frozen=True)
class Results:
    """Everything a trial has to say.

    Attributes
    ----------
    schema : str
        Name and version of the format.
    trial : About
        The trial in the adviser's words.
    made_with : dict
        Version of each library that had a hand in it.
    inputs : tuple of InputFile
        Every file that was read.
    seed : int
        That every draw follows from.
    confidence : float
        Of the intervals, between 0 and 1.
    design : Design
        What was planned and how it was randomised.
    losses : Losses
        What became of the heads.
    water : Water
        What doses are in the bucket, and each garden's water.
    responses : dict
        What was found of each response, by its name.
    decision : Decision or None
        What to recommend; None where nothing can be.
    no_decision : str or None
        Why there is no decision.
    """

    schema: Literal["trialkit-results-2"]
    trial: About
    made_with: dict[str, str]
    inputs: tuple[InputFile, ...]
    seed: int
    confidence: float
    design: Design
    losses: Losses
    water: Water
    responses: dict[str, ResponseResult]
    decision: Decision | None
    no_decision: NoDecision | None
