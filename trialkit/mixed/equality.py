"""When two fits are the same: by what they hold, arrays included."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, cast

import numpy as np
import pandas as pd


class SameByContent:
    """What equals another of its kind if all fields do, so that a copy, or the same fit made anew, is equal.

    A dataclass takes it up with ``@dataclass(eq=False)``; fields with ``compare=False`` are left out. Equal values
    have equal hashes, made of the kinds and sizes of what they hold and of its texts and numbers. Copies and pickles
    take the fields along, and work out anew what follows from them: not all of that can be pickled.
    """

    def __getstate__(self) -> dict[str, Any]:
        return {field.name: getattr(self, field.name) for field in fields(cast(Any, self))}

    def __eq__(self, other: object) -> bool:
        return NotImplemented if type(other) is not type(self) else same(self, other)

    def __hash__(self) -> int:
        return hash((type(self).__name__, *(_outline(getattr(self, name)) for name in _compared(self))))


def same(first: Any, second: Any) -> bool:
    """Whether two values hold the same; missing numbers are alike."""
    if first is second:
        return True
    if type(first) is not type(second):
        return False
    if isinstance(first, np.ndarray):
        return first.dtype == second.dtype and np.array_equal(first, second, equal_nan=first.dtype.kind == "f")
    if hasattr(first, "nnz"):  # a sparse matrix
        return bool(first.shape == second.shape and (first != second).nnz == 0)
    if isinstance(first, pd.Index):
        return bool(first.equals(second))
    if isinstance(first, Mapping):
        return list(first) == list(second) and all(same(first[key], second[key]) for key in first)
    if isinstance(first, tuple | list):
        return len(first) == len(second) and all(map(same, first, second))
    if is_dataclass(first):
        return all(same(getattr(first, name), getattr(second, name)) for name in _compared(first))
    return bool(first == second)


def _compared(value: Any) -> list[str]:
    return [field.name for field in fields(value) if field.compare]


def _outline(value: Any) -> Any:
    """Of a field, what can be hashed and is the same in equal values."""
    if isinstance(value, str | int | float | None):
        return value
    return getattr(value, "shape", type(value).__name__)
