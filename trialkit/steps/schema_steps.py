"""What ``trialkit schema`` shows."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from trialkit.domain.table_names import OPTIONAL_TABLES, TABLE_NAMES, TableName
from trialkit.tables.table_schema import Field, load_schema, schema_document
from trialkit.words.problem_words import accepted_words

if TYPE_CHECKING:
    import pandas as pd

OTHERS: tuple[TableName, ...] = ("means", "people")
"""Tables that are no part of a trial folder."""
WIDTH = 100


def dictionary_document(table: TableName | None) -> Any:
    """Return a table's published schema, or all of them by name."""
    return schema_document(table) if table else {name: schema_document(name) for name in (*TABLE_NAMES, *OTHERS)}


def dictionary_lines(table: TableName | None) -> Iterator[str]:
    """Say what a table holds, column by column, or list the tables."""
    if table is None:
        for name in (*TABLE_NAMES, *OTHERS):
            schema = load_schema(name)
            may = " (if you have it)" if name in OPTIONAL_TABLES else ""
            yield f"{schema.file:<16}{schema.title}{may}: {len(schema.fields)} columns"
        yield "To see them, name a table: trialkit schema heads"
        return
    schema = load_schema(table)
    yield from textwrap.wrap(f"{schema.file}: {schema.description}", WIDTH)
    yield f"One row for each {' and '.join(schema.primary_key)}."
    for field in schema.fields:
        yield ""
        yield f"{field.name} ({', '.join(_kind(field))})"
        told = f"{field.description} Takes {accepted_words(field)}."
        yield from textwrap.wrap(told, WIDTH, initial_indent="    ", subsequent_indent="    ")


def dictionary_frame(table: TableName) -> pd.DataFrame:
    """Return a table's columns: name, type, unit, whether it must be given, what it takes and what it means."""
    import pandas as pd

    fields = load_schema(table).fields
    rows = [(one.name, one.type, one.unit or "", one.required, accepted_words(one), one.description) for one in fields]
    return pd.DataFrame(rows, columns=["column", "type", "unit", "required", "takes", "meaning"])


def _kind(field: Field) -> Iterator[str]:
    yield field.type
    if field.unit:
        yield field.unit
    yield "must be given" if field.required else "may be left out" if field.optional_column else "may be empty"
