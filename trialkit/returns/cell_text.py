"""What all cells have in common: marks around a value, invisible characters, words for nothing."""

import re
import unicodedata

from trialkit.returns.finding_log import Log, Place
from trialkit.tables.formula_text import restored
from trialkit.tables.table_schema import Field

INVISIBLE = "\u200b\u200c\u200d\u2060\ufeff\u00ad"
AROUND = "\"“”„‟«»‹›‘’‚‛'`´"
NOTHING = {"-", "–", "—", "--", "---", "n/a", "na", "n.a.", "none", "nil", "null", "not applicable", ".", "/", "blank"}
NOT_KNOWN = re.compile(r"\?+|unknown|not sure|don'?t know|tbc|tbd", re.IGNORECASE)
SPOILED = re.compile("[ÃÂâÄÅ][\u0080-\u00bf€‚ƒ„…†‡ˆ‰Š‹ŒŽ‘’“”•–—˜™š›œžŸ]")


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
    if SPOILED.search(composed):
        meant = _rightly_read(composed)
        if meant is not None:
            log.ask("TK-R02", place, text=text, became=meant)
            return meant
    return composed


def _rightly_read(text: str) -> str | None:
    """Undo UTF-8 that was read as Windows-1252; None if it was not that."""
    try:
        return text.encode("cp1252").decode("utf-8")
    except (UnicodeEncodeError, UnicodeDecodeError):
        return None
