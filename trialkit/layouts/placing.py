"""Putting treatments on the places of a site, and refusing what cannot be laid out."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray
from trialkit.domain.errors import WrongCall
from trialkit.languages import translatable
from trialkit.layouts.bench import MOST_DRAWS, clumped
from trialkit.layouts.layout_options import LayoutOptions


def placed(
    treatments: pd.DataFrame, site: str, block: IntArray, inner: Mapping[str, IntArray] | None = None
) -> pd.DataFrame:
    """Number the positions of a site and put treatments on them.

    Treatments are in bench order; blocks are counted from 1; `inner` has further place columns, such as whole_plot. The
    columns are site, block, those of `inner`, position, and those of `treatments`.
    """
    places = pd.DataFrame({"site": site, "block": block, **(inner or {}), "position": np.arange(1, len(block) + 1)})
    return pd.concat([places, treatments.reset_index(drop=True)], axis=1)


def placed_in_blocks(
    treatments: pd.DataFrame, site: str, options: LayoutOptions, draw: Callable[[], Sequence[IntArray]]
) -> pd.DataFrame:
    """Draw the rows of `treatments` that stand in each block of a site, in bench order, and put them there.

    They are drawn again and again until none is clumped if `keep_apart` asks for that.

    Raises
    ------
    WrongCall
        If no draw keeps treatments apart: with so few treatments little would be left to chance.
    """
    for _ in range(MOST_DRAWS if options.keep_apart else 1):
        blocks = draw()
        order = np.concatenate(blocks)
        place, width = np.arange(len(order)), options.bench_columns or len(order)
        if not options.keep_apart or not clumped(order, place // width, place % width):
            return placed(treatments.iloc[order], site, np.repeat(np.arange(len(blocks)) + 1, list(map(len, blocks))))
    raise WrongCall(
        translatable(
            "Treatments cannot be kept apart: none of {most_draws} draws did. With so few treatments little would be "
            "left to chance; set layout.keep_apart to false."
        ),
        most_draws=MOST_DRAWS,
    )
