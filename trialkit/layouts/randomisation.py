"""Randomising treatments to buckets, site by site: without blocks, in complete blocks, in split plots.

Every function takes a generator of random numbers and draws from it in a fixed order (site, block, whole plot), so
that the same seed gives the same layout. Fisher (1935), *The Design of Experiments*, for blocks; Yates (1935),
*J. R. Stat. Soc. Suppl.* 2:181-247, for split plots (both from memory). A factorial is laid out as its combinations.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray
from trialkit.domain.errors import WrongCall
from trialkit.layouts.bench import drawn_apart
from trialkit.layouts.layout_options import PLAIN, LayoutOptions
from trialkit.layouts.placing import check_arguments, placed


def completely_randomised(
    treatments: pd.DataFrame,
    sites: Sequence[str],
    blocks: int,
    rng: np.random.Generator,
    options: LayoutOptions = PLAIN,
) -> pd.DataFrame:
    """Randomise all buckets of a site together: `blocks` of each treatment, all in block 1.

    `practice_buckets`, `keep_apart` and `bench_columns` count of the options.

    Raises
    ------
    WrongCall
        If there is nothing to randomise, a whole-plot factor is named, or treatments cannot be kept apart.
    """
    check_arguments(treatments, sites, blocks)
    _refuse_whole_plot(options)
    copies = np.tile(_one_set(treatments, options), blocks)
    frames = []
    for site in sites:
        order = drawn_apart(lambda: rng.permutation(copies), options.bench_columns, keep_apart=options.keep_apart)
        frames.append(placed(treatments.iloc[order], site, np.ones(len(copies), dtype=int)))
    return pd.concat(frames, ignore_index=True)


def randomised_complete_blocks(
    treatments: pd.DataFrame,
    sites: Sequence[str],
    blocks: int,
    rng: np.random.Generator,
    options: LayoutOptions = PLAIN,
) -> pd.DataFrame:
    """Randomise within blocks, each of which holds every treatment once.

    Blocks are numbered 1, 2, … within the site and stand side by side. The options of
    `completely_randomised` count, and it refuses the same.
    """
    check_arguments(treatments, sites, blocks)
    _refuse_whole_plot(options)
    one_set = _one_set(treatments, options)

    def draw() -> IntArray:
        return np.concatenate([one_set[rng.permutation(len(one_set))] for _ in range(blocks)])

    frames = []
    for site in sites:
        order = drawn_apart(draw, options.bench_columns, keep_apart=options.keep_apart)
        frames.append(placed(treatments.iloc[order], site, np.repeat(np.arange(1, blocks + 1), len(one_set))))
    return pd.concat(frames, ignore_index=True)


def split_plot(
    treatments: pd.DataFrame,
    sites: Sequence[str],
    blocks: int,
    rng: np.random.Generator,
    options: LayoutOptions = PLAIN,
) -> pd.DataFrame:
    """Randomise one factor to whole plots within blocks, and the rest to the buckets within each whole plot.

    `whole_plot` of the options is the column of `treatments` that is applied to whole plots; `keep_apart` and
    `bench_columns` count too. Whole plots are numbered 1, 2, … within the block, in the column whole_plot.

    Raises
    ------
    WrongCall
        If there is nothing to randomise, no such column, or treatments cannot be kept apart.
    """
    check_arguments(treatments, sites, blocks)
    if options.whole_plot not in treatments.columns:
        raise WrongCall(f"A split-plot needs a whole-plot factor among {', '.join(treatments.columns)}.")
    levels = treatments[options.whole_plot]
    groups = [np.flatnonzero(levels == level) for level in levels.unique()]
    sizes: list[int] = []

    def draw() -> IntArray:
        plots = [rng.permutation(groups[choice]) for _ in range(blocks) for choice in rng.permutation(len(groups))]
        sizes[:] = [len(rows) for rows in plots]
        return np.concatenate(plots)

    frames = []
    for site in sites:
        order = drawn_apart(draw, options.bench_columns, keep_apart=options.keep_apart)
        block = np.repeat(np.repeat(np.arange(1, blocks + 1), len(groups)), sizes)
        whole_plot = np.repeat(np.tile(np.arange(1, len(groups) + 1), blocks), sizes)
        frames.append(placed(treatments.iloc[order], site, block, {"whole_plot": whole_plot}))
    return pd.concat(frames, ignore_index=True)


def _one_set(treatments: pd.DataFrame, options: LayoutOptions) -> IntArray:
    """Every treatment once, the current practice as often as asked for."""
    once = np.arange(len(treatments))
    if options.practice_buckets == 1:
        return once
    if options.practice is None:
        raise WrongCall("More buckets of the current practice need to be told which treatment that is.")
    return np.concatenate([once, np.full(options.practice_buckets - 1, options.practice)])


def _refuse_whole_plot(options: LayoutOptions) -> None:
    if options.whole_plot is not None:
        raise WrongCall("Only a split-plot has a whole-plot factor.")
