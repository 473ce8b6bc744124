"""Chemistry of a trial's records: doses as the plant meets them, and each garden's water."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class DoseStrength:
    """A dose as the plant meets it: what nutrient adds to the water of a bucket, and its conductivity with it."""

    dose_tsp: float
    grams: float
    n_mg_l: float
    elements_mg_l: dict[str, float]
    ec_ms_cm: float


@dataclass(frozen=True)
class SiteWater:
    """A garden's alkalinity, mg/L as calcium carbonate: as stated, and as its own readings of pH say.

    `lower` and `upper` are a 95 % interval; `bounded` is whether it ends where the search did. Without enough readings
    the effective alkalinity is None, and `reason` says why.
    """

    site: str
    stated: float | None
    effective: float | None
    lower: float | None
    upper: float | None
    scatter_ph: float | None
    readings: int
    bounded: bool
    reason: str | None


@dataclass(frozen=True)
class AcidReading:
    """pH after mixing of one acidifier at one garden: means of what was read and of what is foreseen.

    `foreseen` is by the stated alkalinity, `fitted` by the effective one.
    """

    site: str
    acidifier: str
    buckets: int
    recorded: float
    foreseen: float | None
    fitted: float | None


@dataclass(frozen=True)
class Water:
    """Chemistry of a trial's records."""

    product: str | None
    doses: tuple[DoseStrength, ...]
    sites: tuple[SiteWater, ...]
    readings: tuple[AcidReading, ...]
