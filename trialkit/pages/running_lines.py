"""What stands in the margins of every sheet of a printed page, by style sheet alone."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from trialkit.pages.safe_text import safe_text, shorten

MOST_COLUMNS = 58
"""Of a line that shares the width of a sheet with another."""

Corner = Literal["top-left", "top-right", "bottom-left"]
"""The bottom right has the number of the page, from the style sheet of all pages."""


def running_lines(lines: Mapping[Corner, str]) -> str:
    r"""Write the rules that print a line in each corner of every sheet.

    Whatever a text says, it stays a text: all but plain letters and figures are written as their code points.

    Examples
    --------
    >>> running_lines({"top-left": "Fern <3"})
    '@page{@top-left{content:"Fern \\3c 3";font:8pt sans-serif;white-space:pre}}'
    """
    rules = (
        f'@{corner}{{content:"{_string(shorten(safe_text(text), MOST_COLUMNS))}";font:8pt sans-serif;white-space:pre}}'
        for corner, text in lines.items()
    )
    return f"@page{{{''.join(rules)}}}"


def _string(text: str) -> str:
    plain = (c if c == " " or (c.isascii() and c.isalnum()) else f"\\{ord(c):x} " for c in text)
    return "".join(plain)
