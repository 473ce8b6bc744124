"""A trial small enough to check by hand, for the examples of this package."""

from __future__ import annotations

import numpy as np
import pandas as pd


def small_trial() -> pd.DataFrame:
    """Three doses in four blocks, one bucket each: invented weights, in grams.

    The doses' means are 92, 100 and 102, the blocks stand -4, -2, 2 and 4 from the mean, and what is left has mean
    square 24 / 6 = 4. The mean square of blocks is 3 (16 + 4 + 4 + 16) / 3 = 40, so that the variance between blocks
    is (40 - 4) / 3 = 12 and that of the residual 4; F for dose is 112 / 4 = 28.

    Returns
    -------
    pandas.DataFrame
        Twelve rows; columns dose (text, level teaspoons a bucket), dose_tsp (the same as a number), block, weight_g.

    Examples
    --------
    >>> small_trial().pivot(index="dose", columns="block", values="weight_g")
    block   1    2    3    4
    dose
    2      90   88   95   95
    4      95   99  100  106
    6      97  101  105  105
    """
    dose = np.tile([2, 4, 6], 4)
    return pd.DataFrame(
        {
            "dose": dose.astype(str),
            "dose_tsp": dose.astype(float),
            "block": np.repeat(["1", "2", "3", "4"], 3),
            "weight_g": np.array([90, 95, 97, 88, 99, 101, 95, 100, 105, 95, 106, 105]),
        }
    )


def small_counts() -> pd.DataFrame:
    """Heads lost in a trial of the same layout, with eight heads a bucket: invented counts.

    Returns
    -------
    pandas.DataFrame
        Twelve rows; columns dose (text, level teaspoons a bucket), dose_tsp (the same as a number), block, heads, lost.

    Examples
    --------
    >>> small_counts().pivot(index="dose", columns="block", values="lost")
    block  1  2  3  4
    dose
    2      6  3  4  1
    4      4  1  3  1
    6      3  1  2  0
    """
    counts = small_trial().drop(columns="weight_g")
    return counts.assign(heads=8, lost=np.array([6, 4, 3, 3, 1, 1, 4, 3, 2, 1, 1, 0]))
