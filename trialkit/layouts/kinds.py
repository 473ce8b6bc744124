"""The kinds of layout: how each is randomised, and which strata of random variation that leaves."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Protocol

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray
from trialkit.domain.errors import WrongCall
from trialkit.layouts.augmented import augmented_blocks
from trialkit.layouts.bench import FEWEST_KEPT_APART, bench_places
from trialkit.layouts.incomplete_blocks import incomplete_blocks, volunteer_blocks
from trialkit.layouts.layout_options import PLAIN, LayoutOptions
from trialkit.layouts.randomisation import completely_randomised, randomised_complete_blocks, split_plot
from trialkit.layouts.row_column import latin_square, row_column


class Randomise(Protocol):
    """What every function that makes a layout can be called as."""

    def __call__(
        self,
        treatments: pd.DataFrame,
        sites: Sequence[str],
        blocks: int,
        rng: np.random.Generator,
        options: LayoutOptions,
    ) -> pd.DataFrame:
        """Return one row a bucket, in bench order: site, block, other places, position and the columns of treatments.

        `treatments` has one row a treatment, its columns are the factors. Random numbers are drawn site by site, in the
        order given, from `rng`, which is advanced. `blocks` is their number at each site.
        """


Sizes = Callable[[int, int, LayoutOptions], tuple[IntArray, IntArray]]
"""From treatments, blocks a site and options: the fewest and the most buckets of each treatment at a site."""


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
    replication: Annotated[
        Sizes,
        "From treatments, blocks a site and options: the fewest and the most buckets of each treatment at a site, two "
        "arrays of shape (treatments,).",
    ]
    buckets_a_site: Annotated[Callable[[int, int, LayoutOptions], int], "From the same: the buckets at each site."]
    place_columns: Annotated[
        tuple[str, ...], "Columns of layout.csv that this kind needs besides site, block and position."
    ] = ()
    options: Annotated[tuple[str, ...], "Options, by their names in `LayoutOptions`, that this kind knows."] = ()
    complete: Annotated[tuple[str, ...], "Places, as ``a:b``, each of which holds every treatment once."] = ()
    distinct: Annotated[tuple[str, ...], "Places, each of which holds no treatment twice."] = ()


def _each_block(treatments: int, blocks: int, options: LayoutOptions) -> tuple[IntArray, IntArray]:
    """Once in each block, the current practice as often as asked for."""
    count = np.full(treatments, blocks, dtype=np.intp)
    if options.practice is not None:
        count[options.practice] *= options.practice_buckets
    return count, count


def _even(buckets: int, treatments: int) -> tuple[IntArray, IntArray]:
    return np.full(treatments, buckets // treatments), np.full(treatments, -(-buckets // treatments))


def _blocks_of_a_size(treatments: int, blocks: int, options: LayoutOptions) -> tuple[IntArray, IntArray]:
    return _even(blocks * (options.block_size or 0), treatments)


def _squares(treatments: int, blocks: int, options: LayoutOptions) -> tuple[IntArray, IntArray]:  # noqa: ARG001
    return _even(blocks * treatments**2, treatments)


def _rectangles(treatments: int, blocks: int, options: LayoutOptions) -> tuple[IntArray, IntArray]:
    """Each rectangle evenly, or one more: over several rectangles these may add up."""
    fewest, most = _even((options.rows or 0) * (options.columns or 0), treatments)
    return fewest * blocks, most * blocks


def _checks_in_each_block(treatments: int, blocks: int, options: LayoutOptions) -> tuple[IntArray, IntArray]:
    count = np.ones(treatments, dtype=np.intp)
    count[list(options.checks)] = blocks
    return count, count


def _sum_of(replication: Sizes) -> Callable[[int, int, LayoutOptions], int]:
    return lambda treatments, blocks, options: int(replication(treatments, blocks, options)[0].sum())


_BENCH = ("keep_apart", "bench_columns")

LAYOUT_KINDS: Mapping[str, LayoutKind] = {
    kind.name: kind
    for kind in (
        LayoutKind(
            "completely randomised",
            completely_randomised,
            (),
            _each_block,
            _sum_of(_each_block),
            options=("practice_buckets", *_BENCH),
        ),
        LayoutKind(
            "randomised complete blocks",
            randomised_complete_blocks,
            ("site:block",),
            _each_block,
            _sum_of(_each_block),
            options=("practice_buckets", *_BENCH),
        ),
        LayoutKind(
            "split-plot",
            split_plot,
            ("site:block", "site:block:whole_plot"),
            _each_block,
            _sum_of(_each_block),
            place_columns=("whole_plot",),
            options=("whole_plot", *_BENCH),
        ),
        LayoutKind(
            "Latin square",
            latin_square,
            ("site:block", "site:block:row", "site:block:column"),
            _squares,
            _sum_of(_squares),
            place_columns=("row", "column"),
            complete=("site:block:row", "site:block:column"),
        ),
        LayoutKind(
            "row-column",
            row_column,
            ("site:block", "site:block:row", "site:block:column"),
            _rectangles,
            lambda treatments, blocks, options: blocks * (options.rows or 0) * (options.columns or 0),  # noqa: ARG005
            place_columns=("row", "column"),
            options=("rows", "columns", "keep_apart"),
        ),
        LayoutKind(
            "incomplete blocks",
            incomplete_blocks,
            ("site:block",),
            _blocks_of_a_size,
            lambda treatments, blocks, options: blocks * (options.block_size or 0),  # noqa: ARG005
            options=("block_size", "resolvable", *_BENCH),
            distinct=("site:block",),
        ),
        LayoutKind(
            "volunteer blocks",
            volunteer_blocks,
            ("site:volunteer",),
            _blocks_of_a_size,
            lambda treatments, blocks, options: blocks * (options.block_size or 0),  # noqa: ARG005
            place_columns=("volunteer",),
            options=("block_size", "resolvable"),
            distinct=("site:volunteer",),
        ),
        LayoutKind(
            "augmented blocks",
            augmented_blocks,
            ("site:block",),
            _checks_in_each_block,
            _sum_of(_checks_in_each_block),
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

    The arguments are those of `Randomise`; bench_row and bench_column follow position where `options.bench_columns` is
    given.

    Raises
    ------
    WrongCall
        If it cannot be laid out, in the adviser's words.
    """
    if options.keep_apart and len(treatments) < FEWEST_KEPT_APART:
        raise WrongCall("Two treatments kept apart could only alternate: set layout.keep_apart to false.")
    layout = LAYOUT_KINDS[kind].randomise(treatments, sites, blocks, rng, options)
    if options.bench_columns is None or "bench_columns" not in LAYOUT_KINDS[kind].options:
        return layout
    after = list(layout.columns).index("position") + 1
    row, column = bench_places(layout, options.bench_columns)
    layout.insert(after, "bench_row", row)
    layout.insert(after + 1, "bench_column", column)
    return layout
