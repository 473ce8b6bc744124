"""The published table schemas: valid, complete, and enforced as written."""

import json
import re
from collections.abc import Callable

import pytest

from trialkit.domain.heads import OUTCOMES
from trialkit.domain.table_names import TABLE_NAMES, TableName
from trialkit.tables.table_schema import Field, load_schema
from trialkit.tables.typed_tables import read_table

# Frictionless Table Schema, field constraints and property names (datapackage.org, version 2).
CONSTRAINTS = {"required", "unique", "minLength", "maxLength", "minimum", "maximum", "pattern", "enum"}
FIELD_KEYS = {"name", "type", "title", "description", "constraints", "trueValues", "falseValues"}
EVERY_FIELD = [(name, field) for name in TABLE_NAMES for field in load_schema(name).fields]


@pytest.mark.parametrize("name", TABLE_NAMES)
def test_schemas_keep_to_the_standard(name: TableName, schema_text: Callable[[str], str]) -> None:
    """Every key is of the Table Schema standard or begins with trialkit:; every field says what it is."""
    document = json.loads(schema_text(f"{name}.json"))
    names = [field["name"] for field in document["fields"]]
    assert document["missingValues"] == [""]
    assert set(document["primaryKey"]) <= set(names)
    for key in document.get("foreignKeys", []):
        other = load_schema(key["reference"]["resource"])
        assert set(key["fields"]) <= set(names)
        assert set(key["reference"]["fields"]) <= set(other.primary_key)
    for field in document["fields"]:
        assert {key for key in field if not key.startswith("trialkit:")} <= FIELD_KEYS
        assert set(field["constraints"]) <= CONSTRAINTS
        assert field["title"]
        assert field["description"].endswith(".")
        assert re.fullmatch(r"[a-z0-9_]+", field["name"])


def table_with(name: TableName, field: Field, value: str) -> set[tuple[str, str | None]]:
    """Return the rules that one cell breaks in a table that has that column alone filled."""
    columns = load_schema(name).columns
    row = ",".join(value if column == field.name else "" for column in columns)
    problems = read_table(load_schema(name), f"{','.join(columns)}\n{row},\n".replace(",\n", "\n")).problems
    return {(p.rule, p.column) for p in problems if p.column == field.name}


@pytest.mark.parametrize(("name", "field"), [(n, f) for n, f in EVERY_FIELD if f.minimum is not None])
def test_ranges_hold_at_their_very_ends(name: TableName, field: Field) -> None:
    """The ends of a range are accepted, the next value outside is not."""
    if field.type == "date":
        inside, outside = [str(field.minimum), str(field.maximum)], ["1999-12-31", "2101-01-01"]
    else:
        low, high = float(field.minimum or 0), float(field.maximum or 0)
        step = 1 if field.type == "integer" else 1e-9 * max(1, abs(high))
        inside = [f"{low:.12g}", f"{high:.12g}"]
        outside = [f"{low - step:.12f}".rstrip("0").rstrip("."), f"{high + step:.12f}".rstrip("0").rstrip(".")]
    assert [table_with(name, field, value) for value in inside] == [set(), set()]
    assert [table_with(name, field, value) for value in outside] == [{("TK-V10", field.name)}] * 2


@pytest.mark.parametrize(("name", "field"), [(n, f) for n, f in EVERY_FIELD if f.required])
def test_required_cells_must_be_filled(name: TableName, field: Field) -> None:
    """A required cell left empty is an error in its own column."""
    other = next(column for column in reversed(load_schema(name).columns) if column != field.name)
    columns = load_schema(name).columns
    row = ",".join("1" if column == other else "" for column in columns)
    problems = read_table(load_schema(name), f"{','.join(columns)}\n{row}\n").problems
    assert ("TK-V01", field.name) in {(p.rule, p.column) for p in problems}


@pytest.mark.parametrize("name", [" x", "B:1", "=1+1", "B01\n", "B" * 13, "Bücket"])
def test_identities_are_plain(name: str) -> None:
    """A bucket's identity is letters, figures and hyphens from end to end (blanks around it are taken off)."""
    problems = read_table(load_schema("layout"), f'bucket,site\n"{name}",x\n').problems
    wrong = [p.rule for p in problems if p.column == "bucket"]
    assert wrong == ([] if name.strip() in ("x", "B01") else ["TK-V12"])


def test_every_outcome_has_a_meaning() -> None:
    """The outcomes that heads.csv accepts are those of which the domain says what they tell; empty is the last."""
    assert (*(load_schema("heads").field("outcome").enum or ()), "") == tuple(OUTCOMES)
