"""Merging returned rows into the record by key: new rows, the same, filled-in cells, conflicts. Pure."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated

from trialkit.documents.returns import Key, TableCounts
from trialkit.domain.table_names import TableName
from trialkit.returns.records import Records, Row, Table
from trialkit.tables.table_schema import load_schema


@dataclass(frozen=True)
class Difference:
    """A returned value that the record has otherwise."""

    table: TableName
    key: Key
    column: str
    kept: str
    returned: str

    @property
    def cell(self) -> tuple[TableName, Key, str]:
        """The cell that it is about."""
        return self.table, self.key, self.column


@dataclass(frozen=True)
class Merged:
    """The record after a return."""

    records: Records
    counts: Mapping[TableName, TableCounts]
    differences: Annotated[tuple[Difference, ...], "Values that were not taken, because the record says otherwise."]
    gave: Annotated[
        Mapping[TableName, Mapping[Key, tuple[str, ...]]], "The columns of each row that came from this return."
    ]


def overlaid(row: Row, returned: Row) -> Row:
    """Return a row with its empty cells filled in from a returned one; what it says already stays."""
    return {**returned, **row}


def merge(
    records: Records, returned: Mapping[TableName, Sequence[Row]], settled: Callable[[Difference], bool]
) -> Merged:
    """Merge a return into the record; a value is never overwritten.

    `returned` is in the text form of the files, no key twice; `settled` tells whether a difference was decided before,
    so that it is no conflict any more.

    Examples
    --------
    >>> record = {"visits": {("FERN", "2026-08-20"): {"site": "FERN", "visited_on": "2026-08-20"}}}
    >>> row = {"site": "FERN", "visited_on": "2026-08-20", "note": "all well"}
    >>> merged = merge(record, {"visits": [row]}, lambda difference: False)
    >>> merged.counts["visits"].filled_in, merged.records["visits"][("FERN", "2026-08-20")]["note"]
    (1, 'all well')
    """
    tables = dict(records)
    counts: dict[TableName, TableCounts] = {}
    differences: list[Difference] = []
    gave: dict[TableName, dict[Key, tuple[str, ...]]] = {}
    for name, rows in returned.items():
        table: dict[Key, Row] = dict(tables.get(name, {}))
        tally = {"new": 0, "same": 0, "filled_in": 0, "conflicting": 0}
        for row in rows:
            key = load_schema(name).key_of(row)
            kind, columns, differ = _one(name, key, table.get(key), row, settled)
            tally[kind] += 1
            differences += differ
            if columns:
                table[key] = overlaid(table.get(key, {}), row)
                gave.setdefault(name, {})[key] = columns
        tables[name], counts[name] = table, TableCounts(**tally)
    return Merged(tables, counts, tuple(differences), gave)


def _one(
    name: TableName, key: Key, known: Row | None, row: Row, settled: Callable[[Difference], bool]
) -> tuple[str, tuple[str, ...], list[Difference]]:
    if known is None:
        return "new", tuple(row), []
    fresh = tuple(column for column in row if column not in known)
    differ = [
        difference
        for column, text in row.items()
        if column in known
        and known[column] != text
        and not settled(difference := Difference(name, key, column, known[column], text))
    ]
    kind = "conflicting" if differ else "filled_in" if fresh else "same"
    return kind, fresh, differ


def with_value(table: Table, key: Key, column: str, value: str) -> Table:
    """Return a table with one value put in place of another."""
    return {**table, key: {**table[key], column: value}}
