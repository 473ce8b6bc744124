"""How a large value shows itself: its name and what is small in it, in a line that a screen holds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any

LONGEST = 200


class ShortRepr:
    """What shows numbers and short texts as they are, and of all that is larger its kind and size.

    A dataclass takes it up with ``@dataclass(repr=False)``.
    """

    def __repr__(self) -> str:
        text = f"{type(self).__name__}({', '.join(_parts(self))})"
        return text if len(text) <= LONGEST else f"{text[: LONGEST - 4]}...)"


def _parts(value: Any) -> Iterator[str]:
    for field in fields(value):
        part = getattr(value, field.name)
        if part is None or isinstance(part, bool | int | float | Enum):
            yield f"{field.name}={part}"
        elif isinstance(part, str):
            yield f"{field.name}={part[:40]!r}"
        elif isinstance(part, tuple | list | Mapping):
            yield f"{field.name}: {len(part)}"
        elif getattr(part, "shape", None) is not None:
            yield f"{field.name}: {' x '.join(map(str, part.shape))}"
        elif is_dataclass(part) and len(fields(part)) <= 3:
            yield f"{field.name}={part}"
        else:
            yield f"{field.name}: {type(part).__name__}"
