"""Randomising treatments to buckets, site by site: without blocks, in complete blocks, in split plots.

Every function takes a generator of random numbers and draws from it in a fixed order (site, block, whole plot), so
that the same seed gives the same layout. Fisher (1935), *The Design of Experiments*, for blocks; Yates (1935),
*J. R. Stat. Soc. Suppl.* 2:181-247, for split plots (both from memory). A factorial is laid out as its combinations.
"""

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray
from trialkit.layouts.layout_options import LayoutOptions
from trialkit.layouts.placing import placed_in_blocks


def completely_randomised(
    treatments: pd.DataFrame, sites: Sequence[str], blocks: int, rng: np.random.Generator, options: LayoutOptions
) -> Iterator[pd.DataFrame]:
    """Randomise all buckets of a site together: `blocks` of each treatment, all in block 1.

    `practice_buckets`, `keep_apart` and `bench_columns` count of the options.
    """
    copies = np.tile(_one_set(treatments, options), blocks)
    for site in sites:
        yield placed_in_blocks(treatments, site, options, lambda: [rng.permutation(copies)])


def randomised_complete_blocks(
    treatments: pd.DataFrame, sites: Sequence[str], blocks: int, rng: np.random.Generator, options: LayoutOptions
) -> Iterator[pd.DataFrame]:
    """Randomise within blocks, each of which holds every treatment once.

    Blocks are numbered 1, 2, … within the site and stand side by side. The options of
    `completely_randomised` count.
    """
    one_set = _one_set(treatments, options)
    for site in sites:
        yield placed_in_blocks(treatments, site, options, lambda: [rng.permutation(one_set) for _ in range(blocks)])


def split_plot(
    treatments: pd.DataFrame, sites: Sequence[str], blocks: int, rng: np.random.Generator, options: LayoutOptions
) -> Iterator[pd.DataFrame]:
    """Randomise one factor to whole plots within blocks, and the rest to the buckets within each whole plot.

    `whole_plot` of the options is the column of `treatments` that is applied to whole plots; `keep_apart` and
    `bench_columns` count too. Whole plots are numbered 1, 2, … within the block, in the column whole_plot.
    """
    levels = treatments[options.whole_plot]
    groups = [np.flatnonzero(levels == level) for level in levels.unique()]

    def draw() -> list[IntArray]:
        return [rng.permutation(groups[choice]) for _ in range(blocks) for choice in rng.permutation(len(groups))]

    for site in sites:
        layout = placed_in_blocks(treatments, site, options, draw)  # each whole plot as a block of its own
        plot = layout["block"] - 1
        layout["block"] = plot // len(groups) + 1
        layout.insert(2, "whole_plot", plot % len(groups) + 1)
        yield layout


def _one_set(treatments: pd.DataFrame, options: LayoutOptions) -> IntArray:
    """Every treatment once, the current practice as often as asked for."""
    more = np.full(options.practice_buckets - 1, options.practice or 0)
    return np.concatenate([np.arange(len(treatments)), more])
