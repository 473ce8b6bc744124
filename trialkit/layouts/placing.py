"""Putting treatments on the places of a site, and refusing what cannot be laid out."""

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from trialkit.domain.arrays import IntArray
from trialkit.domain.errors import WrongCall

PLACE_COLUMNS = (
    "site", "block", "volunteer", "whole_plot", "row", "column", "position", "bench_row", "bench_column",
)  # fmt: skip


def placed(
    treatments: pd.DataFrame, site: str, block: IntArray, inner: Mapping[str, IntArray] | None = None
) -> pd.DataFrame:
    """Number the positions of a site and put treatments on them.

    Treatments are in bench order; blocks are counted from 1; `inner` has further place columns, such as whole_plot. The
    columns are site, block, those of `inner`, position, and those of `treatments`.
    """
    places = pd.DataFrame({"site": site, "block": block, **(inner or {}), "position": np.arange(1, len(block) + 1)})
    return pd.concat([places, treatments.reset_index(drop=True)], axis=1)


def check_arguments(treatments: pd.DataFrame, sites: Sequence[str], blocks: int) -> None:
    """Refuse what no kind of layout can be made from.

    Raises
    ------
    WrongCall
        If there is nothing to compare, no site, no block, or a factor is called like a place.
    """
    if len(treatments) < 2 or treatments.duplicated().any():
        raise WrongCall("A layout needs at least two treatments, all different.")
    if clash := set(treatments.columns) & set(PLACE_COLUMNS):
        raise WrongCall(f"A factor cannot be called {', '.join(sorted(clash))}: that names a place.")
    if not sites or len(set(sites)) < len(sites):
        raise WrongCall("A layout needs at least one site, each named once.")
    if blocks < 1:
        raise WrongCall("A layout needs at least one block a site.")
