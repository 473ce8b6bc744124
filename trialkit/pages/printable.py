"""Texts as a terminal may get them: nothing in them can steer it or turn its lines round."""

from __future__ import annotations

import unicodedata

JOINERS = "\u200c\u200d"  # inside words of several scripts


def printable(text: str) -> str:
    r"""Write out what a terminal would obey, all but line ends.

    Examples
    --------
    >>> print(printable("red" + chr(27) + "[31m" + chr(0x202E)))
    red\x1b[31m\u202e
    """
    return "".join(
        mark if mark == "\n" or is_plain(mark) else mark.encode("unicode_escape").decode("ascii") for mark in text
    )


def is_plain(mark: str) -> bool:
    """Tell whether a mark only shows itself."""
    return mark.isprintable() or mark in JOINERS or unicodedata.category(mark) == "Zs"
