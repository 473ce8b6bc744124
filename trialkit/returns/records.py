"""The record tables as rows by key, in the text form of the files: read, checked, written."""

import hashlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from trialkit.documents.problems import Problem
from trialkit.documents.returns import Key, WrittenTable
from trialkit.domain.heads import CUT, NOT_WEIGHED, SAYS_NOTHING
from trialkit.domain.table_names import RECORD_TABLES, TABLE_NAMES, TableName
from trialkit.rules import record_rules
from trialkit.rules.hand_edits import content_digest, is_as_written
from trialkit.rules.kept_documents import KeptDocuments
from trialkit.rules.trial_folder import CheckedTrial, clues_for
from trialkit.rules.trial_tables import TrialTables
from trialkit.tables.atomic import cell_texts, csv_of_texts
from trialkit.tables.formula_text import defused
from trialkit.tables.problem import TrialError
from trialkit.tables.source_file import read_source
from trialkit.tables.table_schema import Field, TableSchema, load_schema
from trialkit.tables.typed_tables import TableReading, empty_table, read_table, rows_typed

Row = Mapping[str, str]
"""The cells of a row that are not empty, in the text form of the file, formulas not defused."""
Table = Mapping[Key, Row]
Records = Mapping[TableName, Table]

# What a later return may still fill in.
INCOMPLETE = ("TK-V01", "TK-F08", "TK-F01", "TK-C01")


@dataclass(frozen=True)
class Checked:
    """Rows in the text form of the file, None where a row cannot be used, and what is wrong, by position."""

    rows: tuple[Row | None, ...]
    problems: tuple[tuple[int, Problem], ...]


@dataclass(frozen=True)
class Record:
    """The record tables of a trial folder, which a program saved in its own way, which were changed by hand."""

    tables: Records
    resaved: frozenset[TableName]
    edited: frozenset[TableName]


def read_records(folder: Path, trial: CheckedTrial, kept: KeptDocuments) -> Record:
    """Read the record tables of a trial folder as they are; of the trial no more than its layout need be read.

    `kept` tells how they were written last, and what is known of rows.

    Raises
    ------
    TrialError
        With every cell that cannot be read: merging into such a table could lose it.
    """
    declared: dict[TableName, dict[str, list[str]]]
    declared = {"layout": {"bucket": list(trial.layout["bucket"])}, "sites": {"site": list(trial.sites["site"])}}
    problems: list[Problem] = []
    records: dict[TableName, Table] = {}
    resaved: set[TableName] = set()
    edited: set[TableName] = set()
    for name in RECORD_TABLES:
        schema = load_schema(name)
        source = read_source(folder, schema.file, severity="warning")
        if isinstance(source, Problem):
            records[name] = {}
            problems += [source] if source.rule not in INCOMPLETE else []
            continue
        reading = read_table(schema, source.text, clues=clues_for(kept, schema, trial.protocol, declared))
        problems += [problem for problem in reading.problems if _spoils(problem, schema)]
        records[name] = {schema.key_of(row): row for row in _rows(reading)}
        if any(problem.rule == "TK-F11" for problem in reading.problems):
            resaved.add(name)
        written = kept.written.tables.get(name)
        if written is not None and not is_as_written(written, source.sha256, reading):
            edited.add(name)
    if problems:
        raise TrialError(problems)
    return Record(records, frozenset(resaved), frozenset(edited))


def checked_rows(schema: TableSchema, rows: Sequence[Row]) -> Checked:
    """Bring rows into the text form of the file, checking each cell by the schema; a cell may be missing."""
    reading = rows_typed(schema, rows)
    wrong = tuple(_in_rows(reading))
    unusable = {position for position, _ in wrong}
    texts = dict(zip(reading.frame.index, _rows(reading), strict=True))
    return Checked(tuple(None if i in unusable else texts.get(i + 2) for i in range(len(rows))), wrong)


def _in_rows(reading: TableReading) -> Iterator[tuple[int, Problem]]:
    """Yield what spoils a row, with the position of the row."""
    for problem in reading.problems:
        if problem.row is not None and problem.row > 1 and _spoils(problem, reading.schema):
            yield problem.row - 2, problem


def _spoils(problem: Problem, schema: TableSchema) -> bool:
    """Tell whether a problem is more than something that a later return may fill in."""
    if problem.severity != "error":
        return False
    return problem.rule not in INCOMPLETE or (problem.rule == "TK-V01" and problem.column in schema.primary_key)


def _rows(reading: TableReading) -> list[Row]:
    columns = [cell_texts(reading.frame[name]) for name in reading.schema.columns]
    return [
        {name: text for name, text in zip(reading.schema.columns, texts, strict=True) if text}
        for texts in zip(*columns, strict=True)
    ]


def table_text(name: TableName, table: Table, trial: CheckedTrial) -> str:
    """Write a table as its file, in the order of the layout (visits: of the gardens), then of its key."""
    schema = load_schema(name)
    places = trial.layout["bucket"] if schema.primary_key[0] == "bucket" else trial.sites["site"]
    order = {str(text): place for place, text in enumerate(places)}

    def place(key: Key) -> tuple[int, str, int, str]:
        second = key[1]
        return order.get(key[0], len(order)), key[0], int(second) if second.isdecimal() else 0, second

    fields = [field for field in schema.fields if not field.rare or any(field.name in row for row in table.values())]
    rows = [_defused_cells(fields, table[key]) for key in sorted(table, key=place)]
    return csv_of_texts([[field.name for field in fields], *rows])


def as_written(name: TableName, table: Table, text: str) -> WrittenTable:
    """Tell what is remembered of a table that is written as a text."""
    rows = ([row.get(column, "") for column in load_schema(name).columns] for row in table.values())
    return WrittenTable(hashlib.sha256(text.encode("utf-8")).hexdigest(), content_digest(rows))


def _defused_cells(fields: Sequence[Field], row: Row) -> list[str]:
    texts = ((field.type, row.get(field.name, "")) for field in fields)
    return [defused(text) if kind == "string" else text for kind, text in texts]


def row_problems(
    trial: CheckedTrial, rows: Mapping[TableName, Sequence[Row]]
) -> Iterator[tuple[TableName, int, Problem]]:
    """Find what no later return can fix: cells that are no values, and contradictions within rows and the protocol.

    Each comes with its table and the position of its row; labels are not looked at.
    """
    readings = {name: _reading(trial, name, rows.get(name, ())) for name in TABLE_NAMES}
    for name in rows:
        yield from ((name, position, problem) for position, problem in _in_rows(readings[name]))
    tables = TrialTables(readings, trial.protocol, "")
    found = [
        *record_rules.head_dates_are_in_order(tables),
        *record_rules.heads_not_cut_have_no_harvest(tables),
        *record_rules.dates_lie_in_the_trial(tables),
        *record_rules.heads_fit_the_bucket(tables),
        *record_rules.growth_is_plausible(tables),
    ]
    files = {f"{name}.csv": name for name in RECORD_TABLES}
    for problem in found:
        if problem.severity == "error" and problem.row is not None and problem.file in files:
            yield files[problem.file], problem.row - 2, problem


def _reading(trial: CheckedTrial, name: TableName, rows: Sequence[Row]) -> TableReading:
    schema = load_schema(name)
    if name in RECORD_TABLES:
        return rows_typed(schema, rows) if rows else replace(empty_table(schema), complete=True)
    frame: pd.DataFrame = getattr(trial, name)
    return TableReading(schema, frame.set_axis(pd.RangeIndex(2, len(frame) + 2), axis=0))


def incomplete(schema: TableSchema, rows: Collection[Row]) -> int:
    """Count rows that lack what the record needs in the end: required cells, or the harvest of a harvested head."""

    def lacks(row: Row) -> bool:
        outcome = row.get("outcome")
        needed = [field.name for field in schema.fields if field.required]
        if outcome is None or outcome not in SAYS_NOTHING:
            needed += [field.name for field in schema.fields if field.wanted]
        if outcome in CUT:
            needed += ["harvested_on", *(["weight_g"] * (outcome != NOT_WEIGHED))]
        return any(name not in row for name in needed)

    return sum(map(lacks, rows))
