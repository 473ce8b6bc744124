"""A table of the trial folder: text cells, typed columns, and what is wrong with each cell (first cause only)."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import chain
from typing import Annotated, Any, Literal

import numpy as np
import pandas as pd

from trialkit.documents.problems import Problem
from trialkit.domain.reading_budget import PLAN_TABLE, TABLE
from trialkit.domain.table_names import RECORD_TABLES
from trialkit.tables.cell_values import Parsed, boolean_parser, parse_date, parse_integer, parse_number, parse_text
from trialkit.tables.formula_text import shielded
from trialkit.tables.nearest import nearest_name
from trialkit.tables.problem import are_too_many, first_problems, problem
from trialkit.tables.raw_table import RawTable, parse_csv
from trialkit.tables.resaved import NO_CLUES, Clues, as_it_was
from trialkit.tables.table_schema import DTYPES, Field, TableSchema, compile_schema, holds

# Which rule a broken constraint of the schema belongs to; names as `compile_schema` and pandera give them.
CONSTRAINT_RULES = {
    "not_nullable": "TK-V01",
    "minimum": "TK-V10",
    "maximum": "TK-V10",
    "enum": "TK-V11",
    "pattern": "TK-V12",
    "maxLength": "TK-V13",
    "multiple_fields_uniqueness": "TK-K01",
}


@dataclass(frozen=True)
class TableReading:
    """What could be read of one table."""

    schema: Annotated[TableSchema, "What was expected."]
    frame: Annotated[
        pd.DataFrame,
        "Typed columns, all those of the schema and no others; the index is the spreadsheet row. A missing text is "
        '``""``, a missing number NaN, a missing integer, date or yes/no NA.',
    ]
    missing_columns: Annotated[frozenset[str], "Columns that the file does not have (blank in `frame`)."] = frozenset()
    complete: Annotated[bool, "False when rows had to be left out."] = True
    problems: tuple[Problem, ...] = ()
    raw: dict[str, list[str]] = field(default_factory=dict, repr=False)

    @property
    def file(self) -> str:
        """Name of the file."""
        return self.schema.file

    def rows_at_fault(self, column: str) -> set[int | None]:
        """Return the rows in which a column's cell has an error already."""
        return {p.row for p in self.problems if p.column == column and p.severity == "error"}


def empty_table(schema: TableSchema) -> TableReading:
    """Return a table without rows, for a file that is not there or cannot be read."""
    return TableReading(
        schema, _finished(schema, _typed_frame(schema, {}, [])), frozenset(schema.columns), complete=False
    )


def read_table(
    schema: TableSchema,
    text: str,
    *,
    severity_if_empty: Literal["error", "warning"] = "error",
    clues: Clues = NO_CLUES,
) -> TableReading:
    """Type and check one table by its own schema, as it was before a spreadsheet program saved it in its own way.

    `clues` are what settles how such a table is read; links to other tables are not checked.
    """
    raw = parse_csv(schema.file, text, TABLE if schema.name in RECORD_TABLES else PLAN_TABLE)
    if isinstance(raw, Problem):
        empty = raw.rule == "TK-F08"
        found = replace(raw, severity=severity_if_empty) if empty else raw
        return replace(empty_table(schema), problems=(found,))
    twice = {problem.column for problem in raw.problems if problem.rule == "TK-C03"}
    if twice & set(schema.columns):
        return replace(empty_table(schema), problems=raw.problems)
    raw, resaved = as_it_was(schema, raw, clues)
    if resaved is None:
        return _reading(schema, raw, severity_if_empty)
    if resaved.severity == "error":
        return replace(empty_table(schema), problems=(resaved,))
    reading = _reading(schema, raw, severity_if_empty)
    return replace(reading, problems=(resaved, *reading.problems))


def rows_typed(schema: TableSchema, rows: Sequence[Mapping[str, str]]) -> TableReading:
    """Type and check rows that are at hand, as `read_table` would from their file.

    Each row has the text of the cells that are not empty, as it is meant: no formula defused. Rows without any are left
    out; the first row is row 2, as below a header.
    """
    filled = {number: row for number, row in enumerate(rows, 2) if any(map(str.strip, row.values()))}
    cells = {name: [row.get(name, "").strip() for row in filled.values()] for name in schema.columns}
    for name in (column.name for column in schema.fields if column.type == "string"):
        cells[name] = [shielded(text) for text in cells[name]]
    return _reading(schema, RawTable(cells, list(filled), True, ()), "error")


def _reading(schema: TableSchema, raw: RawTable, severity_if_empty: Literal["error", "warning"]) -> TableReading:
    values = {name: _Column(schema.field(name), cells) for name, cells in raw.cells.items() if name in schema.columns}
    frame = _typed_frame(schema, values, raw.rows)
    cell_problems = (p for name, column in values.items() for p in column.problems(schema.file, raw.rows))
    problems = chain(raw.problems, _heading_problems(schema, raw, severity_if_empty), cell_problems)
    found = first_problems(problems, schema.file)
    if are_too_many(found):
        return replace(empty_table(schema), problems=found)
    reading = TableReading(
        schema,
        frame,
        frozenset(schema.columns) - set(raw.cells),
        raw.complete,
        found,
        raw.cells,
    )
    return _with_constraints_checked(reading)


class _Column:
    """The text cells of one column, each distinct text parsed once."""

    def __init__(self, field: Field, cells: Sequence[str]) -> None:
        self.field, self.cells = field, cells
        parse = _parser(field)
        self.places, texts = pd.factorize(np.array(cells, dtype=object))
        self.parsed = {text: parse(text) if text else Parsed(None) for text in texts}

    @property
    def typed(self) -> object:
        """The column's values, in the type of its field."""
        distinct = _typed(self.field, [parsed.value for parsed in self.parsed.values()])
        return distinct.take(self.places)

    def problems(self, file: str, rows: Sequence[int]) -> Iterator[Problem]:
        faults = {text: parsed.fault for text, parsed in self.parsed.items() if parsed.fault}
        if not faults:
            return
        for row, text in zip(rows, self.cells, strict=True):
            if fault := faults.get(text):
                yield problem(fault.rule, file, fault.case, row=row, column=self.field.name, text=text, **fault.facts)


def _parser(field: Field) -> Callable[[str], Parsed]:
    if field.type == "boolean":
        return boolean_parser(field.true_values, field.false_values)
    return {"string": parse_text, "number": parse_number, "integer": parse_integer, "date": parse_date}[field.type]


def _typed_frame(schema: TableSchema, columns: dict[str, _Column], rows: Sequence[int]) -> pd.DataFrame:
    blank = [""] * len(rows)
    return pd.DataFrame(
        {field.name: (columns.get(field.name) or _Column(field, blank)).typed for field in schema.fields},
        index=pd.Index(rows, dtype="int64", name="row"),
    )


def _typed(field: Field, values: list[object]) -> Any:
    dtype = DTYPES[field.type]
    if field.type == "string":
        return np.array(values, dtype=object)
    if field.type == "date":
        return np.array(values, dtype=dtype)
    return pd.array(values, dtype=dtype) if field.type != "number" else np.array(values, dtype="float64")


def _finished(schema: TableSchema, frame: pd.DataFrame) -> pd.DataFrame:
    texts = [field.name for field in schema.fields if field.type == "string"]
    return frame.assign(**{name: frame[name].fillna("").astype(str) for name in texts})


def _heading_problems(
    schema: TableSchema, raw: RawTable, severity_if_empty: Literal["error", "warning"]
) -> Iterator[Problem]:
    unknown = [name for name in raw.cells if name not in schema.columns]
    absent = [field.name for field in schema.fields if field.name not in raw.cells]
    for name in unknown:
        near = nearest_name(name, absent)
        yield problem(
            "TK-C02", schema.file, row=1, column=name or None, heading=name, columns=schema.columns, near=near
        )
    for name in absent:
        if not schema.field(name).optional_column:
            yield problem("TK-C01", schema.file, row=1, column=name)
    if not raw.rows and raw.complete:
        needed = tuple(field.name for field in schema.fields if field.required)
        empty = problem("TK-F08", schema.file, "no rows", schema=schema.name, needed=needed)
        yield replace(empty, severity=severity_if_empty)


def _with_constraints_checked(reading: TableReading) -> TableReading:
    """Run the compiled schema over the typed frame; a cell that could not be read is not blamed twice."""
    present = [name for name in reading.schema.columns if name not in reading.missing_columns]
    frame = reading.frame[present]
    problems = () if holds(reading.schema, frame) else _broken_constraints(reading, frame)
    found = first_problems((*reading.problems, *problems), reading.file)
    if are_too_many(found):
        return replace(empty_table(reading.schema), problems=found)
    frame = _without_values_at_fault(reading.frame, problems)
    return replace(reading, frame=_finished(reading.schema, frame), problems=found)


def _without_values_at_fault(frame: pd.DataFrame, problems: Iterable[Problem]) -> pd.DataFrame:
    """Leave out what is out of range, as what cannot be read is: rules must not reckon with a pH of 77."""
    rows: dict[str, list[int]] = {}
    for one in problems:
        if one.rule == "TK-V10" and one.column is not None and one.row is not None:
            rows.setdefault(one.column, []).append(one.row)
    return frame.assign(**{name: frame[name].mask(frame.index.isin(wrong)) for name, wrong in rows.items()})


def _broken_constraints(reading: TableReading, frame: pd.DataFrame) -> tuple[Problem, ...]:
    import pandera.errors  # half a second, and a table that holds does without

    try:
        compile_schema(reading.schema, list(frame.columns)).validate(frame, lazy=True)
    except pandera.errors.SchemaErrors as errors:
        return tuple(_constraint_problems(reading, errors.failure_cases))
    return ()


def _constraint_problems(reading: TableReading, failures: pd.DataFrame) -> Iterator[Problem]:
    schema, positions = reading.schema, {row: place for place, row in enumerate(reading.frame.index)}
    first_rows: dict[tuple[str, ...], int] = {}
    blamed = {name: reading.rows_at_fault(name) for name in schema.columns}
    for row, column, check in zip(failures["index"], failures["column"], failures["check"], strict=True):
        rule = CONSTRAINT_RULES[check]
        if rule == "TK-K01":
            if column != schema.primary_key[-1] or any(row in blamed[name] for name in schema.primary_key):
                continue
            first_rows = first_rows or _first_rows(reading)
            yield _repeated_key(reading, row, positions[row], first_rows)
        elif row not in blamed[column]:
            blamed[column].add(row)
            yield _broken_constraint(reading, rule, row, column, positions[row])


def _broken_constraint(reading: TableReading, rule: str, row: int, column: str, position: int) -> Problem:
    entry, text = reading.schema.field(column), reading.raw[column][position]
    near = _nearest(text, entry.enum) if entry.enum else None
    case, limits = ("", {}) if rule == "TK-V01" else entry.accepted()
    schema = reading.schema.name
    return problem(rule, reading.file, case, row=row, column=column, schema=schema, text=text, near=near, **limits)


@lru_cache(maxsize=1000)
def _nearest(text: str, known: tuple[str, ...]) -> str | None:
    """Remember the answer: one slip is often copied down a whole column."""
    return nearest_name(text, known)


def _first_rows(reading: TableReading) -> dict[tuple[str, ...], int]:
    """Map each key, as typed, to the row that has it first."""
    keys = zip(*(reading.raw[name] for name in reading.schema.primary_key), strict=True)
    first: dict[tuple[str, ...], int] = {}
    for key, row in zip(keys, reading.frame.index, strict=True):
        first.setdefault(key, row)
    return first


def _repeated_key(reading: TableReading, row: int, position: int, first_rows: dict[tuple[str, ...], int]) -> Problem:
    names = reading.schema.primary_key
    key = tuple(reading.raw[name][position] for name in names)
    pairs = tuple(part for pair in zip(names, key, strict=True) for part in pair)
    first = first_rows[key]
    if first == row:  # "1" and "1.0" are the same head: the first row may be written otherwise
        return problem("TK-K01", reading.file, "earlier row", row=row, column=names[-1], key=pairs)
    return problem("TK-K01", reading.file, row=row, column=names[-1], key=pairs, first_row=first)
