"""What the doses are in the bucket, and what the records say about each garden's water."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby
from math import isnan, nan
from operator import itemgetter

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from trialkit.documents.ledger_entry import AcidTaken
from trialkit.documents.water import AcidReading, DoseStrength, PhClimb, RecordedWater, SiteWater
from trialkit.domain.ph_window import STRIP_STEP
from trialkit.rules.mixings import feed_of, mixings, predicted_ph, strength
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.solution.calibration import CONFIDENCE, FEWEST_READINGS, EffectiveAlkalinity, effective_alkalinity

METER_STEP = 0.1
CLIMBING = ("measured_on", "acid_tsp", "nutrient_tsp", "ph_before", "ph_after")


def water_of(trial: CheckedTrial) -> RecordedWater:
    """Work out doses and waters of a checked trial; parts that records or products do not tell are empty."""
    read = _read_mixings(trial)
    fitted = {str(site): _fit(group) for site, group in read.groupby("site", sort=True)}
    stated = trial.sites.drop_duplicates("site").set_index("site")["alkalinity_mg_l_caco3"]
    feed = feed_of(trial.protocol, trial.products)
    return RecordedWater(
        product=feed.name if feed else None,
        doses=tuple(_doses(trial)),
        sites=tuple(_site(site, stated.get(site, np.nan), found) for site, found in fitted.items()),
        readings=tuple(_readings(read, fitted)),
        climbs=tuple(ph_climbs(trial.solution, trial.layout)),
    )


def ph_climbs(solution: pd.DataFrame, layout: pd.DataFrame) -> Iterator[PhClimb]:
    """Fit how fast pH came back in each garden: of each bucket its climb over the days that it took, then their mean.

    A climb begins with the pH after acid and ends with the next reading: the pH before anything was added that day, or,
    of a day on which nothing was, the only one that was written down. What is read after it begins the next climb.
    """
    gardens = dict(zip(layout["bucket"], layout["site"], strict=True))
    climbs: dict[str, dict[str, list[tuple[float, float]]]] = {}
    read = solution.sort_values(["bucket", "measured_on"])[["bucket", *CLIMBING]]
    for bucket, rows in groupby(zip(*(read[column].tolist() for column in read), strict=True), itemgetter(0)):
        last: tuple[pd.Timestamp, float] | None = None
        for _, day, acid, nutrient, ph_before, ph_after in rows:
            untouched = not (acid > 0 or nutrient > 0)
            before = ph_after if untouched and isnan(ph_before) else ph_before
            if last is not None and not isnan(before) and day > last[0]:
                of_garden = climbs.setdefault(str(gardens[bucket]), {})
                of_garden.setdefault(str(bucket), []).append((before - last[1], float((day - last[0]).days)))
            after = ph_after if not isnan(ph_after) else before if untouched else nan
            if acid > 0 or last is not None:
                last = None if isnan(after) else (day, after)
    for site, buckets in sorted(climbs.items()):
        rates = np.array([sum(rise for rise, _ in told) / sum(days for _, days in told) for told in buckets.values()])
        days = [days for told in buckets.values() for _, days in told]
        half = None
        if len(rates) >= FEWEST_READINGS:
            half = float(stdtrit(len(rates) - 1, (1 + CONFIDENCE) / 2) * rates.std(ddof=1) / np.sqrt(len(rates)))
        mean = float(rates.mean())
        limits = (None, None) if half is None else (mean - half, mean + half)
        yield PhClimb(site, len(rates), len(days), float(np.mean(days)), mean, *limits)


def _read_mixings(trial: CheckedTrial) -> pd.DataFrame:
    """First mixings whose pH was read before and after a known amount of acid."""
    mixed = mixings(trial.protocol, trial.products, trial.sites, trial.layout, trial.solution)
    return mixed[mixed["ph_after"].notna() & mixed["ph_start"].notna() & mixed["acid_mol_l"].notna()]


def acid_taken(trial: CheckedTrial) -> Iterator[AcidTaken]:
    """What each garden's water took of each acid, beside what chemistry foresees of the stated alkalinity."""
    read = _read_mixings(trial)
    for (_, acidifier), group in read[read["water_alkalinity"] > 0].groupby(["site", "acidifier"], sort=True):
        found, stated = _fit(group), float(group["water_alkalinity"].iloc[0])
        if found is not None and not found.bounded:
            ratios = (value / stated for value in (found.value, found.lower, found.upper))
            yield AcidTaken(str(acidifier), found.readings, *ratios)


def alkalinity_by_readings(water: RecordedWater) -> dict[str, float]:
    """Alkalinity of each garden whose readings tell it, mg/L as calcium carbonate."""
    return {one.site: one.effective for one in water.sites if one.effective is not None and not one.bounded}


def _doses(trial: CheckedTrial) -> Iterator[DoseStrength]:
    feed, factor = feed_of(trial.protocol, trial.products), trial.protocol.factors.get("dose")
    if feed is None or factor is None:
        return
    volume = trial.protocol.bucket.volume_l
    known = trial.counting_sites["alkalinity_mg_l_caco3"].dropna()
    alkalinity = float(known.median()) if len(known) else 0.0
    for level in factor.levels:
        dose = float(level)
        elements = feed.elements_mg_l(dose, volume)
        ec = strength(feed, dose, volume, alkalinity, {}).value
        yield DoseStrength(dose, dose * feed.base.grams_per_tsp, elements.get("N", 0.0), elements, ec)


def _fit(group: pd.DataFrame) -> EffectiveAlkalinity | None:
    """Estimate a garden's alkalinity from the buckets that got acid; None where these are too few."""
    acid = group[group["acid_mol_l"] > 0]
    if len(acid) < FEWEST_READINGS:
        return None
    return effective_alkalinity(
        acid["acid"].tolist(),
        acid["acid_mol_l"].to_numpy(dtype=float),
        acid["ph_start"].to_numpy(dtype=float),
        acid["ph_after"].to_numpy(dtype=float),
        phosphate_mol_l=acid["phosphate_mol_l"].to_numpy(dtype=float),
        strip_step=_step(acid["ph_after"]),
    )


def _step(readings: pd.Series) -> float:
    """Tell a strip, which shows halves, from a meter."""
    return STRIP_STEP if ((2 * readings) % 1 == 0).all() else METER_STEP


def _site(site: str, stated: float, found: EffectiveAlkalinity | None) -> SiteWater:
    known = float(stated) if np.isfinite(stated) else None
    if found is None:
        return SiteWater(site, known, None, None, None, None, 0, False, "too_few_readings")
    return SiteWater(
        site, known, found.value, found.lower, found.upper, found.scatter_ph, found.readings, found.bounded, None
    )


def _readings(read: pd.DataFrame, fitted: dict[str, EffectiveAlkalinity | None]) -> Iterator[AcidReading]:
    values = {site: found.value for site, found in fitted.items() if found}
    foreseen = predicted_ph(read, read["water_alkalinity"])
    effective = predicted_ph(read, read["site"].map(values).astype(float))
    for (site, acidifier), group in read.groupby(["site", "acidifier"], sort=True):
        yield AcidReading(
            str(site),
            str(acidifier),
            len(group),
            float(group["ph_after"].mean()),
            _mean(foreseen[group.index]),
            _mean(effective[group.index]),
        )


def _mean(values: pd.Series) -> float | None:
    return float(values.mean()) if values.notna().all() else None
