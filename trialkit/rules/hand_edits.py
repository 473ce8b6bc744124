"""Tables and corrected values that somebody changed by hand after a merge or a correction wrote them."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from trialkit.documents.problems import Problem
from trialkit.documents.returns import Correction, WrittenTable
from trialkit.domain.table_names import TableName
from trialkit.rules.kept_documents import KeptDocuments
from trialkit.tables.atomic import cell_texts, csv_of_texts
from trialkit.tables.problem import problem
from trialkit.tables.typed_tables import TableReading

Cell = tuple[TableName, tuple[str, ...], str]


def content_digest(rows: Iterable[Sequence[str]]) -> str:
    """Return a digest of what a table says, whatever the order of its rows and the way in which a program saved it."""
    return hashlib.sha256(csv_of_texts(sorted(map(tuple, rows))).encode("utf-8", "surrogatepass")).hexdigest()


def is_as_written(written: WrittenTable, sha256: str, reading: TableReading) -> bool:
    """Tell whether a table still says what was written; its bytes are looked at first."""
    if sha256 == written.sha256:
        return True
    columns = [cell_texts(reading.frame[name]) for name in reading.schema.columns]
    return content_digest(zip(*columns, strict=True)) == written.content


def hand_edits(
    kept: KeptDocuments, readings: Mapping[TableName, TableReading], sha256: Mapping[str, str]
) -> Iterator[Problem]:
    """TK-R60: tell of tables that are not as they were written last, and of corrected values that are otherwise now."""
    for name, written in kept.written.tables.items():
        reading = readings[name]
        if reading.file in sha256 and reading.raw and not is_as_written(written, sha256[reading.file], reading):
            yield problem("TK-R60", reading.file)
    newest = {one.cell: one for one in kept.corrections.corrections}
    chosen: dict[Cell, set[str]] = {}
    for conflict in kept.conflicts.conflicts if newest else ():
        chosen.setdefault(conflict.cell, set()).update([conflict.taken] if conflict.rejected is not None else [])
    for cell, one in newest.items():
        found = _found(readings[one.table], one)
        if found is not None and found[1] not in {one.after, *chosen.get(cell, ())}:
            row, text = found
            told = {"text": text, "after": one.after, "by": one.by, "on": one.on}
            yield problem("TK-R60", f"{one.table}.csv", "corrected", row=row, column=one.column, **told)


def _found(reading: TableReading, correction: Correction) -> tuple[int, str] | None:
    """Return the row that a correction is about and what its cell says now; None if the table does not have it."""
    schema = reading.schema
    first = np.array(reading.raw.get(schema.primary_key[0], ()), dtype=object)
    for position in np.flatnonzero(first == correction.key[0]):
        row = reading.frame.iloc[[position]]
        texts = {name: cell_texts(row[name])[0] for name in (*schema.primary_key, correction.column)}
        if schema.key_of(texts) == correction.key:
            return int(row.index[0]), texts[correction.column]
    return None
