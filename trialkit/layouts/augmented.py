"""Augmented blocks: checks in every block, each new treatment once (Federer 1956, *Hawaii. Plant. Rec.* 55:191-208).

For new cultivars of which there is little seed: the checks tell the blocks apart and give the error that new
cultivars are judged by.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray
from trialkit.domain.errors import WrongCall
from trialkit.layouts.bench import drawn_apart
from trialkit.layouts.layout_options import LayoutOptions
from trialkit.layouts.placing import check_arguments, placed


def augmented_blocks(
    treatments: pd.DataFrame, sites: Sequence[str], blocks: int, rng: np.random.Generator, options: LayoutOptions
) -> pd.DataFrame:
    """Lay out checks in every block and every other treatment in one block of each site.

    `checks` of the options is needed; `keep_apart` and `bench_columns` count. Blocks differ by at most one bucket.

    Raises
    ------
    WrongCall
        If there is no check, nothing but checks, or fewer than two blocks in all.
    """
    check_arguments(treatments, sites, blocks)
    checks = np.array(sorted(set(options.checks)), dtype=np.intp)
    new = np.setdiff1d(np.arange(len(treatments)), checks)
    if not 0 < len(checks) < len(treatments):
        raise WrongCall(
            "Augmented blocks need at least one check (layout.checks) and one treatment that is not a check."
        )
    if blocks * len(sites) < 2:
        raise WrongCall("Augmented blocks need at least two blocks: a check that stands once gives no error.")
    sizes: list[int] = []

    def draw() -> IntArray:
        shares = np.array_split(rng.permutation(new), blocks)
        held = [rng.permutation(np.concatenate([checks, shares[place]])) for place in rng.permutation(blocks)]
        sizes[:] = [len(block) for block in held]
        return np.concatenate(held)

    frames = []
    for site in sites:
        order = drawn_apart(draw, options.bench_columns, keep_apart=options.keep_apart)
        frames.append(placed(treatments.iloc[order], site, np.repeat(np.arange(1, blocks + 1), sizes)))
    return pd.concat(frames, ignore_index=True)
