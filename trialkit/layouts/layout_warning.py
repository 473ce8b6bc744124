"""What a layout warns of, as facts; `trialkit.words` says them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

FEWEST_ERROR_DEGREES = 12
"""Below this Student's t, and so every interval, widens fast (common practice, no source)."""

WarningCode = Literal[
    "one site",
    "no replication",
    "disconnected",
    "aliased",
    "missing combinations",
    "confounded with blocks",
    "cannot be tested",
    "few error degrees of freedom",
    "confounded",
]


@dataclass(frozen=True)
class LayoutWarning:
    """Something an adviser can act on.

    Attributes
    ----------
    code : str
        What it is.
    effect : str
        The effect that it is about: columns of factors, joined by colons; empty where it is about the whole layout.
    aliased_with : tuple of str
        Effects that it cannot be told from.
    groups : tuple of tuple of str
        Names of treatments that can be compared with each other, of a layout that falls into several such groups.
    estimable_in_part : bool
        Whether a part of an effect with missing combinations is estimated all the same.
    stratum : str
        Term whose places the effect is judged by; empty where there is none.
    between_sites : bool
        Whether the effect is judged by how much it differs between gardens.
    error_df : int
        Degrees of freedom for error.
    """

    code: WarningCode
    effect: str = ""
    aliased_with: tuple[str, ...] = ()
    groups: tuple[tuple[str, ...], ...] = ()
    estimable_in_part: bool = False
    stratum: str = ""
    between_sites: bool = False
    error_df: int = 0
