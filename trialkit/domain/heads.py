"""What became of a head: which outcomes there are and when a head counts as usable."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

HARVESTED = "harvested"
LOST = ("dead", "bolted", "missing")


def is_harvested(heads: pd.DataFrame) -> pd.Series:
    """Tell for each row of heads.csv whether the head was cut."""
    return heads["outcome"] == HARVESTED


def is_usable(heads: pd.DataFrame) -> pd.Series:
    """Tell for each row of heads.csv whether the head was cut and is fit to eat.

    One of which nobody said that it is not is taken as marketable.
    """
    return is_harvested(heads) & ~heads["marketable"].eq(False).fillna(False).astype(bool)
