"""The whole document that an analysis writes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Literal

import numpy as np

from trialkit.analysis.answer import Decision, Level, Losses, ResponseResult
from trialkit.analysis.water import Water

SIGNIFICANT_DIGITS = 12


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
    no_decision: str | None

    def as_document(self) -> dict[str, Any]:
        """Return plain JSON data: numbers to 12 significant digits, missing ones null."""
        document = plain(self)
        assert isinstance(document, dict)
        return document


def plain(value: Any) -> Any:
    """Return plain JSON data of what dataclasses hold: numbers to 12 significant digits, missing ones None."""
    if is_dataclass(value):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return float(f"{value:.{SIGNIFICANT_DIGITS}g}") if math.isfinite(value) else None
    return value
