"""How much is read, and how much was there: of whatever passes its budget."""

from __future__ import annotations

from math import ceil
from typing import Any

from trialkit.domain.reading_budget import Measure
from trialkit.languages import gettext, in_figures, translatable

MEASURES: dict[Measure, str] = {
    "file_bytes": "{size}",
    "unpacked_bytes": translatable("{size} once it is unpacked"),
    "line_characters": translatable("{n:,} characters in one line"),
    "cell_characters": translatable("{n:,} characters in one cell"),
    "characters": translatable("{n:,} characters of text in its cells"),
    "rows": translatable("{n:,} rows, blank ones included"),
    "columns": translatable("{n:,} columns"),
    "cells": translatable("{n:,} cells, blank and merged ones included"),
    "depth": translatable("{n:,} sections or lists within each other"),
    "items": translatable("{n:,} keys and values"),
    "findings": translatable("{n:,} cells at fault or in doubt"),
    "archive_files": translatable("{n:,} files packed into it"),
    "markup": translatable("{n:,} formats, names and pictures"),
    "markup_characters": translatable("{n:,} characters of formats, names and pictures"),
    "merged_ranges": translatable("{n:,} ranges of merged cells"),
    "formula_characters": translatable("{n:,} characters of formulas"),
}
"""Each limit of a budget, as an amount."""


def budget_words(measure: Measure, most: int, amount: int | None = None) -> dict[str, Any]:
    """Say how much is read and how much was found.

    Examples
    --------
    >>> budget_words("rows", 50_000)["most_read"]
    'at most 50,000 rows, blank ones included'
    """
    words = gettext(MEASURES[measure])
    found = gettext("more") if amount is None else words.format(n=amount, size=_size(amount))
    most_read = gettext("at most {amount}", amount=words.format(n=most, size=_size(most)))
    return {"most_read": most_read, "found_there": found}


def _size(size_bytes: int) -> str:
    """Say a size, rounded up so that what is too large never looks as if it were not."""
    megabytes = in_figures(f"{ceil(size_bytes / 1e4) / 100:g}")
    return f"{megabytes} MB" if size_bytes >= 10**6 else f"{ceil(size_bytes / 1e3)} kB"
