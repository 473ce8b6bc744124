"""Documents as text and back: made once, written, read with validation, handed on as values."""

from __future__ import annotations

import inspect
import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any, Literal, TypeVar, get_args, get_type_hints

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
    if value is None or isinstance(value, str | int):  # first what most of a document is
        return value
    if isinstance(value, float):
        return float(f"{value:.{SIGNIFICANT_DIGITS}g}") if math.isfinite(value) else None
    if is_dataclass(value):
        return {field.name: as_data(getattr(value, field.name)) for field in fields(value)}
    if hasattr(type(value), "model_fields"):
        return {name: as_data(getattr(value, name)) for name in type(value).model_fields}
    if isinstance(value, list | tuple):
        return [as_data(item) for item in value]
    if isinstance(value, Mapping):
        return {str(key): as_data(item) for key, item in value.items()}
    if isinstance(value, date):
        return value.isoformat()
    return as_data(value.item()) if hasattr(value, "item") else value  # a number of numpy's


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


def json_schema(
    kind: type[Any], name: str, title: str, *, mode: Literal["serialization", "validation"] = "serialization"
) -> dict[str, Any]:
    """Return the JSON Schema (2020-12) of a kind of document, for ``schemas/NAME.schema.json``.

    Properties are described by the texts that annotations carry: `Annotated[float, "Of what, in g."]`.
    """
    schema: dict[str, Any] = _adapter(kind).json_schema(mode=mode)
    classes = {one.__name__: one for one in _classes_in(kind)}
    for part, of in ((schema, kind), *((part, classes.get(of)) for of, part in schema.get("$defs", {}).items())):
        if of is not None and part.get("type") == "object":
            _describe(part, of)
    return {"$schema": DIALECT, "$id": f"{SCHEMA_HOME}/{name}.schema.json", **schema, "title": title}


def _describe(schema: dict[str, Any], of: type[Any]) -> None:
    """Put the words that a class has for itself and its fields into its schema."""
    if of.__doc__:
        schema["description"] = inspect.cleandoc(of.__doc__)
    described = field_descriptions(of)
    for name, property_ in schema.get("properties", {}).items():
        if name in described:
            property_.setdefault("description", described[name])


def field_descriptions(of: type[Any]) -> dict[str, str]:
    """Read what each field of a class is: the text that its annotation carries.

    Examples
    --------
    >>> from trialkit.domain.treatment import Treatment
    >>> field_descriptions(Treatment)["dose_tsp"]
    'Level teaspoons of nutrient a bucket.'
    """
    hints = get_type_hints(of, include_extras=True)
    texts = {
        name: [one for one in getattr(hint, "__metadata__", ()) if isinstance(one, str)] for name, hint in hints.items()
    }
    return {name: found[0] for name, found in texts.items() if found}


def _classes_in(kind: Any) -> Iterator[type[Any]]:
    """Every class with fields that a kind of document is made of, each once."""
    seen: set[Any] = set()
    waiting = [kind]
    while waiting:
        one = waiting.pop()
        if one in seen:
            continue
        seen.add(one)
        if isinstance(one, type) and (is_dataclass(one) or hasattr(one, "model_fields")):
            yield one
            fields_of = getattr(one, "model_fields", None)
            waiting += [f.annotation for f in fields_of.values()] if fields_of else get_type_hints(one).values()
        waiting += [inner for inner in get_args(one) if not isinstance(inner, str)]


_ADAPTERS: dict[Any, Any] = {}


def _adapter(kind: Any) -> Any:
    """Return what validates a kind of document; made once, as it takes a while."""
    if kind not in _ADAPTERS:
        from pydantic import TypeAdapter

        _ADAPTERS[kind] = TypeAdapter(kind)
    return _ADAPTERS[kind]
