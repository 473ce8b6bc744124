"""Augmented blocks: checks in every block, each new treatment once (Federer 1956, *Hawaii. Plant. Rec.* 55:191-208).

For new cultivars of which there is little seed: the checks tell the blocks apart and give the error that new
cultivars are judged by.
"""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray
from trialkit.layouts.layout_options import LayoutOptions
from trialkit.layouts.placing import placed_in_blocks


def augmented_blocks(
    treatments: pd.DataFrame, sites: Sequence[str], blocks: int, rng: np.random.Generator, options: LayoutOptions
) -> Iterator[pd.DataFrame]:
    """Lay out checks in every block and every other treatment in one block of each site.

    `checks` of the options is needed; `keep_apart` and `bench_columns` count. Blocks differ by at most one bucket. All
    gardens together must have two blocks or more: a check that stands once gives no error.
    """
    checks = np.array(sorted(set(options.checks)), dtype=np.intp)
    new = np.setdiff1d(np.arange(len(treatments)), checks)

    def draw() -> list[IntArray]:
        shares = np.array_split(rng.permutation(new), blocks)
        return [rng.permutation(np.concatenate([checks, shares[place]])) for place in rng.permutation(blocks)]

    for site in sites:
        yield placed_in_blocks(treatments, site, options, draw)
