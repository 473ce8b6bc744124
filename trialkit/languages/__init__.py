"""What is said to volunteers and gardeners, in their language: gettext catalogues, one file for each language.

The words stand in the code, in English; ``<language>.po`` beside this module holds the translations of those that are
marked. `gettext` and its fellows look them up in the language that is being spoken (`speaking`), English where none was
named and where a catalogue lacks a message. Numbers and dates go by the locale that the catalogue's header names.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from gettext import GNUTranslations, c2py
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

if TYPE_CHECKING:
    from datetime import date

    from babel import Locale
    from babel.messages.catalog import Catalog

FOLDER = Path(__file__).parent
ENGLISH = "en"
LANGUAGES: tuple[str, ...] = (ENGLISH, *sorted(path.stem for path in FOLDER.glob("*.po")))
"""Languages that pages can be written in: English, and one for each catalogue."""
LANGUAGE_TAG = "^[a-z]{2,3}$"
"""Of a language, as a catalogue is named by it (BCP 47)."""


class _OfACatalogue:
    """One of the languages that have a catalogue; schemas tell the form of its tag, so that another changes nothing."""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        return handler.generate_schema(Literal[LANGUAGES])

    def __get_pydantic_json_schema__(self, core_schema: Any, handler: Any) -> dict[str, str]:
        return {"type": "string", "pattern": LANGUAGE_TAG}


if TYPE_CHECKING:
    Language = str
else:
    Language = Annotated[str, _OfACatalogue()]

NOT_YET_REVIEWED = re.compile(r"^# Reviewed by a native adviser: not yet$", re.MULTILINE)
"""As a catalogue's first comment says it; once one has read it all, with the day and the role in its place."""

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
    told = text if spoken() == ENGLISH or not text else _translations(spoken()).gettext(text)
    return told.format_map(parts) if parts else told


class Saying:
    """A text that is said anew whenever it is asked for, in the language that is spoken then.

    Examples
    --------
    >>> str(Saying("{low} to {high}", low="5.5", high="6.0"))
    '5.5 to 6.0'
    """

    def __init__(self, text: str, **parts: object) -> None:
        self.text, self.parts = text, parts

    def __str__(self) -> str:
        """Say it now."""
        return gettext(self.text, **self.parts)


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


def plural_forms(one: str, many: str) -> tuple[str, ...]:
    """Return all forms of a text that goes by a number, for what counts by itself, as the script of a page does."""
    if spoken() == ENGLISH:
        return one, many
    known = catalogue(spoken()).get(one)
    forms = known.string if known is not None and isinstance(known.string, tuple) else ()
    return forms if forms and all(forms) else (one, many)


def plural_form(number: int) -> int:
    """Tell which of the forms goes with a number in the language that is spoken."""
    return int(number != 1) if spoken() == ENGLISH else _plural_rule(spoken())(number)


def pgettext(context: str, text: str, **parts: object) -> str:
    """Say a text that has several meanings, in one of them."""
    told = text if spoken() == ENGLISH else _translations(spoken()).pgettext(context, text)
    return told.format_map(parts) if parts else told


@cache
def in_every_language(text: str) -> frozenset[str]:
    """Return a text as it is said in each language that there is, for what is read back from anywhere.

    Examples
    --------
    >>> sorted(in_every_language("L"))
    ['L']
    """
    told = [text]
    for language in LANGUAGES:
        with speaking(language):
            told.append(gettext(text))
    return frozenset(told)


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


def review_note() -> str:
    """Say at the foot of a page that no native adviser has read its translation yet; empty where one has.

    Examples
    --------
    >>> review_note()
    ''
    """
    if spoken() == ENGLISH or is_reviewed(spoken()):
        return ""
    return gettext("This is a translation. No adviser who grew up with the language has checked it yet.")


@cache
def is_reviewed(language: Language) -> bool:
    """Whether a native adviser has read the whole catalogue of a language other than English: its header tells."""
    return not NOT_YET_REVIEWED.search(catalogue(language).header_comment)


@cache
def own_name(language: Language) -> str:
    """What a language calls itself, as a list to choose from names it.

    Examples
    --------
    >>> own_name("en"), own_name("es")
    ('English', 'Español')
    """
    from babel import Locale

    name = Locale.parse(language).get_language_name(language) or language
    return name[0].upper() + name[1:]


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
def _plural_rule(language: Language) -> Callable[[int], int]:
    return c2py(catalogue(language).plural_expr)


@cache
def _translations(language: Language) -> GNUTranslations:
    from babel.messages.mofile import write_mo

    compiled = io.BytesIO()
    write_mo(compiled, catalogue(language))
    compiled.seek(0)
    return GNUTranslations(compiled)
