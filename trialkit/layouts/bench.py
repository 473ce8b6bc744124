"""Where each bucket stands on its bench: its row and column, and its neighbours.

Keeping the buckets of a treatment apart is a restricted randomisation: layouts are drawn anew, by the same draw, until
no two buckets of a treatment stand side by side. The rule does not name a treatment, so every treatment remains equally
likely at every place, every two treatments at every two places, and estimated differences remain unbiased. Neighbouring
places, though, now never share a treatment; where neighbours are alike the estimated error is then, if anything, too
large, as in systematic layouts (Yates 1948, *Phil. Trans. R. Soc. A* 241:345-377; Grundy & Healy 1950, *J. R. Stat.
Soc. B* 12:286-291; Bailey 1987, *J. Am. Stat. Assoc.* 82:712-719, on when restriction is wholly valid; all from
memory). The analysis stands, a little on the cautious side.
"""

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray

MOST_DRAWS = 5_000
FEWEST_KEPT_APART = 3
"""Two treatments kept apart could only alternate."""


def bench_places(buckets: pd.DataFrame, bench_columns: int | None = None) -> tuple[IntArray, IntArray]:
    """Return the row and the column of each bucket of one site, counted from 1; each of shape (buckets,).

    A layout's own rows and columns count where it has them, its rectangles one below the other; volunteers have a row
    each; else positions run along the rows of the bench.
    """
    if "volunteer" in buckets.columns and buckets["volunteer"].notna().all() and len(buckets):
        along = buckets.groupby("volunteer").cumcount().to_numpy(dtype=np.intp) + 1
        return buckets["volunteer"].to_numpy(dtype=np.intp), along
    if {"row", "column"} <= set(buckets.columns) and buckets["row"].notna().all() and len(buckets):
        row, column = (buckets[name].to_numpy(dtype=np.intp) for name in ("row", "column"))
        return (buckets["block"].to_numpy(dtype=np.intp) - 1) * int(row.max()) + row, column
    place = buckets["position"].to_numpy(dtype=np.intp) - 1
    width = bench_columns or int(place.max(initial=0)) + 1
    return place // width + 1, place % width + 1


def clumped(treatment: IntArray, row: IntArray, column: IntArray) -> bool:
    """Tell whether two buckets of a treatment stand side by side, along a row or a column."""
    grid = np.full((int(row.max()) + 2, int(column.max()) + 2), -1)
    grid[row, column] = treatment
    along = (grid[:, 1:] == grid[:, :-1]) & (grid[:, 1:] >= 0)
    across = (grid[1:] == grid[:-1]) & (grid[1:] >= 0)
    return bool(along.any() or across.any())
