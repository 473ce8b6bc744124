"""The kinds of layout: how each is randomised, and which strata of random variation that leaves."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray
from trialkit.domain.errors import WrongCall
from trialkit.languages import translatable
from trialkit.layouts.augmented import augmented_blocks
from trialkit.layouts.bench import bench_places
from trialkit.layouts.incomplete_blocks import incomplete_blocks, volunteer_blocks
from trialkit.layouts.layout_options import PLAIN, LayoutOptions
from trialkit.layouts.randomisation import completely_randomised, randomised_complete_blocks, split_plot
from trialkit.layouts.row_column import latin_square, row_column

Randomise = Callable[[pd.DataFrame, Sequence[str], int, np.random.Generator, LayoutOptions], Iterable[pd.DataFrame]]
"""From treatments, sites, blocks a site, random numbers and options: the layout of each site (see `lay_out`)."""
Sizes = Callable[[int, int, LayoutOptions], tuple[int, IntArray, IntArray]]
"""From treatments, blocks a site and options: the buckets at each site, and the fewest and the most of each treatment,
two arrays of shape (treatments,)."""


@dataclass(frozen=True)
class LayoutKind:
    """One kind of layout."""

    name: Annotated[str, "As trial.toml spells it."]
    randomise: Annotated[Randomise, "Makes the layout."]
    random_terms: Annotated[
        tuple[str, ...],
        "Strata of the randomisation between site and bucket, as random terms of a mixed model (``a:b`` is the joint "
        "levels of a and b). The analysis follows the randomisation: each is fitted, however small.",
    ]
    sizes: Annotated[Sizes, "How many buckets there are at a site, and of each treatment."]
    options: Annotated[tuple[str, ...], "Options, by their names in `LayoutOptions`, that this kind knows."] = ()
    complete: Annotated[tuple[str, ...], "Places, as ``a:b``, each of which holds every treatment once."] = ()
    distinct: Annotated[tuple[str, ...], "Places, each of which holds no treatment twice."] = ()
    shares_out: Annotated[
        bool, "Whether gardens share the treatments out among them, so that their layouts are chosen together."
    ] = False

    @property
    def place_columns(self) -> tuple[str, ...]:
        """Columns of layout.csv that this kind needs besides site, block and position."""
        places = dict.fromkeys(part for term in self.random_terms for part in term.split(":"))
        return tuple(place for place in places if place not in ("site", "block"))


def _each_block(treatments: int, blocks: int, options: LayoutOptions) -> tuple[int, IntArray, IntArray]:
    """Once in each block, the current practice as often as asked for."""
    count = np.full(treatments, blocks, dtype=np.intp)
    if options.practice is not None:
        count[options.practice] *= options.practice_buckets
    return int(count.sum()), count, count


def _even(treatments: int, parts: int, buckets: int) -> tuple[int, IntArray, IntArray]:
    """Each part evenly, or one more: over several parts these may add up."""
    fewest, most = np.full(treatments, buckets // treatments), np.full(treatments, -(-buckets // treatments))
    return parts * buckets, fewest * parts, most * parts


def _blocks_of_a_size(treatments: int, blocks: int, options: LayoutOptions) -> tuple[int, IntArray, IntArray]:
    return _even(treatments, 1, blocks * (options.block_size or 0))


def _squares(treatments: int, blocks: int, options: LayoutOptions) -> tuple[int, IntArray, IntArray]:  # noqa: ARG001
    return _even(treatments, blocks, treatments**2)


def _rectangles(treatments: int, blocks: int, options: LayoutOptions) -> tuple[int, IntArray, IntArray]:
    return _even(treatments, blocks, (options.rows or 0) * (options.columns or 0))


def _checks_in_each_block(treatments: int, blocks: int, options: LayoutOptions) -> tuple[int, IntArray, IntArray]:
    count = np.ones(treatments, dtype=np.intp)
    count[list(options.checks)] = blocks
    return int(count.sum()), count, count


_BENCH = ("keep_apart", "bench_columns")

LAYOUT_KINDS: Mapping[str, LayoutKind] = {
    kind.name: kind
    for kind in (
        LayoutKind(
            "completely randomised",
            completely_randomised,
            (),
            _each_block,
            options=("practice_buckets", *_BENCH),
        ),
        LayoutKind(
            "randomised complete blocks",
            randomised_complete_blocks,
            ("site:block",),
            _each_block,
            options=("practice_buckets", *_BENCH),
        ),
        LayoutKind(
            "split-plot",
            split_plot,
            ("site:block", "site:block:whole_plot"),
            _each_block,
            options=("whole_plot", *_BENCH),
        ),
        LayoutKind(
            "Latin square",
            latin_square,
            ("site:block", "site:block:row", "site:block:column"),
            _squares,
            complete=("site:block:row", "site:block:column"),
        ),
        LayoutKind(
            "row-column",
            row_column,
            ("site:block", "site:block:row", "site:block:column"),
            _rectangles,
            options=("rows", "columns", "keep_apart"),
            shares_out=True,
        ),
        LayoutKind(
            "incomplete blocks",
            incomplete_blocks,
            ("site:block",),
            _blocks_of_a_size,
            options=("block_size", "resolvable", *_BENCH),
            distinct=("site:block",),
            shares_out=True,
        ),
        LayoutKind(
            "volunteer blocks",
            volunteer_blocks,
            ("site:volunteer",),
            _blocks_of_a_size,
            options=("block_size", "resolvable"),
            distinct=("site:volunteer",),
            shares_out=True,
        ),
        LayoutKind(
            "augmented blocks",
            augmented_blocks,
            ("site:block",),
            _checks_in_each_block,
            options=("checks", *_BENCH),
            distinct=("site:block",),
        ),
    )
}
"""Every kind by its name."""


def lay_out(
    kind: str,
    treatments: pd.DataFrame,
    sites: Sequence[str],
    blocks: int,
    rng: np.random.Generator,
    options: LayoutOptions = PLAIN,
) -> pd.DataFrame:
    """Make a layout of a kind by its name, with the places on the bench if it has rows there.

    Parameters
    ----------
    kind : str
        A key of `LAYOUT_KINDS`.
    treatments : pandas.DataFrame
        One row a treatment; its columns are the factors.
    sites : sequence of str
    blocks : int
        At each site.
    rng : numpy.random.Generator
        Advanced: random numbers are drawn site by site, in the order given.
    options : LayoutOptions

    Returns
    -------
    pandas.DataFrame
        One row a bucket, in bench order: site, block, other places, position (then bench_row and bench_column where
        `options.bench_columns` is given) and the columns of treatments.

    Raises
    ------
    WrongCall
        If it cannot be laid out, in the adviser's words.
    """
    if len(treatments) < 2 or treatments.duplicated().any():
        raise WrongCall(translatable("A layout needs at least two treatments, all different."))
    if not sites or len(set(sites)) < len(sites):
        raise WrongCall(translatable("A layout needs at least one site, each named once."))
    layout = pd.concat(LAYOUT_KINDS[kind].randomise(treatments, sites, blocks, rng, options), ignore_index=True)
    if options.bench_columns is not None and "bench_columns" in LAYOUT_KINDS[kind].options:
        after = list(layout.columns).index("position") + 1
        row, column = bench_places(layout, options.bench_columns)
        layout.insert(after, "bench_row", row)
        layout.insert(after + 1, "bench_column", column)
    return layout
