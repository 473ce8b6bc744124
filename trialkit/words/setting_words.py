"""What setting a trial's plan says: what was changed, and what may no longer change."""

from __future__ import annotations

from collections.abc import Sequence

from trialkit.documents.answers import SetAnswer
from trialkit.languages import Saying
from trialkit.words.layout_words import why_it_stands
from trialkit.words.phrases import ListSaid, listed


def set_lines(made: SetAnswer, folder: str) -> list[str]:
    """Say what was set, and what comes next."""
    if not made.changed:
        return ["Nothing was changed: the trial says so already."]
    told = [f"Set, and written to {listed(made.changed)}."]
    if made.draw_again:
        return [*told, f"The layout was drawn before this. Draw it again: trialkit layout {folder}"]
    return [*told, f"Next: trialkit plan {folder}"]


def frozen_keys_words(reason: str, folder: str, keys: Sequence[str]) -> Saying:
    """Say why keys stay as they are, and which may still change."""
    return Saying(
        "{why} So {keys} can no longer change. These may still: title, season, days, contact, measures, language, "
        "variation, limits, publication and prices. In sites.csv and products.csv all but the names may.",
        why=why_it_stands(reason, folder),
        keys=ListSaid(tuple(keys)),
    )


def frozen_names_words(reason: str, folder: str, file: str, names: Sequence[str]) -> Saying:
    """Say why names of gardens or products stay as they are, and what may still change."""
    told = Saying(
        "{why} So {file} must go on naming just {names}. All beside the names may change.",
        why=why_it_stands(reason, folder),
        file=file,
        names=ListSaid(tuple(names)),
    )
    if file == "sites.csv":
        return Saying(
            '{told} Let a garden join or withdraw with trialkit site {folder} NAME --add --why "..."',
            told=told,
            folder=folder,
        )
    return told


def changed_meanwhile_words(files: Sequence[str]) -> Saying:
    """Say that somebody else changed files since they were shown."""
    return Saying(
        "{files} changed since you opened this page, so nothing was written. Look at it again, then save.",
        files=ListSaid(tuple(files)),
    )
