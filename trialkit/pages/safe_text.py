"""Text from strangers made fit to show: bounded, without characters that break a document or turn its order around."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from typing import Any, TypeVar

Value = TypeVar("Value")

LONGEST_TEXT = 2000
# Marks that override or embed a writing direction could make a name read as its opposite; right-to-left letters stay.
DIRECTION_MARKS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c")
BROKEN = "\ufffd"


def safe_text(text: str) -> str:
    """Drop direction overrides, replace control and lone surrogate characters, bound the length.

    Examples
    --------
    >>> safe_text("Fen" + chr(0x202E) + "leaf" + chr(10) + "two")
    'Fenleaf two'
    """
    if len(text) <= LONGEST_TEXT and text.isascii() and text.isprintable():
        return text
    shown = text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - 1] + "…"
    return "".join(_safe_character(c) for c in shown if c not in DIRECTION_MARKS)


def safe_document(value: Value) -> Value:
    """Copy a document, or the plain data of a page, with every text in it made safe.

    Examples
    --------
    >>> from trialkit.domain.treatment import Treatment
    >>> safe_document(Treatment("Fen" + chr(0x202E) + "leaf", 6.0))
    Treatment(cultivar='Fenleaf', dose_tsp=6.0, acidifier=None)
    """
    made: Value = _safe_copy(value)
    return made


def _safe_copy(value: Any) -> Any:
    if isinstance(value, str):
        return value if isinstance(value, Enum) else safe_text(value)
    if isinstance(value, list | tuple):
        return type(value)(_safe_copy(item) for item in value)
    if isinstance(value, Mapping):
        return {safe_text(str(key)): _safe_copy(item) for key, item in value.items()}
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{field.name: _safe_copy(getattr(value, field.name)) for field in fields(value)})
    return value


def shorten(text: str, columns: int) -> str:
    """Cut a label to so many columns; letters that take the width of two count twice.

    Examples
    --------
    >>> shorten("Larkmoor Butter", 20), shorten("Larkmoor Butter", 10)
    ('Larkmoor Butter', 'Larkmoor…')
    """
    if columns_taken(text) <= columns:
        return text
    kept = text[:columns]
    while kept and columns_taken(kept) > columns - 1:
        kept = kept[:-1]
    return kept.rstrip() + "…"


def columns_taken(text: str) -> int:
    """Columns that a text takes on a terminal or in a monospaced label."""
    return sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text if not unicodedata.combining(c))


def _safe_character(character: str) -> str:
    if character in "\n\r\t":
        return " "
    return BROKEN if unicodedata.category(character) in ("Cc", "Cs") else character
