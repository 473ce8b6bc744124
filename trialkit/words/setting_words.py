"""What setting a trial's plan says: what was changed, and what may no longer change."""

from __future__ import annotations

from collections.abc import Sequence

from trialkit.documents.answers import SetAnswer
from trialkit.words.layout_words import FROZEN
from trialkit.words.phrases import listed


def set_lines(made: SetAnswer, folder: str) -> list[str]:
    """Say what was set, and what comes next."""
    if not made.changed:
        return ["Nothing was changed: the trial says so already."]
    told = [f"Set, and written to {listed(made.changed)}."]
    if made.draw_again:
        return [*told, f"The layout was drawn before this. Draw it again: trialkit layout {folder}"]
    return [*told, f"Next: trialkit plan {folder}"]


def frozen_keys_words(reason: str, folder: str, keys: Sequence[str]) -> str:
    """Say why keys stay as they are, and which may still change."""
    return (
        f"{folder} {FROZEN[reason]} So {listed(keys)} can no longer change. These may still: title, season, days, "
        "contact, measures, language, variation, limits, publication and prices. In sites.csv and products.csv all but "
        "the names may."
    )


def frozen_names_words(reason: str, folder: str, file: str, names: Sequence[str]) -> str:
    """Say why names of gardens or products stay as they are, and what may still change."""
    told = (
        f"{folder} {FROZEN[reason]} So {file} must go on naming just {listed(names)}. All beside the names may change."
    )
    if file == "sites.csv":
        return f'{told} Let a garden join or withdraw with trialkit site {folder} NAME --add --why "..."'
    return told


def changed_meanwhile_words(files: Sequence[str]) -> str:
    """Say that somebody else changed files since they were shown."""
    return f"{listed(files)} changed since you opened this page, so nothing was written. Look at it again, then save."
