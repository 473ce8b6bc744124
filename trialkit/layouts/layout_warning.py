"""What a layout warns of, as facts; `trialkit.words` says them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

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
    """Something an adviser can act on."""

    code: Annotated[WarningCode, "What it is."]
    effect: Annotated[
        str,
        "The effect that it is about: columns of factors, joined by colons; empty where it is about the whole layout.",
    ] = ""
    aliased_with: Annotated[tuple[str, ...], "Effects that it cannot be told from."] = ()
    groups: Annotated[
        tuple[tuple[str, ...], ...],
        "Names of treatments that can be compared with each other, of a layout that falls into several such groups.",
    ] = ()
    estimable_in_part: Annotated[
        bool, "Whether a part of an effect with missing combinations is estimated all the same."
    ] = False
    stratum: Annotated[str, "Term whose places the effect is judged by; empty where there is none."] = ""
    between_sites: Annotated[bool, "Whether the effect is judged by how much it differs between gardens."] = False
    error_df: Annotated[int, "Degrees of freedom for error."] = 0
