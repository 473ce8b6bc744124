"""Cells of the record as people say them, in the language that is spoken: which one, and what it says."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from trialkit.languages import gettext, in_figures
from trialkit.tables.table_schema import load_schema
from trialkit.words.phrases import date_words
from trialkit.words.question_words import asked_record

if TYPE_CHECKING:
    from trialkit.domain.table_names import TableName


def row_words(table: TableName, key: Sequence[str]) -> str:
    """Name a row of the record by its key.

    Examples
    --------
    >>> row_words("heads", ("334X", "2")), row_words("visits", ("FERN", "2026-08-20"))
    ('Bucket 334X, head 2', 'Garden FERN, 20 August 2026')
    """
    schema = load_schema(table)
    first, second = schema.primary_key
    place = gettext("Bucket {bucket}", bucket=key[0]) if first == "bucket" else gettext("Garden {site}", site=key[0])
    record = asked_record({second: key[1]})
    return f"{place}, {record[:1].lower()}{record[1:]}"


def column_title(table: TableName | None, column: str) -> str:
    """Name a column, its values having their unit; one that the table does not have by itself.

    Examples
    --------
    >>> column_title("heads", "weight_g"), column_title("heads", "Head wt"), column_title(None, "Head wt")
    ('Head weight', 'Head wt', 'Head wt')
    """
    schema = None if table is None else load_schema(table)
    return gettext(schema.field(column).title) if schema is not None and column in schema.columns else column


def value_words(table: TableName, column: str, text: str) -> str:
    """Say what a cell of the record says.

    Examples
    --------
    >>> value_words("heads", "weight_g", "142.5"), value_words("heads", "harvested_on", "2026-09-29")
    ('142.5 g', '29 September 2026')
    >>> value_words("heads", "outcome", "not_weighed"), value_words("heads", "note", "")
    ('not weighed', 'nothing')
    """
    field = load_schema(table).field(column)
    if not text:
        return gettext("nothing")
    if field.type == "date":
        return date_words(text) or text
    if text in field.listed:
        return field.said(text)
    if field.type in ("number", "integer"):
        return " ".join(filter(None, (in_figures(text), field.unit_words)))
    return text
