"""Documents as text and back: made once, written, read with validation, handed on as values."""

from __future__ import annotations

import hashlib
import inspect
import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any, Literal, TypeVar, get_args, get_type_hints

SIGNIFICANT_DIGITS = 12
ALIKE, ALIKE_NEAR_ZERO = 1e-5, 1e-9
"""How near two numbers are, of which another library or processor may have calculated one."""
MOST_PLACES = 10_000
"""Of damage that are looked at to name the first: a text of millions is no document, and each takes memory."""
DIALECT = "https://json-schema.org/draft/2020-12/schema"
SCHEMA_HOME = "https://example.org/trialkit/schemas"
"""Where the published schemas would stand: a name that never resolves (RFC 2606), as trialkit has no home page."""

Value = TypeVar("Value")


class Closed:
    """What takes no fields but its own: a document that holds others is damaged."""

    __pydantic_config__ = {"extra": "forbid"}  # noqa: RUF012


class Sealed:
    """What holds, as `sha256`, a digest of all its other content: a text that was altered by hand is damaged there."""


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
    if isinstance(value, list | tuple):
        return [as_data(item) for item in value]
    if isinstance(value, Mapping):
        return {str(key): as_data(item) for key, item in value.items()}
    if isinstance(value, date):
        return value.isoformat()
    return as_data(value.item()) if hasattr(value, "item") else value  # a number of numpy's


def as_text(value: Any) -> str:
    """Write a document as JSON, sealed where it is to be: the same value, the same bytes."""
    data = as_data(value)
    if isinstance(value, Sealed):
        data["sha256"] = _seal_of(data)
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _seal_of(data: Mapping[str, Any]) -> str:
    content = {key: item for key, item in data.items() if key != "sha256"}
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode("ascii")).hexdigest()


def digest_of(value: Any) -> str:
    """Return the SHA-256 digest of a document as it is written."""
    return hashlib.sha256(as_text(value).encode("utf-8")).hexdigest()


def from_text(kind: type[Value], text: str) -> Value:
    """Read a document of a kind.

    Raises
    ------
    DamagedDocument
        If the text is no JSON, not of that kind, or sealed and altered.
    """
    from pydantic import ValidationError

    try:
        found: Value = _validator(kind).validate_json(text)
    except ValidationError as error:
        few = error.error_count() <= MOST_PLACES
        raise DamagedDocument(".".join(map(str, error.errors()[0]["loc"])) if few else "") from None
    if isinstance(kind, type) and issubclass(kind, Sealed):
        _require_sealed(text)
    return found


def _require_sealed(text: str) -> None:
    try:
        data = json.loads(text)
    except ValueError as error:  # an integer of thousands of digits, where a document has no field
        raise DamagedDocument("") from error
    if not data.get("sha256"):
        raise DamagedDocument("schema")  # as it was before documents were sealed
    if data["sha256"] != _seal_of(data):
        raise DamagedDocument("sha256")


def as_written(value: Value) -> Value:
    """Return a document as it is once written and read again: numbers to 12 significant digits."""
    return from_text(type(value), as_text(value))


def is_alike(one: Any, other: Any) -> bool:
    """Whether plain data of two documents are the same but for what another library, or processor, does to last digits.

    Examples
    --------
    >>> is_alike({"gain": [1.0, None]}, {"gain": [1.0000001, None]}), is_alike([1.0], [1.001])
    (True, False)
    """
    if isinstance(one, Mapping) and isinstance(other, Mapping):
        return one.keys() == other.keys() and all(is_alike(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(is_alike, one, other))
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=ALIKE, abs_tol=ALIKE_NEAR_ZERO)
    return bool(one == other)


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
_VALIDATORS: dict[Any, Any] = {}


def _validator(kind: Any) -> Any:
    """Return what reads a kind of document, and stops at a list's first damage: millions of them fill the memory."""
    if kind not in _VALIDATORS:
        from pydantic_core import SchemaValidator

        _VALIDATORS[kind] = SchemaValidator(_failing_fast(_adapter(kind).core_schema))
    return _VALIDATORS[kind]


def _failing_fast(schema: Any) -> Any:
    if isinstance(schema, Mapping):
        inner = {key: _failing_fast(item) for key, item in schema.items()}
        return {**inner, "fail_fast": True} if schema.get("type") in {"list", "tuple"} else inner
    return [_failing_fast(item) for item in schema] if isinstance(schema, list) else schema


def _adapter(kind: Any) -> Any:
    """Return what validates a kind of document; made once, as it takes a while."""
    if kind not in _ADAPTERS:
        from pydantic import TypeAdapter

        _ADAPTERS[kind] = TypeAdapter(kind)
    return _ADAPTERS[kind]
