"""The rows of one returned file as they can be merged: read, repaired and checked by their schema."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from trialkit.documents.problems import Problem
from trialkit.domain.table_names import TableName
from trialkit.returns.finding_log import Log, Place
from trialkit.returns.records import Row, checked_rows
from trialkit.returns.repairs import ReturnedRow, Rows, rows_of
from trialkit.returns.returned_file import Original, read_return
from trialkit.returns.sheets import Returned
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.table_schema import load_schema

Blamed = set[tuple[Any, ...]]


@dataclass(frozen=True)
class ReadRows:
    """A returned file as it was read."""

    returned: Returned
    rows: Rows
    usable: Annotated[Mapping[TableName, Sequence[Row]], "In the text form of the tables."]
    places: Annotated[Mapping[TableName, Sequence[ReturnedRow]], "Of each usable row."]
    blamed: Annotated[Blamed, "Cells that something was found of."]


def read_rows(original: Original, trial: CheckedTrial, log: Log) -> ReadRows:
    """Read a returned file; unless the log is clear then, its rows must not be merged.

    Raises
    ------
    UnreadableReturn
        If nothing of it can be read; the log says why.
    """
    returned = read_return(original, log)
    rows = rows_of(returned, trial, log)
    blamed: Blamed = {(f.sheet, f.row, f.column) for f in log.findings if f.verdict != "repaired"}
    usable, places = _typed(rows, blamed, log)
    return ReadRows(returned, rows, usable, places, blamed)


def _typed(
    rows: Rows, blamed: Blamed, log: Log
) -> tuple[dict[TableName, list[Row]], dict[TableName, list[ReturnedRow]]]:
    """Bring rows into the text form of the files; refuse what the schema refuses."""
    usable: dict[TableName, list[Row]] = {}
    places: dict[TableName, list[ReturnedRow]] = {}
    asked = any(finding.rule in ("TK-R21", "TK-R22") for finding in log.of("question"))
    for name, returned in rows.by_table.items():
        key = set(load_schema(name).primary_key)
        maybe_asked = asked and not key <= {column for row in returned for column in row.values}
        checked = checked_rows(load_schema(name), [row.values for row in returned])
        for position, problem in checked.problems:
            if not (maybe_asked and problem.column in key):  # a heading that is asked about may be its own
                refuse_cell(returned[position].place, problem, blamed, log)
        kept = [(row, where) for row, where in zip(checked.rows, returned, strict=True) if row is not None]
        usable[name], places[name] = [row for row, _ in kept], [where for _, where in kept]
    return usable, places


def refuse_cell(place: Place, problem: Problem, blamed: Blamed, log: Log) -> None:
    """Pass on a problem of the check, unless its cell is blamed already."""
    cell = (place.sheet, place.row, problem.column)
    if cell not in blamed:
        blamed.add(cell)
        log.refuse_as_checked(problem, Place(place.sheet, place.row, problem.column))
