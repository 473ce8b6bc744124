"""The tables of one trial, with or without its protocol, as the rules between them see them."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import pandas as pd

from trialkit.documents.problems import FactValue, Problem
from trialkit.documents.returns import Correction
from trialkit.domain.table_names import TableName
from trialkit.protocol.trial_protocol import Protocol
from trialkit.tables.problem import problem
from trialkit.tables.typed_tables import TableReading


@dataclass(frozen=True)
class Tables:
    """What rules between tables are given: each table typed, as far as it could be read."""

    readings: Mapping[TableName, TableReading]

    def frame(self, name: TableName) -> pd.DataFrame:
        """Return a typed table; one that was not read has no rows."""
        return self.readings[name].frame

    def knows_all(self, name: TableName, column: str) -> bool:
        """Tell whether every value of a column was read, so that another's absence from it means something."""
        reading = self.readings[name]
        return reading.complete and column not in reading.missing_columns


@dataclass(frozen=True)
class TrialTables(Tables):
    """What rules between the tables and the protocol are given."""

    protocol: Protocol
    protocol_text: str
    corrections: tuple[Correction, ...] = ()


def at_rows(
    rule: str, reading: TableReading, where: pd.Series, column: str, case: str = "", **values: FactValue
) -> Iterator[Problem]:
    """Make one problem for each row in which `where` is true (missing counts as false), with that row's cell."""
    mask = where.fillna(False).to_numpy(dtype=bool)
    cells = reading.raw.get(column)
    for position in mask.nonzero()[0]:
        text = cells[position] if cells else ""
        row = int(reading.frame.index[position])
        yield problem(rule, reading.file, case, row=row, column=column, text=text, **values)
