"""When each head became ready, as far as the visits tell: after one day and by another."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.domain.heads import is_harvested

FloatArray = NDArray[np.float64]


def ripening(heads: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    """Bounds of the days from transplanting to ready.

    A head cut at one visit became ready after the one before, at which it was seen not ready; where nobody wrote down
    that day, the garden's last visit before the cut is taken, and where none is recorded the day of the cut itself. A
    head not ready at the end became ready after it was last seen, or after the garden's last visit. Heads that died,
    bolted or went missing have no such day and are left out, and so is one whose last sight nobody knows.

    Parameters
    ----------
    heads : pandas.DataFrame
        One row a recorded head: ``site``, ``outcome``, ``transplanted_on``, ``harvested_on``, ``last_not_ready_on``.
    visits : pandas.DataFrame
        ``site`` and ``visited_on``.

    Returns
    -------
    pandas.DataFrame
        The rows of heads that have bounds, with ``lower`` and ``upper`` in days; equal where the day is known,
        ``upper`` infinite where the head was never seen ready.
    """
    kept = heads[heads["outcome"].isin(["harvested", "not_ready"])].copy()
    cut = is_harvested(kept).to_numpy()
    planted = kept["transplanted_on"]
    upper = (kept["harvested_on"] - planted).dt.days.to_numpy(float)
    seen = (kept["last_not_ready_on"] - planted).dt.days.to_numpy(float)
    before = _visit_before(kept, visits)
    lower = np.where(np.isnan(seen), before, seen)
    lower = np.where(cut & (np.isnan(lower) | (lower > upper)), upper, lower)
    kept["lower"], kept["upper"] = lower, np.where(cut, upper, np.inf)
    return kept[np.isfinite(lower) & (np.isfinite(upper) | ~cut)]


def _visit_before(heads: pd.DataFrame, visits: pd.DataFrame) -> FloatArray:
    """Days to each head's garden's last visit before it was cut, or at all; missing where there was none."""
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
        known = here[at >= 0]
        gap = (days[at[at >= 0]] - planted[known]).astype(float)
        found[known] = np.where(gap >= 0, gap, np.nan)
    return found
