"""The kinds of layout: how each is randomised, and which strata of random variation that leaves."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd

from trialkit.layouts.randomisation import completely_randomised, randomised_complete_blocks, split_plot


class Randomise(Protocol):
    """What every function of `trialkit.layouts.randomisation` can be called as."""

    def __call__(
        self,
        treatments: pd.DataFrame,
        sites: Sequence[str],
        blocks: int,
        rng: np.random.Generator,
        *,
        whole_plot: str | None,
    ) -> pd.DataFrame:
        """Return one row a bucket, in bench order."""


@dataclass(frozen=True)
class LayoutKind:
    """One kind of layout.

    Attributes
    ----------
    name : str
        As trial.toml spells it.
    randomise : Randomise
        Makes the layout.
    random_terms : tuple of str
        Strata of the randomisation between site and bucket, as random terms of a mixed model (``a:b`` is the joint
        levels of a and b). The analysis follows the randomisation: each is fitted, however small.
    """

    name: str
    randomise: Randomise
    random_terms: tuple[str, ...]


LAYOUT_KINDS: Mapping[str, LayoutKind] = {
    kind.name: kind
    for kind in (
        LayoutKind("completely randomised", completely_randomised, ()),
        LayoutKind("randomised complete blocks", randomised_complete_blocks, ("site:block",)),
        LayoutKind("split-plot", split_plot, ("site:block", "site:block:whole_plot")),
    )
}
"""Every kind by its name."""
