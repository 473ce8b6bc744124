"""What all cells have in common: marks around a value, invisible characters, words for nothing."""

import contextlib
import re
import unicodedata
from functools import cache

from trialkit.languages import in_every_language, translatable
from trialkit.returns.finding_log import Log, Place
from trialkit.tables.formula_text import restored
from trialkit.tables.nearest import plain_name
from trialkit.tables.table_schema import Field

INVISIBLE = (
    "\u00ad\u061c\u180e\u200b\u200c\u200d\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\ufeff"
)
AROUND = "\"“”„‟«»‹›‘’‚‛'`´"
NOTHING = {"-", "–", "—", "--", "---", "n/a", "na", "n.a.", "null", ".", "/", "blank"}
NOT_KNOWN = re.compile(r"[?¿]+|tbc|tbd", re.IGNORECASE)
# Words by which people say so, each in its own language, with semicolons between; capitals and accents do not matter.
IN_WORDS_NONE = translatable("none; nil; nothing")
IN_WORDS_NOT_APPLICABLE = translatable("not applicable; does not apply")
IN_WORDS_NOT_KNOWN = translatable("not known; unknown; not sure; don't know; dont know; no idea")
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


def says_none(text: str) -> bool:
    """Tell whether a text says, in any language, that there is none: an empty cell, or an amount of nothing."""
    return is_said(text, IN_WORDS_NONE)


def means_nothing(text: str) -> bool:
    """Tell whether a text is a word or sign for an empty cell, in any language.

    Examples
    --------
    >>> means_nothing("n/a"), means_nothing("Ninguno"), means_nothing("no sé")
    (True, True, False)
    """
    return text.casefold() in NOTHING or says_none(text) or is_said(text, IN_WORDS_NOT_APPLICABLE)


def is_not_known(text: str) -> bool:
    """Tell whether a text says, in any language, that nobody knows.

    Examples
    --------
    >>> is_not_known("?"), is_not_known("Don’t know"), is_not_known("no sé"), is_not_known("no")
    (True, True, True, False)
    """
    return bool(NOT_KNOWN.fullmatch(text)) or is_said(text, IN_WORDS_NOT_KNOWN)


def _plainly(text: str) -> str:
    return plain_name(text.replace("’", "'").strip(" .!"))


def is_said(text: str, words: str) -> bool:
    """Tell whether a text is one of some words, with semicolons between, as any language has them.

    What holds a figure is none, and has no catalogue loaded.

    Examples
    --------
    >>> is_said("Se murió.", IN_WORDS_NONE), is_said("Nada", IN_WORDS_NONE)
    (False, True)
    """
    return not any(map(str.isdigit, text)) and _plainly(text) in _in_any_language(words)


@cache
def _in_any_language(words: str) -> frozenset[str]:
    return frozenset(_plainly(word) for told in in_every_language(words) for word in re.split("[;.]", told))


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
