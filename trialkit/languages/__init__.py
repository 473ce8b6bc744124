"""What is said to volunteers and gardeners, in their language: gettext catalogues, one file for each language.

The words stand in the code, in English; ``<language>.po`` beside this module holds the translations of those that are
marked. `gettext` and its fellows look them up in the language that is being spoken (`speaking`), English where none was
named and where a catalogue lacks a message. Numbers and dates go by the locale that the catalogue's header names.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from gettext import GNUTranslations
from pathlib import Path
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from datetime import date

    from babel import Locale
    from babel.messages.catalog import Catalog

FOLDER = Path(__file__).parent
ENGLISH = "en"
LANGUAGES: tuple[str, ...] = (ENGLISH, *sorted(path.stem for path in FOLDER.glob("*.po")))
"""Languages that pages can be written in: English, and one for each catalogue."""
if TYPE_CHECKING:
    Language = str
else:
    Language = Literal[LANGUAGES]

_spoken: ContextVar[str] = ContextVar("language", default=ENGLISH)


@contextmanager
def speaking(language: Language) -> Iterator[None]:
    """Say all that is said inside in a language.

    Raises
    ------
    ValueError
        If there is no catalogue for it.
    """
    if language not in LANGUAGES:
        raise ValueError(f"There is no catalogue for the language {language!r}.")
    token = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(token)


def spoken() -> Language:
    """Language that is being spoken."""
    return _spoken.get()


def language_tag() -> str:
    """Tag of the language that is being spoken, as the ``lang`` attribute of a page takes it (BCP 47).

    Examples
    --------
    >>> with speaking("es"):
    ...     language_tag()
    'es-US'
    """
    return ENGLISH if spoken() == ENGLISH else str(locale_of(spoken())).replace("_", "-")


def translatable(text: str) -> str:
    """Mark a text for translation without saying it yet."""
    return text


def gettext(text: str, **parts: object) -> str:
    """Say a text, its parts filled in by their names.

    Examples
    --------
    >>> gettext("{low} to {high}", low="5.5", high="6.0")
    '5.5 to 6.0'
    """
    told = text if spoken() == ENGLISH else _translations(spoken()).gettext(text)
    return told.format_map(parts) if parts else told


def ngettext(one: str, many: str, number: int, **parts: object) -> str:
    """Say a text in its singular or its plural; ``{number}`` in it is the number.

    Examples
    --------
    >>> ngettext("{number} cup", "{number} cups", 4)
    '4 cups'
    """
    if spoken() == ENGLISH:
        told = one if number == 1 else many
    else:
        told = _translations(spoken()).ngettext(one, many, number)
    return told.format_map({"number": number, **parts})


def pgettext(context: str, text: str, **parts: object) -> str:
    """Say a text that has several meanings, in one of them."""
    told = text if spoken() == ENGLISH else _translations(spoken()).pgettext(context, text)
    return told.format_map(parts) if parts else told


def in_figures(text: str) -> str:
    """Write a number, made with a decimal point, with the decimal sign of the language."""
    if spoken() == ENGLISH:
        return text
    from babel.numbers import get_decimal_symbol

    return text.replace(".", get_decimal_symbol(locale_of(spoken())))


def day_in(day: date, skeleton: Literal["yMMMMd", "MMMMd", "MMMd"]) -> str:
    """Write a day in a language other than English, by the locale's own order and names.

    Examples
    --------
    >>> from datetime import date
    >>> with speaking("es"):
    ...     day_in(date(2026, 8, 20), "yMMMMd")
    '20 de agosto de 2026'
    """
    from babel.dates import format_skeleton

    return format_skeleton(skeleton, day, locale=locale_of(spoken()))


@cache
def locale_of(language: Language) -> Locale:
    """Locale by which numbers and dates of a language are written: that of its catalogue's header."""
    from babel import Locale

    return Locale(ENGLISH) if language == ENGLISH else catalogue(language).locale or Locale.parse(language)


@cache
def catalogue(language: Language) -> Catalog:
    """Read the catalogue of a language other than English."""
    from babel.messages.pofile import read_po

    with (FOLDER / f"{language}.po").open("rb") as file:
        return read_po(file)


@cache
def _translations(language: Language) -> GNUTranslations:
    from babel.messages.mofile import write_mo

    compiled = io.BytesIO()
    write_mo(compiled, catalogue(language))
    compiled.seek(0)
    return GNUTranslations(compiled)
