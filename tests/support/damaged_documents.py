"""Documents made from their schemas, and every way to spoil them that a generator can think of."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from trialkit.languages import ENGLISH, LANGUAGE_TAG

Path = tuple[str | int, ...]
HUGE = 10**6000
WRONG: tuple[Any, ...] = (
    7, -1.5, True, None, "text", "", [], [[[]]], {}, {"nothing": 0}, float("nan"), float("inf"), 10**400, HUGE,
    "\ud800", "\0", "x" * 9000, date(2026, 8, 20),
)  # fmt: skip
"""Values of every type, sound and not: whatever a key takes, most of these it does not."""
DIGITS = "a number of thousands of figures"
TRIES = 60
"""So many wrong values are put in at least, at each key one or more, others at the next."""


def documents(schema: Mapping[str, Any], root: Mapping[str, Any] | None = None) -> list[Any]:
    """Make documents that hold to a schema and have, between them, every key in each of its forms."""
    root = root or schema
    if "$ref" in schema:
        return documents(root["$defs"][schema["$ref"].rpartition("/")[2]], root)
    if forms := schema.get("anyOf") or schema.get("oneOf"):
        return [one for form in forms for one in documents(form, root)]
    if "const" in schema:
        return [schema["const"]]
    if "enum" in schema:
        return [schema["enum"][0]]
    kind = schema.get("type")
    if kind == "object":
        return _objects(schema, root)
    if kind == "array":
        places = schema.get("prefixItems")
        if places:
            return [[documents(place, root)[0] for place in places]]
        return [[one] for one in documents(schema.get("items") or {"type": "string"}, root)]
    if schema.get("pattern") == LANGUAGE_TAG:
        return [ENGLISH]  # which has a catalogue
    if kind == "string":
        return ["2026-08-20" if schema.get("format") == "date" else "text"]
    if kind in ("number", "integer"):
        least = schema.get("minimum", schema.get("exclusiveMinimum", 0))
        return [int(least) + 1 if "maximum" not in schema else least]
    return {"boolean": [True], "null": [None]}.get(str(kind), ["text"])


def _objects(schema: Mapping[str, Any], root: Mapping[str, Any]) -> list[Any]:
    forms = {name: documents(of, root) for name, of in schema.get("properties", {}).items()}
    if not forms and isinstance(of := schema.get("additionalProperties"), dict):
        names = schema.get("propertyNames", {"type": "string"})
        return [{documents(names, root)[0]: one} for one in documents(of, root)]
    first = {name: ones[0] for name, ones in forms.items()}
    return [first, *({**first, name: one} for name, ones in forms.items() for one in ones[1:])]


def paths(document: Any, here: Path = ()) -> Iterator[Path]:
    """Walk through every key, and the first of every list."""
    inner = document.items() if isinstance(document, dict) else enumerate(document[:1]) if _is_list(document) else ()
    for key, value in inner:
        yield (*here, key)
        yield from paths(value, (*here, key))


def spoilt(document: Any, places: Sequence[Path]) -> Iterator[tuple[Path, Any]]:
    """Put values of other types at each key in turn; take it out; put another beside it."""
    each = 1 + TRIES // (len(places) + 1)
    for number, place in enumerate(places):
        for turn in range(each):
            yield place, with_value(document, place, WRONG[(each * number + turn) % len(WRONG)])
        yield place, without(document, place)
        yield (*place[:-1], "unknown key"), with_value(document, (*place[:-1], "unknown key"), 1)


def with_value(document: Any, place: Path, value: Any) -> Any:
    """Return a document with one value put in, and sections made on the way to it."""
    if not place:
        return value
    key, *rest = place
    if _is_list(document):
        return [with_value(document[0] if document else {}, tuple(rest), value), *document[1:]]
    inner = document if isinstance(document, dict) else {}
    return {**inner, key: with_value(inner.get(key, {}), tuple(rest), value)}


def without(document: Any, place: Path) -> Any:
    """Return a document with one key, or the first of a list, taken out."""
    key, *rest = place
    if _is_list(document):
        return [*([without(document[0], tuple(rest))] if rest and document else []), *document[1:]]
    if not isinstance(document, dict) or key not in document:
        return document
    if rest:
        return {**document, key: without(document[key], tuple(rest))}
    return {name: value for name, value in document.items() if name != key}


def as_json(document: Any) -> str:
    """Write a document as JSON, also what JSON has no words for; a number too large for a float as 1e400."""
    return _digits(json.dumps(_spelt(document), default=str)).replace("Infinity", "1e400")


def _spelt(value: Any) -> Any:
    """Put a mark in place of each number of more figures than Python writes."""
    if isinstance(value, dict):
        return {name: _spelt(one) for name, one in value.items()}
    if _is_list(value):
        return [_spelt(one) for one in value]
    return DIGITS if type(value) is int and value == HUGE else value


def _digits(text: str) -> str:
    return text.replace(f'"{DIGITS}"', "9" * 6000)


def as_toml(document: Mapping[str, Any]) -> str:
    """Write a document as TOML, sections as tables of one line."""
    return "".join(f"{_key(name)} = {_toml(value)}\n" for name, value in document.items())


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(name)} = {_toml(one)}" for name, one in value.items()) + "}"
    if _is_list(value):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, date):
        return value.isoformat()
    if value is None:
        return "none"
    if isinstance(value, int) and not isinstance(value, bool):
        return hex(value) if value > 0 else str(value)
    return json.dumps(value).replace("NaN", "nan").replace("Infinity", "inf")


def _key(name: str | int) -> str:
    return json.dumps(str(name))


def spoilt_bytes(good: bytes) -> dict[str, bytes]:
    """Spoil a file as a whole, by the name of what was done to it; what begins with "as good" may be read."""
    text = good.decode("utf-8")
    half = len(good) // 2
    accented = text.replace("e", "é")
    return {
        "as good: a byte-order mark": b"\xef\xbb\xbf" + good,
        "as good: ends of lines": text.replace("\n", "\r\n").encode("utf-8"),
        "empty": b"",
        "blank": b" \n\t\n",
        "cut off": good[:half],
        "twice": good + good,
        "UTF-16": text.encode("utf-16"),
        "UTF-16 without a mark": text.encode("utf-16-le"),
        "Latin-1": accented.encode("latin-1"),
        "NUL": good[:half] + b"\0" + good[half:],
        "noise": bytes(range(256)) * 8,
        "half a character": good[:half] + b"\xf0\x9f" + good[half:],
        "a surrogate": good[:half] + b"\xed\xa0\x80" + good[half:],
        "brackets": b"[" * 100_000,
        "braces": b'{"a":' * 100_000,
        "names in names": b"a" + b".a" * 40_000 + b" = 1\n",
        "a number": b"9" * 100_000,
        "nothing": b"null",
        "a list": b"[]",
        "a workbook": b"PK\x03\x04" + good,
    }


def _is_list(value: Any) -> bool:
    return isinstance(value, list | tuple)
