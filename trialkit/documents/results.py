"""The whole document that an analysis writes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trialkit.documents.findings import Decision, Losses, NoDecision, ResponseResult
from trialkit.documents.water import Water
from trialkit.domain.treatment import Level


@dataclass(frozen=True)
class About:
    """The trial in the adviser's words."""

    id: str
    title: str
    question: str
    season: str
    started_on: str | None
    contact_role: str


@dataclass(frozen=True)
class InputFile:
    """A file that the analysis read, with its SHA-256 digest."""

    file: str
    sha256: str


@dataclass(frozen=True)
class Site:
    """A garden that took part."""

    site: str
    name: str | None
    kind: str | None
    water_source: str | None
    alkalinity_mg_l_caco3: float | None
    sun_hours: float | None


@dataclass(frozen=True)
class VariedFactor:
    """A treatment factor with two levels or more."""

    name: str
    column: str
    label: str
    unit: str | None
    levels: tuple[Level, ...]
    product: str | None


@dataclass(frozen=True)
class FixedFactor:
    """A treatment factor that was the same in every bucket."""

    name: str
    label: str
    level: Level
    product: str | None


@dataclass(frozen=True)
class AcidUsed:
    """What was recorded of one acidifier at one garden: median teaspoons a bucket and median pH after mixing.

    `powder_g_per_tsp` is what a level teaspoon of a powder weighs; None for liquids. Powders are dissolved before use.
    """

    site: str
    acidifier: str
    buckets: int
    acid_tsp: float | None
    powder_g_per_tsp: float | None
    ph_after: float | None


@dataclass(frozen=True)
class Design:
    """What was planned and how it was randomised."""

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
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Results:
    """Everything a trial has to say; `no_decision` says why there is no decision, where there is none."""

    schema: Literal["trialkit-results-1"]
    trial: About
    made_with: dict[str, str]
    inputs: tuple[InputFile, ...]
    seed: int
    design: Design
    losses: Losses
    water: Water
    responses: dict[str, ResponseResult]
    decision: Decision | None
    no_decision: NoDecision | None
