"""Randomising treatments to buckets, site by site.

Every function takes a generator of random numbers and draws from it in a fixed order (site, block, whole plot), so
that the same seed gives the same layout. Fisher (1935), *The Design of Experiments*, for blocks; Yates (1935),
*J. R. Stat. Soc. Suppl.* 2:181-247, for split plots (both from memory).
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd

PLACE_COLUMNS = ("site", "block", "whole_plot", "position")


def completely_randomised(
    treatments: pd.DataFrame,
    sites: Sequence[str],
    blocks: int,
    rng: np.random.Generator,
    *,
    whole_plot: str | None = None,
) -> pd.DataFrame:
    """Randomise all buckets of a site together.

    Parameters
    ----------
    treatments : pandas.DataFrame
        One row a treatment; the columns are the factors.
    sites : sequence of str
        Sites, in the order in which random numbers are drawn.
    blocks : int
        Buckets of each treatment at each site.
    rng : numpy.random.Generator
        Source of randomness; it is advanced.
    whole_plot : None
        Not used by this kind of layout.

    Returns
    -------
    pandas.DataFrame
        Columns site, block (1 throughout), position (1, 2, … within the site), and those of `treatments`; one row
        a bucket, in bench order.

    Raises
    ------
    ValueError
        If there is nothing to randomise, or a whole-plot factor is named.
    """
    _check(treatments, sites, blocks)
    _refuse_whole_plot(whole_plot)
    copies = np.tile(np.arange(len(treatments)), blocks)
    return pd.concat(
        [_placed(treatments.iloc[rng.permutation(copies)], site, np.ones(len(copies), dtype=int)) for site in sites],
        ignore_index=True,
    )


def randomised_complete_blocks(
    treatments: pd.DataFrame,
    sites: Sequence[str],
    blocks: int,
    rng: np.random.Generator,
    *,
    whole_plot: str | None = None,
) -> pd.DataFrame:
    """Randomise within blocks, each of which holds every treatment once.

    Parameters
    ----------
    treatments, sites, rng, whole_plot
        As for `completely_randomised`.
    blocks : int
        Blocks at each site.

    Returns
    -------
    pandas.DataFrame
        As for `completely_randomised`; blocks are numbered 1, 2, … within the site and stand side by side.

    Raises
    ------
    ValueError
        If there is nothing to randomise, or a whole-plot factor is named.
    """
    _check(treatments, sites, blocks)
    _refuse_whole_plot(whole_plot)
    frames = []
    for site in sites:
        order = np.concatenate([rng.permutation(len(treatments)) for _ in range(blocks)])
        frames.append(_placed(treatments.iloc[order], site, np.repeat(np.arange(1, blocks + 1), len(treatments))))
    return pd.concat(frames, ignore_index=True)


def split_plot(
    treatments: pd.DataFrame, sites: Sequence[str], blocks: int, rng: np.random.Generator, *, whole_plot: str | None
) -> pd.DataFrame:
    """Randomise one factor to whole plots within blocks, and the rest to the buckets within each whole plot.

    Parameters
    ----------
    treatments, sites, rng
        As for `completely_randomised`.
    blocks : int
        Blocks at each site; each holds every level of the whole-plot factor once.
    whole_plot : str
        Column of `treatments` that is applied to whole plots.

    Returns
    -------
    pandas.DataFrame
        As for `randomised_complete_blocks`, with a column whole_plot numbered 1, 2, … within the block.

    Raises
    ------
    ValueError
        If there is nothing to randomise or no such column.
    """
    _check(treatments, sites, blocks)
    if whole_plot not in treatments.columns:
        raise ValueError(f"A split-plot needs a whole-plot factor among {', '.join(treatments.columns)}.")
    groups = [np.flatnonzero(treatments[whole_plot] == level) for level in treatments[whole_plot].unique()]
    frames = []
    for site in sites:
        plots = [
            (block, number, rng.permutation(groups[choice]))
            for block in range(1, blocks + 1)
            for number, choice in enumerate(rng.permutation(len(groups)), start=1)
        ]
        sizes = [len(rows) for _, _, rows in plots]
        chosen = treatments.iloc[np.concatenate([rows for _, _, rows in plots])]
        frame = _placed(chosen, site, np.repeat([block for block, _, _ in plots], sizes))
        frame.insert(2, "whole_plot", np.repeat([number for _, number, _ in plots], sizes))
        frames.append(frame)
    return pd.concat(frames, ignore_index=True)


def _placed(treatments: pd.DataFrame, site: str, block: np.ndarray) -> pd.DataFrame:
    places = pd.DataFrame({"site": site, "block": block, "position": np.arange(1, len(block) + 1)})
    return pd.concat([places, treatments.reset_index(drop=True)], axis=1)


def _check(treatments: pd.DataFrame, sites: Sequence[str], blocks: int) -> None:
    if len(treatments) < 2 or treatments.duplicated().any():
        raise ValueError("A layout needs at least two treatments, all different.")
    if clash := set(treatments.columns) & set(PLACE_COLUMNS):
        raise ValueError(f"A factor cannot be called {', '.join(sorted(clash))}: that names a place.")
    if not sites or len(set(sites)) < len(sites):
        raise ValueError("A layout needs at least one site, each named once.")
    if blocks < 1:
        raise ValueError("A layout needs at least one block a site.")


def _refuse_whole_plot(whole_plot: str | None) -> None:
    if whole_plot is not None:
        raise ValueError("Only a split-plot has a whole-plot factor.")
