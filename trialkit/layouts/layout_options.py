"""What a layout may be asked for besides treatments, sites and blocks."""

import math
from dataclasses import dataclass
from typing import Annotated

from trialkit.domain.arrays import FloatArray


@dataclass(frozen=True)
class LayoutOptions:
    """Wishes that only some kinds of layout know; each kind reads its own and leaves the rest."""

    whole_plot: Annotated[str | None, "Column of the treatments that is applied to whole plots (split-plot)."] = None
    block_size: Annotated[int | None, "Buckets a block (incomplete blocks)."] = None
    # Buckets along and across each rectangle (row-column).
    rows: int | None = None
    columns: int | None = None
    resolvable: Annotated[
        bool, "Whether the blocks fall into replicates, each with every treatment once (incomplete blocks)."
    ] = False
    checks: Annotated[tuple[int, ...], "Rows of the treatments that stand in every block (augmented blocks)."] = ()
    practice: Annotated[
        int | None, "Row of the current practice in the treatments; needed where `practice_buckets` is above 1."
    ] = None
    practice_buckets: Annotated[
        int,
        "Buckets of the current practice for each bucket of another treatment (completely randomised, complete "
        "blocks).",
    ] = 1
    keep_apart: Annotated[
        bool, "Draw anew until no two buckets of a treatment stand side by side (see `trialkit.layouts.bench`)."
    ] = False
    standing: Annotated[
        FloatArray | None,
        "What gardens tell that stand already, where one is added to them: information matrix of the treatments, with "
        "respect to which the added one is chosen (incomplete blocks, row-column).",
    ] = None
    bench_columns: Annotated[int | None, "Buckets side by side in each row of the bench; None for one long row."] = None


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
