"""What a layout may be asked for besides treatments, sites and blocks."""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class LayoutOptions:
    """Wishes that only some kinds of layout know; each kind reads its own and leaves the rest.

    Attributes
    ----------
    whole_plot : str or None
        Column of the treatments that is applied to whole plots (split-plot).
    block_size : int or None
        Buckets a block (incomplete blocks).
    rows, columns : int or None
        Buckets along and across each rectangle (row-column).
    resolvable : bool
        Whether the blocks fall into replicates, each with every treatment once (incomplete blocks).
    checks : tuple of int
        Rows of the treatments that stand in every block (augmented blocks).
    practice : int or None
        Row of the current practice in the treatments; needed where `practice_buckets` is above 1.
    practice_buckets : int
        Buckets of the current practice for each bucket of another treatment (completely randomised, complete blocks).
    keep_apart : bool
        Draw anew until no two buckets of a treatment stand side by side (see `trialkit.layouts.bench`).
    bench_columns : int or None
        Buckets side by side in each row of the bench; None for one long row.
    """

    whole_plot: str | None = None
    block_size: int | None = None
    rows: int | None = None
    columns: int | None = None
    resolvable: bool = False
    checks: tuple[int, ...] = ()
    practice: int | None = None
    practice_buckets: int = 1
    keep_apart: bool = False
    bench_columns: int | None = None


PLAIN = LayoutOptions()
"""No wishes."""


def best_practice_buckets(treatments: int) -> int:
    """Return how many buckets of a control compare best with one of each other treatment.

    Near the square root of the number of the others (Dunnett 1955, *J. Am. Stat. Assoc.* 50:1096-1121).

    Examples
    --------
    >>> best_practice_buckets(10)
    3
    """
    return max(1, round(math.sqrt(treatments - 1)))
