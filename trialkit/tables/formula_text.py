r"""Texts that a spreadsheet program would run as a formula, and the quote that stops it.

OWASP, "CSV Injection": a cell that begins with ``= + - @``, a tab or a carriage return is run. So may one with blanks
in front, and one whose later line begins so, once the line is torn off. Quoting the cell alone does not help; a single
quote in front does.
"""

import re

_FORMULA = r"'*[^\S\r\n]*[=+\-@\t\r＝＋－＠]"
_HARMFUL = re.compile(rf"(\A|[\r\n])(?={_FORMULA})")
_DEFUSED = re.compile(rf"(\A|[\r\n])'(?={_FORMULA})")


def defused(text: str) -> str:
    """Put a single quote in front of every line that a spreadsheet would run.

    Examples
    --------
    >>> defused("=1+1"), defused("fine - really")
    ("'=1+1", 'fine - really')
    """
    return _HARMFUL.sub(r"\1'", text)


def restored(text: str) -> str:
    """Take off again what `defused` put on, so that a table written and read back is the same.

    Examples
    --------
    >>> restored(defused("=1+1")), restored("'tis fine")
    ('=1+1', "'tis fine")
    """
    return _DEFUSED.sub(r"\1", text)


def shielded(text: str) -> str:
    """Write a text so that `restored` gives it again: one that begins like a defused one is defused once more.

    Examples
    --------
    >>> shielded("=1+1"), restored(shielded("'=1+1"))
    ('=1+1', "'=1+1")
    """
    return text if restored(text) == text else defused(text)
