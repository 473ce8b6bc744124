"""What all cells have in common: marks around a value, invisible characters, words for nothing."""

import contextlib
import re
import unicodedata

from trialkit.returns.finding_log import Log, Place
from trialkit.tables.formula_text import restored
from trialkit.tables.table_schema import Field

INVISIBLE = (
    "\u00ad\u061c\u180e\u200b\u200c\u200d\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\ufeff"
)
AROUND = "\"“”„‟«»‹›‘’‚‛'`´"
NOTHING = {"-", "–", "—", "--", "---", "n/a", "na", "n.a.", "none", "nil", "null", "not applicable", ".", "/", "blank"}
NOT_KNOWN = re.compile(r"\?+|unknown|not sure|don'?t know|tbc|tbd", re.IGNORECASE)
BEYOND_ASCII = re.compile(r"[^\x00-\x7f]{2,}")
MOST_TIMES_SPOILED = 4


def tidied(text: str) -> str:
    """Take off what surrounds a value without being part of it.

    Examples
    --------
    >>> tidied("“334X”\u00a0")
    '334X'
    """
    plain = "".join(" " if c == "\u00a0" or c == "\u202f" else c for c in text if c not in INVISIBLE).strip()
    while len(plain) > 1 and plain[0] in AROUND and plain[-1] in AROUND:
        plain = plain[1:-1].strip()
    return plain


def tidy(text: str, field: Field, place: Place, log: Log) -> str:
    """Tidy a cell, with a note if more than blanks around it was taken off."""
    if field.type == "string" and field.enum is None and not field.required:
        return text.strip()
    text = restored(text)
    plain = tidied(text)
    if plain != text:
        log.note("TK-R29", place, text=text, became=plain)
    return plain


def means_nothing(text: str) -> bool:
    """Tell whether a text is a word or sign for an empty cell."""
    return text.casefold() in NOTHING


def free_text(text: str, place: Place, log: Log) -> str:
    """Read a free text: kept as it is, unless its accents were spoiled."""
    composed = unicodedata.normalize("NFC", restored(text))
    meant = _rightly_read(composed)
    if meant != composed:
        log.ask("TK-R02", place, text=text, became=meant)
    return meant


def _rightly_read(text: str) -> str:
    """Undo UTF-8 that was read in another encoding, as often as it was."""
    for _ in range(MOST_TIMES_SPOILED):
        meant = BEYOND_ASCII.sub(lambda found: _rightly_read_run(found.group()), text)
        if meant == text:
            break
        text = meant
    return text


def _rightly_read_run(run: str) -> str:
    """Read characters as the bytes of UTF-8 that they were; as themselves if they were none."""
    for encoding in ("cp1252", "latin-1", "mac_roman"):
        with contextlib.suppress(UnicodeError):
            meant = run.encode(encoding).decode("utf-8")
            if meant.isprintable():
                return meant
    return run
