"""Chemistry of a trial's records: doses as the plant meets them, and each garden's water."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class DoseStrength:
    """A dose as the plant meets it, by the label and the weight of a level teaspoon.

    Attributes
    ----------
    dose_tsp : float
        Level teaspoons a bucket.
    grams : float
        What that weighs.
    n_mg_l : float
        Nitrogen that it adds to a full bucket, mg/L.
    elements_mg_l : dict
        Every element that it adds, mg/L.
    ec_ms_cm : float
        Conductivity with that of the water, mS/cm, about.
    """

    dose_tsp: float
    grams: float
    n_mg_l: float
    elements_mg_l: dict[str, float]
    ec_ms_cm: float


@dataclass(frozen=True)
class SiteWater:
    """A garden's alkalinity, mg/L as calcium carbonate: as stated, and as its own readings of pH say.

    Attributes
    ----------
    site : str
        The garden.
    stated : float or None
        In sites.csv.
    effective : float or None
        By pH before and after acid; None without enough readings.
    lower : float or None
        Lower limit of that, at 95 %.
    upper : float or None
        Upper limit of that, at 95 %.
    scatter_ph : float or None
        Standard deviation of readings about what is foreseen, beyond the strip's steps.
    readings : int
        That the estimate rests on.
    bounded : bool
        Whether the interval ends where the search did.
    not_estimated : str or None
        Why there is no estimate.
    """

    site: str
    stated: float | None
    effective: float | None
    lower: float | None
    upper: float | None
    scatter_ph: float | None
    readings: int
    bounded: bool
    not_estimated: Literal["too_few_readings"] | None


@dataclass(frozen=True)
class AcidReading:
    """pH after mixing of one acidifier at one garden: means of what was read and of what is foreseen.

    Attributes
    ----------
    site : str
        The garden.
    acidifier : str
        Its name.
    buckets : int
        That were read.
    recorded : float
        Mean of the readings.
    foreseen : float or None
        By the stated alkalinity.
    fitted : float or None
        By the effective alkalinity.
    """

    site: str
    acidifier: str
    buckets: int
    recorded: float
    foreseen: float | None
    fitted: float | None


@dataclass(frozen=True)
class Water:
    """Chemistry of a trial's records.

    Attributes
    ----------
    product : str or None
        Nutrient that the doses are of.
    doses : tuple of DoseStrength
        Every dose of the protocol.
    sites : tuple of SiteWater
        Every garden with readings.
    readings : tuple of AcidReading
        Of each acidifier at each garden.
    """

    product: str | None
    doses: tuple[DoseStrength, ...]
    sites: tuple[SiteWater, ...]
    readings: tuple[AcidReading, ...]
