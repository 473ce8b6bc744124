"""Days to harvest on the clock of the plants: growing degree days from transplanting."""

from __future__ import annotations

from typing import Final

import numpy as np
import pandas as pd

from trialkit.domain.thresholds import DEGREE_DAY_BASE_C

DEGREE_DAYS: Final = "degree_days"


def growing_degree_days(t_min_c: pd.Series, t_max_c: pd.Series, base_c: float = DEGREE_DAY_BASE_C) -> pd.Series:
    """Degree days of each day: the mean of highest and lowest less the base, never below nil.

    McMaster & Wilhelm (1997), Agric. For. Meteorol. 87, 291-300, method 1.

    Parameters
    ----------
    t_min_c, t_max_c : pandas.Series
        Degrees Celsius.
    base_c : float
        Degrees Celsius.

    Examples
    --------
    >>> growing_degree_days(pd.Series([8.0, 0.0]), pd.Series([20.0, 6.0])).to_list()
    [10.0, 0.0]
    """
    return ((t_min_c + t_max_c) / 2 - base_c).clip(lower=0.0)


def ripening_in_degree_days(days: pd.DataFrame, weather: pd.DataFrame) -> pd.DataFrame:
    """Put bounds in degree days since transplanting, from the day after it to the day itself.

    Parameters
    ----------
    days : pandas.DataFrame
        As `trialkit.analysis.ripening.ripening` gives it: ``site``, ``transplanted_on``, ``lower`` and ``upper``, days.
    weather : pandas.DataFrame
        ``site``, ``measured_on``, ``t_min_c``, ``t_max_c``.

    Returns
    -------
    pandas.DataFrame
        The rows whose garden has the weather of every day from transplanting to the later bound, with ``lower`` and
        ``upper`` in degree days.
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
