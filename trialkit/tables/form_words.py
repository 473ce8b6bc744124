"""Words that forms carry, in the language of their garden, and by which what comes back is known in any language."""

from collections.abc import Mapping
from functools import cache

from trialkit.domain.table_names import TableName
from trialkit.languages import LANGUAGES, gettext, in_every_language, speaking, translatable
from trialkit.tables.nearest import plain_name
from trialkit.tables.table_schema import Field, load_schema

READ_ME_SHEET = translatable("Read me first")


def sheet_name(table: TableName) -> str:
    """Name the sheet of a table in the language that is spoken.

    Examples
    --------
    >>> sheet_name("heads")
    'heads'
    """
    return gettext(load_schema(table).title).lower()


def sheet_names(table: TableName) -> frozenset[str]:
    """Name the sheet of a table in every language."""
    return frozenset(title.lower() for title in in_every_language(load_schema(table).title))


@cache
def values_by_word(field: Field) -> Mapping[str, str]:
    """Map the words by which forms of any language list a column's values to these; none that stands for several."""
    meant: dict[str, set[str]] = {}
    for language in LANGUAGES:
        with speaking(language):
            for value in field.listed:
                meant.setdefault(field.said(value), set()).add(value)
    return {word: values.pop() for word, values in meant.items() if len(values) == 1}


@cache
def values_by_plain_word(field: Field) -> Mapping[str, str]:
    """Map the same words without capitals and accents to the values."""
    meant: dict[str, set[str]] = {}
    for word, value in values_by_word(field).items():
        meant.setdefault(plain_name(word), set()).add(value)
    return {word: values.pop() for word, values in meant.items() if len(values) == 1}
