"""Columns in which a CSV file tells the trial and the layout version of its rows, as record sheets head them."""

from collections.abc import Sequence
from dataclasses import replace

from trialkit.returns.finding_log import Log, Place
from trialkit.returns.recognising import HEADER_WITHIN_ROWS
from trialkit.returns.sheets import Returned, SheetText
from trialkit.rules.amendments import FIRST_VERSION
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.headings import plain_heading

MARKS = ("trial", "layout_version")
"""Headings that no table of the record has."""


def without_marks(returned: Returned, trial: CheckedTrial, log: Log) -> Returned:
    """Hold the marks of a CSV file's rows to the trial, refusing those of others, and leave their columns out."""
    if returned.kind != "csv":
        return returned
    return replace(returned, sheets=tuple(_without_marks(sheet, trial, log) for sheet in returned.sheets))


def _without_marks(sheet: SheetText, trial: CheckedTrial, log: Log) -> SheetText:
    headings = (_marked(cells) for _, cells in sheet.rows[:HEADER_WITHIN_ROWS])
    position, marked = next(((at, found) for at, found in enumerate(headings) if found), (0, {}))
    if not marked:
        return sheet
    told: set[tuple[str, str]] = set()
    for row, cells in sheet.rows[position + 1 :]:
        for place, name in marked.items():
            text = cells[place].strip() if place < len(cells) else ""
            if text and (name, text) not in told:
                told.add((name, text))
                _hold(name, text, Place(sheet.name, row, name), trial, log)
    left = [(row, tuple(cell for i, cell in enumerate(cells) if i not in marked)) for row, cells in sheet.rows]
    return replace(sheet, rows=(*sheet.rows[:position], *left[position:]))


def _marked(heading: Sequence[str]) -> dict[int, str]:
    """Return which cells of a row head marks, if others stand beside them."""
    marked = {place: name for place, text in enumerate(heading) if (name := plain_heading(text)) in MARKS}
    return marked if len(heading) > len(marked) else {}


def _hold(name: str, text: str, place: Place, trial: CheckedTrial, log: Log) -> None:
    ours, version = trial.protocol.trial.id, trial.amended.version
    if name == "trial" and text.casefold() != ours.casefold():
        log.refuse("TK-R47", place, "rows", text=text, ours=ours)
    elif name != "trial" and not (text.isdecimal() and FIRST_VERSION <= int(text) <= version):
        log.refuse("TK-R47", place, "rows version", text=text, ours=version)
