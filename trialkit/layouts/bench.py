"""Where each bucket stands on its bench: neighbours, edges, and the map as data for drawing.

Keeping the buckets of a treatment apart is a restricted randomisation: layouts are drawn anew, by the same draw, until
no two buckets of a treatment stand side by side. The rule does not name a treatment, so every treatment remains equally
likely at every place, every two treatments at every two places, and estimated differences remain unbiased. Neighbouring
places, though, now never share a treatment; where neighbours are alike the estimated error is then, if anything, too
large, as in systematic layouts (Yates 1948, *Phil. Trans. R. Soc. A* 241:345-377; Grundy & Healy 1950, *J. R. Stat.
Soc. B* 12:286-291; Bailey 1987, *J. Am. Stat. Assoc.* 82:712-719, on when restriction is wholly valid; all from
memory). The analysis stands, a little on the cautious side.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray
from trialkit.domain.errors import WrongCall

MOST_DRAWS = 5_000
FEWEST_KEPT_APART = 3
"""Two treatments kept apart could only alternate."""


@dataclass(frozen=True)
class BenchCell:
    """One place on a bench."""

    bucket: Annotated[str, "Identity; empty where the layout has none yet."]
    treatment: Annotated[dict[str, object], "Level of each factor by its column."]
    # Row and column count from 1 at the corner where positions begin.
    block: int
    row: int
    column: int
    edge: Annotated[bool, "Whether it stands at an end of the bench, or on the outside of a bench of several rows."]


@dataclass(frozen=True)
class BenchMap:
    """A site's bench, for drawing."""

    site: str
    rows: int
    columns: int
    cells: Annotated[tuple[BenchCell, ...], "In order of rows, then columns; a place may be empty."]


def bench_maps(layout: pd.DataFrame, factors: Sequence[str], bench_columns: int | None = None) -> tuple[BenchMap, ...]:
    """Return the map of every site's bench.

    Parameters
    ----------
    layout : pandas.DataFrame
        With site, block, position and, where the layout has them, row and column, or bucket.
    factors : sequence of str
        Columns of the treatment factors.
    bench_columns : int, optional
        Buckets side by side in a row; None for one long row. Rows and columns of the layout come before it.

    Returns
    -------
    tuple of BenchMap
        In order of the sites' names.
    """
    return tuple(
        _map_of(str(site), buckets, factors, bench_columns) for site, buckets in layout.groupby("site", sort=True)
    )


def _map_of(site: str, buckets: pd.DataFrame, factors: Sequence[str], bench_columns: int | None) -> BenchMap:
    row, column = bench_places(buckets, bench_columns)
    height, width = int(row.max()), int(column.max())
    outside = (column == 1) | (column == width) | ((height > 1) & ((row == 1) | (row == height)))
    identities = buckets["bucket"].tolist() if "bucket" in buckets else [""] * len(buckets)
    levels = buckets[list(factors)].to_dict("records")
    blocks = buckets["block"].tolist()
    cells = [
        BenchCell(str(identities[i]), levels[i], int(blocks[i]), int(row[i]), int(column[i]), bool(outside[i]))
        for i in np.lexsort([column, row])
    ]
    return BenchMap(site, height, width, tuple(cells))


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


def drawn_apart(draw: Callable[[], IntArray], bench_columns: int | None, *, keep_apart: bool) -> IntArray:
    """Draw the treatments of a site's bench, again and again until none is clumped if that is asked for.

    Raises
    ------
    WrongCall
        If no draw keeps treatments apart: with so few treatments little would be left to chance.
    """
    for _ in range(MOST_DRAWS if keep_apart else 1):
        treatment = draw()
        width = bench_columns or len(treatment)
        place = np.arange(len(treatment))
        if not keep_apart or not clumped(treatment, place // width, place % width):
            return treatment
    raise WrongCall(
        f"Treatments cannot be kept apart: none of {MOST_DRAWS} draws did. With so few treatments little would be left "
        "to chance; set layout.keep_apart to false."
    )
