"""Table schemas: each column's type, range and meaning, read from one document and compiled to a validator.

The documents are Frictionless Table Schemas (``schemas/*.json``). Keys that start with ``trialkit:`` are ours:
``trialkit:unit`` (UCUM code), ``trialkit:howToFix`` (how to put a bad value right), ``trialkit:optionalColumn`` (the
column may be left out of the file), ``trialkit:wanted`` (forms ask for it), ``trialkit:rare`` (forms do not show it,
and files have it only where some row does), ``trialkit:usualMinimum`` and ``trialkit:usualMaximum`` (beyond them a
number is worth a second look; common practice, no source), ``trialkit:languages`` (its values are the languages that
there are catalogues for).
"""

import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import pandas as pd

from trialkit._resources import resource_folder
from trialkit.documents.problems import FactValue
from trialkit.domain.table_names import TableName
from trialkit.languages import LANGUAGES, gettext

FieldType = Literal["string", "number", "integer", "boolean", "date"]
DTYPES: dict[FieldType, str | None] = {
    "string": None,  # text stays as it was read; missing is None until the table is checked
    "number": "float64",
    "integer": "Int64",
    "boolean": "boolean",
    "date": "datetime64[s]",
}


def said_on_forms(value: str) -> str:
    """Say a value of any list as forms do, in the language that is spoken.

    Examples
    --------
    >>> said_on_forms("not_weighed")
    'not weighed'
    """
    return gettext(value.replace("_", " "))


@dataclass(frozen=True)
class Field:
    """One column: what it holds and which values it accepts.

    Its texts are English, but for those that forms show (`heading`, `unit_words`, `said`), which are in the language
    that is spoken.

    `minimum` and `maximum` are inclusive, in `unit`; for a date they are ISO 8601 texts. A number beyond
    `usual_minimum` or `usual_maximum` is no fault, but worth a second look while one can still read it again. What is
    `wanted` a finished record has, and forms ask for it; a cell left empty says that nobody knows. A `rare` column
    stands in a file only where some row has it, and on no form.
    """

    name: str
    type: FieldType
    title: str
    description: str
    unit: str | None = None
    required: bool = False
    wanted: bool = False
    minimum: float | str | None = None
    maximum: float | str | None = None
    usual_minimum: float | None = None
    usual_maximum: float | None = None
    enum: tuple[str, ...] | None = None
    pattern: str | None = None
    max_length: int | None = None
    optional_column: bool = False
    rare: bool = False
    how_to_fix: str | None = None
    true_values: tuple[str, ...] = ()
    false_values: tuple[str, ...] = ()

    @property
    def unit_words(self) -> str | None:
        """Unit as people write it; None where the title says all, as that of a pH does."""
        return {"[tsp_us]": gettext("teaspoons"), "[pH]": None}.get(self.unit, self.unit) if self.unit else None

    @property
    def heading(self) -> str:
        """Title and unit, as forms head the column."""
        title = gettext(self.title)
        return f"{title} ({self.unit_words})" if self.unit_words else title

    @property
    def listed(self) -> tuple[str, ...]:
        """Values that forms let choose from; nothing of a column that is written freely."""
        return self.enum or (*self.true_values[:1], *self.false_values[:1])

    def said(self, value: str) -> str:
        """Say one of the listed values as forms do."""
        return said_on_forms(value)

    def accepted(self) -> tuple[str, dict[str, FactValue | None]]:
        """Tell which values the column accepts: the kind of limit that says most, and its facts."""
        if self.enum:
            return "choices", {"choices": self.enum}
        if self.type == "boolean":
            return "either", {"yes": self.true_values[0], "no": self.false_values[0]}
        if self.minimum is not None and self.maximum is not None:
            unit = self.unit.strip("[]") if self.unit and "_" not in self.unit else None
            return "range", {"minimum": self.minimum, "maximum": self.maximum, "unit": unit}
        if self.pattern:
            return ("name" if " " in self.pattern else "label"), {}
        return ("length", {"most": self.max_length}) if self.max_length else ("type", {"type": self.type})


@dataclass(frozen=True)
class ForeignKey:
    """A column whose values must stand in a column of another table."""

    column: str
    table: TableName
    other_column: str


@dataclass(frozen=True)
class TableSchema:
    """One table: its columns, its key, and where its names are declared."""

    name: TableName
    title: str
    description: str
    fields: tuple[Field, ...]
    primary_key: tuple[str, ...]
    foreign_keys: tuple[ForeignKey, ...]

    @property
    def file(self) -> str:
        """Name of the table's file in a trial folder."""
        return f"{self.name}.csv"

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of all columns, in order."""
        return tuple(field.name for field in self.fields)

    @property
    def on_forms(self) -> tuple[Field, ...]:
        """The columns that whoever keeps the record is asked for."""
        return tuple(field for field in self.fields if not field.rare)

    def field(self, name: str) -> Field:
        """Return one column's field by its name."""
        return next(field for field in self.fields if field.name == name)

    def key_of(self, row: Mapping[str, str]) -> tuple[str, ...]:
        """Return the key of a row, given as the text of each cell that is not empty."""
        return tuple(row.get(name, "") for name in self.primary_key)


def schema_document(name: TableName) -> dict[str, Any]:
    """Read the published schema of one table."""
    document: dict[str, Any] = json.loads((resource_folder("schemas") / f"{name}.json").read_text("utf-8"))
    return document


@cache
def load_schema(name: TableName) -> TableSchema:
    """Read the schema of one table; that of means is no part of a trial folder.

    Examples
    --------
    >>> load_schema("heads").primary_key
    ('bucket', 'head')
    >>> load_schema("heads").field("weight_g").maximum
    2000
    """
    document = schema_document(name)
    key = document["primaryKey"]
    return TableSchema(
        name=name,
        title=document["title"],
        description=document["description"],
        fields=tuple(_field(entry) for entry in document["fields"]),
        primary_key=(key,) if isinstance(key, str) else tuple(key),
        foreign_keys=tuple(
            ForeignKey(entry["fields"][0], entry["reference"]["resource"], entry["reference"]["fields"][0])
            for entry in document.get("foreignKeys", [])
        ),
    )


def _field(entry: dict[str, Any]) -> Field:
    constraints = entry.get("constraints", {})
    enum = LANGUAGES if entry.get("trialkit:languages") else constraints.get("enum")
    return Field(
        name=entry["name"],
        type=entry["type"],
        title=entry["title"],
        description=entry["description"],
        unit=entry.get("trialkit:unit"),
        required=constraints.get("required", False),
        wanted=entry.get("trialkit:wanted", False),
        minimum=constraints.get("minimum"),
        maximum=constraints.get("maximum"),
        usual_minimum=entry.get("trialkit:usualMinimum"),
        usual_maximum=entry.get("trialkit:usualMaximum"),
        enum=tuple(enum) if enum else None,
        pattern=constraints.get("pattern"),
        max_length=constraints.get("maxLength"),
        optional_column=entry.get("trialkit:optionalColumn", False),
        rare=entry.get("trialkit:rare", False),
        how_to_fix=entry.get("trialkit:howToFix"),
        true_values=tuple(entry.get("trueValues", ())),
        false_values=tuple(entry.get("falseValues", ())),
    )


def compile_schema(schema: TableSchema, present: Collection[str]) -> Any:
    """Compile a schema to a pandera one for a typed frame, as far as the frame's columns are present.

    Each check is named after the constraint of the Table Schema that it enforces.
    """
    import pandera.pandas as pa  # half a second: only when a table is checked

    columns = {
        field.name: pa.Column(DTYPES[field.type], _checks(field), nullable=not field.required)
        for field in schema.fields
        if field.name in present
    }
    key = list(schema.primary_key) if set(schema.primary_key) <= set(present) else None
    return pa.DataFrameSchema(columns, unique=key, report_duplicates="exclude_first", strict=True)


def holds(schema: TableSchema, frame: pd.DataFrame) -> bool:
    """Whether a typed frame, with the columns that its file has, breaks no constraint: pandera tells which it does."""
    for name in frame.columns:
        field, known = schema.field(name), frame[name].dropna()
        if field.required and len(known) < len(frame):
            return False
        if not all(constraint(known).all() for constraint in _constraints(field).values()):
            return False
    key = list(schema.primary_key)
    return not (set(key) <= set(frame.columns) and frame.duplicated(key).any())


def _checks(field: Field) -> list[Any]:
    import pandera.pandas as pa

    return [pa.Check(constraint, error=name) for name, constraint in _constraints(field).items()]


def _constraints(field: Field) -> dict[str, Callable[[pd.Series], Any]]:
    """Which values of a typed column hold to each constraint of the Table Schema, by its name there."""

    def limit(value: Any) -> Any:
        return pd.Timestamp(value) if field.type == "date" else value

    found: dict[str, Callable[[pd.Series], Any]] = {}
    if field.minimum is not None:
        found["minimum"] = lambda column: column >= limit(field.minimum)
    if field.maximum is not None:
        found["maximum"] = lambda column: column <= limit(field.maximum)
    if field.enum is not None:
        found["enum"] = lambda column: column.isin(list(field.enum or ()))
    if field.pattern is not None:
        # A Table Schema pattern must match the whole value; $ alone would let a line end pass.
        found["pattern"] = lambda column: column.str.match(rf"(?:{field.pattern})\Z")
    if field.max_length is not None:
        found["maxLength"] = lambda column: column.str.len() <= field.max_length
    return found
