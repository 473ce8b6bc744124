"""Layouts that take out a gradient two ways: Latin squares, and rows and columns that need not be squares.

Each rectangle of buckets is a block of its own; its rows and columns are strata. Fisher (1926), *J. Min. Agric.*
33:503-513, and Yates (1933), *Emp. J. Exp. Agric.* 1:235-244, for Latin squares; John & Williams (1995), *Cyclic and
Computer Generated Designs*, ch. 5, for rows and columns (from memory).
"""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.domain.errors import WrongCall
from trialkit.languages import translatable
from trialkit.layouts.bench import clumped
from trialkit.layouts.information import comparable_groups
from trialkit.layouts.interchange import Frame, information, search
from trialkit.layouts.latin_squares import random_latin_square
from trialkit.layouts.layout_options import LayoutOptions
from trialkit.layouts.placing import placed

SHUFFLES = 200


def latin_square(
    treatments: pd.DataFrame,
    sites: Sequence[str],
    blocks: int,
    rng: np.random.Generator,
    options: LayoutOptions,  # noqa: ARG001
) -> Iterator[pd.DataFrame]:
    """Lay out Latin squares: every treatment once in each row and each column.

    Each block is a square, with its row and column counted from 1; positions go row by row. No option counts: a Latin
    square keeps treatments apart by itself.
    """
    for site in sites:
        yield _rectangles(
            treatments, site, np.array([random_latin_square(len(treatments), rng) for _ in range(blocks)])
        )


def row_column(
    treatments: pd.DataFrame, sites: Sequence[str], blocks: int, rng: np.random.Generator, options: LayoutOptions
) -> Iterator[pd.DataFrame]:
    """Lay out rectangles of buckets that compare treatments within rows and columns as well as can be found.

    The treatments of all rectangles are chosen together by search, each as often in a rectangle as any other or once
    more; then treatments are given to their numbers, rectangles to sites, and rows and columns shuffled, at random. A
    garden that is added later is chosen given those that stand, which keep theirs.

    Each block is a rectangle, told as the squares of `latin_square` are. `rows` and `columns` of the options are
    needed; `keep_apart` counts.

    Raises
    ------
    WrongCall
        If the rectangles cannot compare all treatments; says what would do.
    """
    count, rows, columns = len(treatments), options.rows or 0, options.columns or 0
    if blocks * rows * columns < count:
        raise WrongCall(
            translatable("{buckets} buckets in a garden cannot hold {count} treatments. Add rows, columns or blocks."),
            buckets=blocks * rows * columns,
            count=count,
        )
    chosen = _chosen(count, (len(sites), blocks, rows, columns), rng, options.standing)
    names = rng.permutation(count) if options.standing is None else np.arange(count)
    named = names[chosen[rng.permutation(len(sites))]]
    for site, held in zip(sites, named, strict=True):
        yield _rectangles(treatments, site, np.array([_shuffled(grid, rng, options) for grid in rng.permutation(held)]))


def fewest_rectangles(treatments: int, rows: int, columns: int) -> int:
    """Return how many rectangles it takes at least to compare all treatments: what rows and columns leave counts."""
    return -(-(treatments - 1) // ((rows - 1) * (columns - 1)))


def _chosen(
    count: int, shape: tuple[int, int, int, int], rng: np.random.Generator, standing: FloatArray | None
) -> IntArray:
    """Choose treatments, by number, for every bucket; of the given shape (sites, blocks, rows, columns)."""
    sites, blocks, rows, columns = shape
    needed = fewest_rectangles(count, rows, columns)
    if standing is None and sites * blocks < needed:
        raise WrongCall(
            translatable(
                "{blocks} x {rows} rows x {columns} columns cannot compare {count} treatments once rows and columns "
                "are taken out. That takes {needed}: add rows, columns, blocks or gardens."
            ),
            blocks=sites * blocks,
            rows=rows,
            columns=columns,
            count=count,
            needed=needed,
        )
    frame = rectangle_frame(*shape, standing)
    start = np.arange(len(frame.groups)) % count
    if standing is not None:
        start = rng.permutation(count)[start]
    found = search(count, frame, rng, start=start)
    if len(comparable_groups(information(found, count, frame))) > 1:
        raise WrongCall(
            translatable(
                "No such layout was found that compares all {count} treatments within rows and columns: add rows, "
                "columns, blocks or gardens."
            ),
            count=count,
        )
    return found.reshape(shape)


def rectangle_frame(sites: int, blocks: int, rows: int, columns: int, standing: FloatArray | None = None) -> Frame:
    """Return the frame of a search in rectangles: rows and columns are eliminated, replication is even in each."""
    rectangle, row, column = (axis.ravel() for axis in np.indices((sites * blocks, rows, columns)))
    systems = (
        (rectangle * rows + row, 1 / columns),
        (rectangle * columns + column, 1 / rows),
        (rectangle, -1 / (rows * columns)),
    )
    return Frame(rectangle, systems, standing=standing)


def _shuffled(grid: IntArray, rng: np.random.Generator, options: LayoutOptions) -> IntArray:
    """Shuffle rows and columns; again, if asked for, until no treatment stands beside itself."""
    rows, columns = grid.shape
    row, column = (axis.ravel() for axis in np.indices(grid.shape))
    for _ in range(SHUFFLES):
        shuffled: IntArray = grid[rng.permutation(rows)][:, rng.permutation(columns)]
        if not options.keep_apart or not clumped(shuffled.ravel(), row, column):
            return shuffled
    raise WrongCall(
        translatable("No order of rows and columns keeps treatments apart: set layout.keep_apart to false.")
    )


def _rectangles(treatments: pd.DataFrame, site: str, grids: IntArray) -> pd.DataFrame:
    """Put grids of treatment numbers, shape (blocks, rows, columns), on a site's places."""
    block, row, column = (axis.ravel() + 1 for axis in np.indices(grids.shape))
    return placed(treatments.iloc[grids.ravel()], site, block, {"row": row, "column": column})
