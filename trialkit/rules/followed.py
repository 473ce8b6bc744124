"""Following one rule after the other: neither a value that is none nor a rule that fails stands in another's way."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import ParamSpec

from trialkit.documents.problems import Problem
from trialkit.domain.table_names import PROTOCOL_FILE
from trialkit.tables.problem import problem
from trialkit.tables.typed_tables import TableReading

Arguments = ParamSpec("Arguments")
FILES = {
    "amendments": "amendments.csv",
    "departure_rules": "solution.csv",
    "hand_edits": "heads.csv",
    "layout_rules": "layout.csv",
    "pattern_rules": "heads.csv",
    "record_rules": "heads.csv",
    "solution_rules": "solution.csv",
}
"""The file that the rules of each module are mostly about."""


def followed(
    rule: Callable[Arguments, Iterable[Problem]], *args: Arguments.args, **kwargs: Arguments.kwargs
) -> list[Problem]:
    """Return what a rule finds; TK-F13: and, where it fails, that it could not be followed, and why."""
    found: list[Problem] = []
    try:  # whatever fails is told beside the rest, not in its place
        for one in rule(*args, **kwargs):
            found.append(one)  # noqa: PERF402 - what was found before a failure counts
    except MemoryError:
        raise  # no fault of the rule
    except Exception as error:
        file = FILES.get(rule.__module__.rpartition(".")[2], PROTOCOL_FILE)
        said = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        found.append(problem("TK-F13", file, name=rule.__name__.replace("_", " "), said=said))
    return found


def without_cells_at_fault(reading: TableReading) -> TableReading:
    """Return a table in which numbers, days, yes and no that are at fault are missing: no rule reckons with them.

    Texts stay as they are: other tables refer to them, and a rule takes a word that it does not know for no more.
    """
    at_fault: dict[str, set[int | None]] = {}
    for one in reading.problems:
        if one.severity == "error" and one.row is not None and one.column is not None and one.rule.startswith("TK-V"):
            at_fault.setdefault(one.column, set()).add(one.row)
    frame, schema = reading.frame, reading.schema
    missing = {
        name: frame[name].mask(frame.index.isin(rows))
        for name, rows in at_fault.items()
        if schema.field(name).type != "string"
    }
    return replace(reading, frame=frame.assign(**missing)) if missing else reading
