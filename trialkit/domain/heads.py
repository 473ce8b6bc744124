"""What became of a head: which outcomes there are, what each says of the treatment, when a head is usable."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    import pandas as pd

Says = Literal["cut", "growing", "lost", "nothing"]
"""What an outcome says of the treatment. ``cut``: the head was harvested. ``growing``: it was not ready when the trial
ended. ``lost``: it came to nothing, by what could be the treatment's doing. ``nothing``: it says as little as no row at
all, and is taken to have gone missing at random (Rubin 1976, Biometrika 63, 581-592)."""
OUTCOMES: Mapping[str, Says] = {
    "harvested": "cut",
    "not_weighed": "cut",  # counts among the usable heads, and tells no weight
    "not_ready": "growing",
    "dead": "lost",
    "bolted": "lost",
    "eaten": "lost",  # pests choose the softer leaf, which is the feed's doing
    "stolen": "nothing",  # whoever takes a head does not know what it was fed
    "never_planted": "nothing",
    "gave_up": "nothing",  # a gardener who stops leaves every treatment of the garden at once
    "missing": "nothing",  # nobody knows
    "": "nothing",
}
"""Every outcome that heads.csv knows, and a cell that nobody filled in."""
NOT_WEIGHED = "not_weighed"
CUT, LOST, SAYS_NOTHING = (
    tuple(outcome for outcome, says in OUTCOMES.items() if says == kind) for kind in ("cut", "lost", "nothing")
)
NOT_CUT = tuple(outcome for outcome in OUTCOMES if outcome not in (*CUT, "bolted", ""))
"""Outcomes of heads that have neither harvest day nor weight; one that bolted may have been cut and weighed."""
STOPPED = ("gave_up", "")
"""Outcomes after which a head may have grown on, seen by nobody."""
GONE = tuple(outcome for outcome in NOT_CUT if outcome not in ("not_ready", *STOPPED))
"""Outcomes of heads that no longer stand in their bucket."""


def is_harvested(heads: pd.DataFrame) -> pd.Series:
    """Tell for each row of heads.csv whether the head was cut, weighed or not."""
    return heads["outcome"].isin(CUT)


def is_recorded(heads: pd.DataFrame) -> pd.Series:
    """Tell for each row of heads.csv whether it says anything of the treatment."""
    return ~heads["outcome"].isin(SAYS_NOTHING)


def is_usable(heads: pd.DataFrame) -> pd.Series:
    """Tell for each row of heads.csv whether the head was cut and is fit to eat.

    One of which nobody said that it is not is taken as marketable.
    """
    return is_harvested(heads) & ~heads["marketable"].eq(False).fillna(False).astype(bool)
