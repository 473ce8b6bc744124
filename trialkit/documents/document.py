"""Documents as text and back: made once, written, read with validation, handed on as values."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any, TypeVar

SIGNIFICANT_DIGITS = 12
DIALECT = "https://json-schema.org/draft/2020-12/schema"
SCHEMA_HOME = "https://example.org/trialkit/schemas"
"""Where the published schemas would stand: a name that never resolves (RFC 2606), as trialkit has no home page."""

Value = TypeVar("Value")


class Closed:
    """What takes no fields but its own: a document that holds others is damaged."""

    __pydantic_config__ = {"extra": "forbid"}  # noqa: RUF012


class DamagedDocument(ValueError):
    """A text that is not the document it should be; `where` names the place, or is empty."""

    def __init__(self, where: str) -> None:
        super().__init__(f"damaged at {where}" if where else "damaged")
        self.where = where


def as_data(value: Any) -> Any:
    """Return the plain JSON data of a document: numbers to 12 significant digits, missing ones null."""
    if is_dataclass(value):
        return {field.name: as_data(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): as_data(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [as_data(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    if hasattr(value, "item"):  # a number of numpy's
        value = value.item()
    if isinstance(value, float):
        return float(f"{value:.{SIGNIFICANT_DIGITS}g}") if math.isfinite(value) else None
    return value


def as_text(value: Any) -> str:
    """Write a document as JSON: the same value, the same bytes."""
    return json.dumps(as_data(value), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def from_text(kind: type[Value], text: str) -> Value:
    """Read a document of a kind.

    Raises
    ------
    DamagedDocument
        If the text is no JSON, or not of that kind.
    """
    from pydantic import ValidationError

    try:
        found: Value = _adapter(kind).validate_json(text)
    except ValidationError as error:
        raise DamagedDocument(".".join(str(part) for part in error.errors()[0]["loc"])) from error
    return found


def from_data(kind: type[Value], data: Any) -> Value:
    """Read a document of a kind from plain JSON data; raises as `from_text`."""
    return from_text(kind, json.dumps(data))


def as_written(value: Value) -> Value:
    """Return a document as it is once written and read again: numbers to 12 significant digits."""
    return from_data(type(value), as_data(value))


def json_schema(kind: type[Any], name: str, title: str) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a kind of document, for ``schemas/NAME.schema.json``.

    Every property has a description: its class's, where the class describes it under "Attributes".
    """
    schema: dict[str, Any] = _adapter(kind).json_schema(mode="serialization")
    return {"$schema": DIALECT, "$id": f"{SCHEMA_HOME}/{name}.schema.json", **schema, "title": title}


_ADAPTERS: dict[Any, Any] = {}


def _adapter(kind: Any) -> Any:
    """Return what validates a kind of document; made once, as it takes a while."""
    if kind not in _ADAPTERS:
        from pydantic import TypeAdapter

        _ADAPTERS[kind] = TypeAdapter(kind)
    return _ADAPTERS[kind]
