"""How much is read, and how much was there: of whatever passes its budget."""

from __future__ import annotations

from math import ceil
from typing import Any

from trialkit.domain.reading_budget import Measure

MEASURES: dict[Measure, str] = {
    "file_bytes": "{size}",
    "unpacked_bytes": "{size} once it is unpacked",
    "line_characters": "{n:,} characters in one line",
    "cell_characters": "{n:,} characters in one cell",
    "characters": "{n:,} characters of text in its cells",
    "rows": "{n:,} rows, blank ones included",
    "columns": "{n:,} columns",
    "cells": "{n:,} cells, blank and merged ones included",
    "depth": "{n:,} sections or lists within each other",
    "items": "{n:,} keys and values",
    "findings": "{n:,} cells at fault or in doubt",
    "archive_files": "{n:,} files packed into it",
    "markup": "{n:,} formats, names and pictures",
    "markup_characters": "{n:,} characters of formats, names and pictures",
    "merged_ranges": "{n:,} ranges of merged cells",
    "formula_characters": "{n:,} characters of formulas",
}
"""Each limit of a budget, as an amount."""


def budget_words(measure: Measure, most: int, amount: int | None = None) -> dict[str, Any]:
    """Say how much is read and how much was found.

    Examples
    --------
    >>> budget_words("rows", 50_000)["most_read"]
    'at most 50,000 rows, blank ones included'
    """
    words = MEASURES[measure]
    found = "more" if amount is None else words.format(n=amount, size=_size(amount))
    return {"most_read": f"at most {words.format(n=most, size=_size(most))}", "found_there": found}


def _size(size_bytes: int) -> str:
    """Say a size, rounded up so that what is too large never looks as if it were not."""
    return f"{ceil(size_bytes / 1e4) / 100:g} MB" if size_bytes >= 10**6 else f"{ceil(size_bytes / 1e3)} kB"
