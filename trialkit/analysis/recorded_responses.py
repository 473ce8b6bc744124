"""What is analysed of the records: the weight that a bucket gives, and when each head became ready."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

import numpy as np
import pandas as pd

from trialkit.documents.findings import Note
from trialkit.domain.arrays import FloatArray
from trialkit.domain.heads import is_harvested, is_recorded, is_usable
from trialkit.domain.thresholds import DEGREE_DAY_BASE_C

YIELD: Final = "bucket_weight_g"
DEGREE_DAYS: Final = "degree_days"


@dataclass(frozen=True)
class Yields:
    """Marketable weight of every bucket that has a record."""

    buckets: Annotated[
        pd.DataFrame, "One row a bucket: the columns of the layout, ``recorded`` heads and ``bucket_weight_g``."
    ]
    scaled: Annotated[
        int,
        "Buckets of which some heads have no record: their weight is that of the recorded heads, for the full number.",
    ]
    unknown: Annotated[int, "Buckets left out because no marketable head of theirs was weighed."]
    failed: Annotated[
        tuple[str, ...],
        "Gardens left out because nothing was marketable there: they say nothing of how treatments differ.",
    ]

    @property
    def notes(self) -> tuple[Note, ...]:
        """What the adviser should know of incomplete records."""
        notes = [Note("heads_unrecorded", self.scaled)] if self.scaled else []
        notes += [Note("heads_unweighed", self.unknown)] if self.unknown else []
        return (*notes, *(Note("garden_failed", site=site) for site in self.failed))


def bucket_yields(layout: pd.DataFrame, heads: pd.DataFrame, heads_per_bucket: int) -> Yields:
    """Add up the marketable weight of each bucket.

    Heads that were lost, not ready at the end or not marketable count as nothing; a harvested head of which nobody said
    whether it was marketable counts, and one that nobody weighed as much as the others of its bucket. A bucket without
    any record is left out, and one of which some heads have none is scaled up to the full number. A garden where
    nothing was marketable is left out: its buckets all weigh the same.

    The layout has a row a bucket with its ``site``, `heads` a row a head: ``bucket``, ``outcome``, ``weight_g`` and
    ``marketable``.
    """
    recorded = heads[is_recorded(heads)]
    usable = is_usable(recorded)
    counted = recorded.assign(usable=usable, counted_g=recorded["weight_g"].where(usable))
    known = counted.groupby("bucket", observed=True).agg(
        recorded=("usable", "size"),
        usable=("usable", "sum"),
        weighed=("counted_g", "count"),
        counted_g=("counted_g", "sum"),
    )
    unknown = (known["usable"] > 0) & (known["weighed"] == 0)
    complete = known[~unknown]
    for_all = (complete["usable"] / complete["weighed"]).where(complete["usable"] > 0, 1.0)
    total = complete["counted_g"] * for_all * heads_per_bucket / complete["recorded"]
    buckets = layout.merge(
        complete.assign(**{YIELD: total})[["recorded", YIELD]], left_on="bucket", right_index=True, how="inner"
    ).reset_index(drop=True)
    best = buckets.groupby("site", observed=True)[YIELD].max()
    failed = tuple(sorted(str(site) for site in best[best == 0].index))
    kept = buckets[~buckets["site"].isin(failed)].reset_index(drop=True)
    return Yields(kept, int((kept["recorded"] < heads_per_bucket).sum()), int(unknown.sum()), failed)


def ripening(heads: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Bounds of the days from transplanting to ready.

    A head cut at one visit became ready after the one before, at which it was seen not ready; where nobody wrote down
    that day, the garden's last visit before the cut is taken. Where the garden has visits on record but none from
    transplanting to the cut, the head is only known to have been ready by then. Where the garden has none on record,
    nothing says how often it was looked at, and the day of the cut is taken as the day itself. A head not ready at the
    end became ready after it was last seen, or after the garden's last visit. Heads that were lost or have no record
    have no such day and are left out, and so is one whose last sight nobody knows.

    Heads have ``site``, ``outcome``, ``transplanted_on``, ``harvested_on``, ``last_not_ready_on``; visits ``site`` and
    ``visited_on``. Given back are the rows of heads that have bounds, with ``lower`` and ``upper`` in days; equal where
    the day is known, ``lower`` infinite where the head was ready when first seen, ``upper`` where it was never seen so.
    """
    kept = heads[is_harvested(heads) | (heads["outcome"] == "not_ready")].copy()
    cut = is_harvested(kept).to_numpy()
    planted = kept["transplanted_on"]
    upper = (kept["harvested_on"] - planted).dt.days.to_numpy(float)
    seen = (kept["last_not_ready_on"] - planted).dt.days.to_numpy(float)
    before = _visit_before(kept, visits)
    lower = np.where(np.isnan(seen), before, seen)
    lower = np.where(cut & (np.isnan(lower) | (lower > upper)), upper, lower)
    kept["lower"], kept["upper"] = lower, np.where(cut, upper, np.inf)
    return kept[np.isfinite(np.where(cut, upper, lower))]


def _visit_before(heads: pd.DataFrame, visits: pd.DataFrame) -> FloatArray:
    """Days to each head's garden's last visit before it was cut, or at all; missing where it has no visits.

    Where none lies between transplanting and the cut, minus infinity.
    """
    by_site = {
        site: np.sort(days["visited_on"].to_numpy("datetime64[D]"))
        for site, days in visits.dropna(subset="visited_on").groupby("site", observed=True)
    }
    found = np.full(len(heads), np.nan)
    planted = heads["transplanted_on"].to_numpy("datetime64[D]")
    cut = heads["harvested_on"].to_numpy("datetime64[D]")
    for site, days in by_site.items():
        here = np.flatnonzero((heads["site"] == site).to_numpy())
        at = np.where(np.isnat(cut[here]), len(days), np.searchsorted(days, cut[here])) - 1
        gap = (days[at] - planted[here]).astype(float)
        found[here] = np.where((at >= 0) & (gap >= 0), gap, -np.inf)
    return found


def growing_degree_days(t_min_c: pd.Series, t_max_c: pd.Series) -> pd.Series:
    """Degree days of each day: the mean of highest and lowest less the base, never below nil.

    McMaster & Wilhelm (1997), Agric. For. Meteorol. 87, 291-300, method 1.

    Examples
    --------
    >>> growing_degree_days(pd.Series([8.0, 0.0]), pd.Series([20.0, 6.0])).to_list()
    [10.0, 0.0]
    """
    return ((t_min_c + t_max_c) / 2 - DEGREE_DAY_BASE_C).clip(lower=0.0)


def ripening_in_degree_days(days: pd.DataFrame, weather: pd.DataFrame) -> pd.DataFrame:
    """Put bounds in degree days since transplanting, from the day after it to the day itself.

    Days are as `ripening` gives them, and open bounds stay open; the weather has ``site``, ``measured_on``,
    ``t_min_c``, ``t_max_c``. Given back are the rows whose garden has the weather of every day from transplanting to
    the last bound that is not open.
    """
    kept = days.copy()
    for name in ("lower", "upper"):
        kept[name] = np.where(np.isinf(days[name]), days[name], _sums(days, days[name], weather))
    return kept[kept["lower"].notna() & kept["upper"].notna()]


def _sums(days: pd.DataFrame, until: pd.Series, weather: pd.DataFrame) -> np.ndarray:
    """Degree days up to so many days after transplanting; missing where a day's weather is."""
    found = np.full(len(days), np.nan)
    planted, finite = days["transplanted_on"].to_numpy("datetime64[D]"), np.isfinite(until.to_numpy(float))
    for site, rows in weather.groupby("site", observed=True):
        by_day = rows.assign(gain=growing_degree_days(rows["t_min_c"], rows["t_max_c"])).set_index("measured_on")[
            "gain"
        ]
        every = by_day.reindex(pd.date_range(by_day.index.min(), by_day.index.max()))
        total, known = every.fillna(0.0).cumsum().to_numpy(float), every.notna().cumsum().to_numpy()
        first = every.index[0].to_datetime64().astype("datetime64[D]")
        here = np.flatnonzero((days["site"] == site).to_numpy() & finite)
        start = (planted[here] - first).astype(int)
        end = start + until.to_numpy(float)[here].astype(int)
        inside = (start >= 0) & (end < len(total))
        here, start, end = here[inside], start[inside], end[inside]
        complete = known[end] - known[start] == end - start
        found[here[complete]] = (total[end] - total[start])[complete]
    return found
