"""What a plan says of a trial before it is run."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal

from trialkit.domain.treatment import Treatment


@dataclass(frozen=True)
class Event:
    """Something that is due.

    Attributes
    ----------
    id : str
        Short and unique in its trial, such as ``"visit-3"``.
    day : int
        Days after sowing.
    on : date or None
        Day of the calendar; None where the protocol gives no day of sowing.
    title, detail : str
        What to do, in a few words and in a sentence.
    """

    id: str
    day: int
    on: datetime.date | None
    title: str
    detail: str


@dataclass(frozen=True)
class Item:
    """Something to buy or to fetch.

    Attributes
    ----------
    name : str
    quantity : float
        In `unit`.
    unit : str
    cost : float or None
        In the protocol's currency; None where there is no price.
    note : str
        How the quantity was reckoned.
    """

    name: str
    quantity: float
    unit: str
    cost: float | None
    note: str


@dataclass(frozen=True)
class EffectRow:
    """An effect of the factors: chance of finding the margin, and what is found with the power wanted."""

    effect: str
    numerator_df: int
    denominator_df: float
    power: float
    detectable_g: float
    method: str


@dataclass(frozen=True)
class DifferenceRow:
    """The treatment that is compared least well with the current practice."""

    treatment: dict[str, str]
    standard_error_g: float
    df: float
    power: float
    detectable_g: float
    half_width_g: float
    method: str
    monte_carlo_se: float


@dataclass(frozen=True)
class DoseRow:
    """How closely the recommended dose would be known, and on what curve that rests."""

    recommended_tsp: float
    half_width_tsp: float
    gain_g: float
    share_of_gain: float
    curve_told: bool


@dataclass(frozen=True)
class SizeRow:
    """A size of trial: what it takes and what it can tell; None and a reason where it cannot be analysed."""

    sites: int
    blocks: int
    heads: int
    buckets: int
    cost: float
    power: float | None
    detectable_g: float | None
    half_width_g: float | None
    dose_half_width_tsp: float | None
    monte_carlo_se: float
    refused: str
    is_asked: bool


@dataclass(frozen=True)
class SensitivityRow:
    """What the trial can tell where a variance is half or double what was assumed."""

    changed: str
    factor: float
    power: float
    detectable_g: float


@dataclass(frozen=True)
class Curve:
    """Chance of finding a difference from the current practice, by its size."""

    label: str
    differences_g: tuple[float, ...]
    power: tuple[float, ...]


@dataclass(frozen=True)
class Spread:
    """An assumed standard deviation."""

    label: str
    sd_g: float


@dataclass(frozen=True)
class Place:
    """A bucket on the bench."""

    bucket: str
    treatment: Treatment
    block: int
    row: int
    column: int


@dataclass(frozen=True)
class Bench:
    """A garden's bench."""

    site: str
    name: str
    rows: int
    columns: int
    places: tuple[Place, ...]


@dataclass(frozen=True)
class Plan:
    """Everything that a plan says."""

    schema: Literal["trialkit-plan-1"]
    id: str
    title: str
    question: str
    season: str
    kind: str
    seed: int
    sites: int
    blocks: int
    heads_per_bucket: int
    buckets: int
    heads: int
    treatments: int
    practice: Treatment
    margin_g: float
    level: float
    power_wanted: float
    efficiency: float
    source: str
    spreads: tuple[Spread, ...]
    effects: tuple[EffectRow, ...]
    difference: DifferenceRow
    dose: DoseRow | None
    uncounted: tuple[str, ...]
    replicates: int
    failed: int
    advice: tuple[str, ...]
    larger: tuple[str, ...]
    sizes: tuple[SizeRow, ...]
    sensitivity: tuple[SensitivityRow, ...]
    curves: tuple[Curve, ...]
    warnings: tuple[str, ...]
    benches: tuple[Bench, ...]
    calendar: tuple[Event, ...]
    shopping: tuple[Item, ...]
    cost: float
