"""Guards for documents that still come as plain data: goes once plan, evidence and handout pages take values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

Json = Mapping[str, Any]


def mapping(value: Any) -> Json:
    """Return the value if it is a mapping, an empty one otherwise."""
    return value if isinstance(value, Mapping) else {}


def rows(owner: Any, name: str) -> tuple[Json, ...]:
    """Return the mappings in a list of a mapping; none where it is null or missing."""
    value = mapping(owner).get(name)
    return tuple(mapping(row) for row in value) if isinstance(value, Sequence) and not isinstance(value, str) else ()


def texts(owner: Any, name: str) -> tuple[str, ...]:
    """Return the texts in a list of a mapping; none where it is null or missing."""
    value = mapping(owner).get(name)
    return tuple(str(text) for text in value if text) if isinstance(value, list | tuple) else ()
