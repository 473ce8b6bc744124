"""Published schemas: derived from the classes that make the documents, and described throughout."""

from collections.abc import Iterator
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from trialkit.cli.answer_schemas import answers_schema
from trialkit.documents.recommended_schema import recommended_schema
from trialkit.documents.results_schema import results_schema
from trialkit.protocol.county_schema import county_schema
from trialkit.protocol.protocol_schema import protocol_schema

SCHEMAS = {
    "answers": answers_schema,
    "county": county_schema,
    "protocol": protocol_schema,
    "recommended": recommended_schema,
    "results": results_schema,
}


def undescribed(part: Any, where: str = "") -> Iterator[str]:
    """Places of the properties without a description."""
    if isinstance(part, dict):
        properties = part.get("properties", {})
        yield from (f"{where}.{name}" for name, of in properties.items() if not of.get("description"))
        for name, inner in part.items():
            if name in ("if", "then"):  # a condition repeats properties that are described where they stand
                continue
            yield from undescribed(inner, f"{where}.{name}")
    elif isinstance(part, list):
        for i, inner in enumerate(part):
            yield from undescribed(inner, f"{where}.{i}")


@pytest.mark.parametrize("name", SCHEMAS)
def test_every_property_is_described(name: str) -> None:
    """A reader of the schema alone learns what each number is."""
    assert list(undescribed(SCHEMAS[name]())) == []


@pytest.mark.parametrize("name", SCHEMAS)
def test_a_schema_is_one_with_a_name_of_its_own(name: str) -> None:
    """By the dialect's own meta-schema."""
    schema = SCHEMAS[name]()
    Draft202012Validator.check_schema(schema)
    assert schema["$id"].endswith(f"/{name}.schema.json")
