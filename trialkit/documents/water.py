"""Chemistry of a trial's records: doses as the plant meets them, and each garden's water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal


@dataclass(frozen=True)
class DoseStrength:
    """A dose as the plant meets it, by the label and the weight of a level teaspoon."""

    dose_tsp: Annotated[float, "Level teaspoons a bucket."]
    grams: Annotated[float, "What that weighs, of the base."]
    n_mg_l: Annotated[float, "Nitrogen that it adds to a full bucket, mg/L."]
    elements_mg_l: Annotated[dict[str, float], "Every element that it adds with the feed's parts, mg/L."]
    ec_ms_cm: Annotated[float, "Conductivity with that of the water, mS/cm, about."]


@dataclass(frozen=True)
class SiteWater:
    """A garden's alkalinity, mg/L as calcium carbonate: as stated, and as its own readings of pH say."""

    site: Annotated[str, "The garden."]
    stated: Annotated[float | None, "In sites.csv."]
    effective: Annotated[float | None, "By pH before and after acid; None without enough readings."]
    lower: Annotated[float | None, "Lower limit of that, at 95 %."]
    upper: Annotated[float | None, "Upper limit of that, at 95 %."]
    scatter_ph: Annotated[
        float | None, "Standard deviation of readings about what is foreseen, beyond the strip's steps."
    ]
    readings: Annotated[int, "That the estimate rests on."]
    bounded: Annotated[bool, "Whether the interval ends where the search did."]
    not_estimated: Annotated[Literal["too_few_readings"] | None, "Why there is no estimate."]


@dataclass(frozen=True)
class AcidReading:
    """pH after mixing of one acidifier at one garden: means of what was read and of what is foreseen."""

    site: Annotated[str, "The garden."]
    acidifier: Annotated[str, "Its name."]
    buckets: Annotated[int, "That were read."]
    recorded: Annotated[float, "Mean of the readings."]
    foreseen: Annotated[float | None, "By the stated alkalinity."]
    fitted: Annotated[float | None, "By the effective alkalinity."]


@dataclass(frozen=True)
class PhClimb:
    """How fast the pH of a garden's buckets came back after acid, by later readings."""

    site: Annotated[str, "The garden."]
    buckets: Annotated[int, "Read again after acid."]
    readings: Annotated[int, "Later ones, each set beside the one before it."]
    days: Annotated[float, "Between a reading and the one before it, on average."]
    ph_per_day: Annotated[float, "Climb of pH a day, each bucket counting alike."]
    lower: Annotated[float | None, "Lower limit of that, at 95 %; None with fewer than three buckets."]
    upper: Annotated[float | None, "Upper limit."]


@dataclass(frozen=True)
class RecordedWater:
    """Chemistry of a trial's records."""

    product: Annotated[str | None, "Feed that the doses are of."]
    doses: Annotated[tuple[DoseStrength, ...], "Every dose of the protocol."]
    sites: Annotated[tuple[SiteWater, ...], "Every garden with readings."]
    readings: Annotated[tuple[AcidReading, ...], "Of each acidifier at each garden."]
    climbs: Annotated[tuple[PhClimb, ...], "Every garden in which buckets were read again after acid."]
