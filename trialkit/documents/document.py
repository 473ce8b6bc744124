"""Documents as text and back: made once, written, read with validation, handed on as values."""

from __future__ import annotations

import hashlib
import inspect
import json
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any, Literal, TypeVar, get_args, get_type_hints

from trialkit.domain.reading_budget import DOCUMENT, OverBudget

SIGNIFICANT_DIGITS = 12
ALIKE, ALIKE_NEAR_ZERO = 1e-5, 1e-9
"""How near two numbers are, of which another library or processor may have calculated one."""
MOST_PLACES = 1_000
"""Of damage that are looked at to name the first: a text of millions is no document, and each takes memory."""
SEAL = "sha256"
DIALECT = "https://json-schema.org/draft/2020-12/schema"
SCHEMA_HOME = "https://example.org/trialkit/schemas"
"""Where the published schemas would stand: a name that never resolves (RFC 2606), as trialkit has no home page."""

MOST_FIGURES = 20
"""Of a whole number: a seed has nineteen."""
STRANGE_NUMBER = re.compile(rf"(?<=[\s\[:,])-?(?:NaN|Infinity|[0-9.]+[eE]\+?[0-9]{{3}}|[0-9]{{{MOST_FIGURES}}})")
"""What may be a number that is not finite or has too many figures; it may stand in a text, too."""
JSON_PLACE = re.compile(r" at (line \d+ column \d+)$")

Value = TypeVar("Value")


class Closed:
    """What takes no fields but its own: a document that holds others is damaged."""

    __pydantic_config__ = {"extra": "forbid"}  # noqa: RUF012


class Sealed:
    """What holds, as `sha256`, a digest of all its other content: a text that was altered by hand is damaged there."""


class SealedLater(Sealed, Closed):
    """Sealed, but for what an earlier trialkit wrote: that has no digest, nor any key that is none of its own."""


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
    """Write a document as JSON, sealed where it is to be: the same value, the same bytes."""
    data = as_data(value)
    if isinstance(value, Sealed):
        data[SEAL] = seal_of(data)
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def seal_of(data: Mapping[str, Any]) -> str:
    """Return the digest of all that plain data says beside it."""
    content = {key: item for key, item in data.items() if key != SEAL}
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
        DOCUMENT.hold("items", text.count(",") + text.count("{") + text.count("["))
        found: Value = _validator(kind).validate_json(text)
    except OverBudget as over:
        raise DamagedDocument(f"its end: more than {over.most:,} keys and values") from over
    except ValidationError as error:
        if error.error_count() > MOST_PLACES:
            raise DamagedDocument("") from None
        first = error.errors(include_url=False, include_context=False, include_input=False)[0]
        place = JSON_PLACE.search(first["msg"]) if first["type"] == "json_invalid" else None
        where = place[1] if place else ".".join(str(part) for part in first["loc"])
        raise DamagedDocument(where) from None
    if STRANGE_NUMBER.search(text):
        _refuse_strange_numbers(text)
    if isinstance(kind, type) and issubclass(kind, Sealed):
        _require_sealed(kind, text)
    return found


def _require_sealed(kind: type[Sealed], text: str) -> None:
    data = json.loads(text)
    if issubclass(kind, SealedLater):
        if SEAL not in data:
            return
    elif not data.get(SEAL):
        raise DamagedDocument("schema")  # as it was before documents of its kind were sealed
    if data.get(SEAL) != seal_of(data):
        raise DamagedDocument(SEAL)


class _Strange(str):
    """A number that no document of ours has, as it is written."""

    __slots__ = ()


def _strange_in(value: Any) -> Iterator[_Strange]:
    if isinstance(value, _Strange):
        yield value
    elif isinstance(value, list):
        for one in value:
            yield from _strange_in(one)


def _refuse_strange_numbers(text: str) -> None:
    """Refuse numbers that are not finite or have more figures than a seed; a text that looks like one is no matter."""

    def whole(figures: str) -> int | _Strange:
        return int(figures) if len(figures) <= MOST_FIGURES else _Strange(f"{figures[:MOST_FIGURES]}…")

    def finite(figures: str) -> float | _Strange:
        return number if math.isfinite(number := float(figures)) else _Strange(figures[:MOST_FIGURES])

    def sound(pairs: list[tuple[str, Any]]) -> None:
        for name, value in pairs:
            for one in _strange_in(value):
                raise DamagedDocument(f"{name} ({one})")

    json.loads(text, parse_int=whole, parse_float=finite, parse_constant=finite, object_pairs_hook=sound)


def from_data(kind: type[Value], data: Any) -> Value:
    """Read a document of a kind from plain JSON data; raises as `from_text`."""
    return from_text(kind, json.dumps(data))


def as_written(value: Value) -> Value:
    """Return a document as it is once written and read again: numbers to 12 significant digits.

    Whatever is written to be read again goes this way first, so that no command writes what another calls damaged.

    Raises
    ------
    DamagedDocument
        If it could not be read again.
    """
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
