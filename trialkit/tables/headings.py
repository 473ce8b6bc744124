"""Recognising the headings of the tables, as people and spreadsheet programs write them."""

import re
import unicodedata
from collections.abc import Mapping
from functools import cache

from trialkit.domain.table_names import RECORD_TABLES, TABLE_NAMES, TableName
from trialkit.languages import ENGLISH, LANGUAGES, Language, gettext, speaking
from trialkit.tables.table_schema import Field, TableSchema, load_schema

NO_OTHERS: Mapping[str, str] = {}
FEWEST_HEADINGS = 2
"""With so many known headings a row is one of headings."""
UNIT_WORDS = {"oz": "oz", "ounce": "oz", "ounces": "oz", "kg": "kg", "lb": "lb", "lbs": "lb", "pounds": "lb"}


def plain_heading(text: str) -> str:
    r"""Fold what does not matter in a heading: capitals, blanks, hyphens, full stops, width.

    Examples
    --------
    >>> plain_heading("  Weight\u00a0G. ")
    'weight_g'
    """
    folded = unicodedata.normalize("NFKC", text).casefold()
    return re.sub(r"[\s_\-.:]+", "_", folded.strip("\ufeff\u200b\"'“”‘’ ")).strip("_")


@cache
def headings_of(table: TableName, language: Language = ENGLISH) -> dict[str, str]:
    """Map each folded way to write a heading of a table (name, title, what forms head it with) to its name."""
    schema = load_schema(table)
    with speaking(language):
        titles = {field: gettext(field.title) for field in schema.fields}
        on_forms = {plain_heading(field.heading): field.name for field in schema.fields}
    with_unit = {
        plain_heading(f"{told} {unit}"): field.name
        for field, title in titles.items()
        if field.unit and "_" not in field.unit
        for told in (title, field.name)
        for unit in (field.unit.strip("[]"), f"({field.unit.strip('[]')})")
    }
    by_title = {plain_heading(title): field.name for field, title in titles.items()}
    return with_unit | by_title | on_forms | {plain_heading(name): name for name in schema.columns}


@cache
def headings_anywhere(table: TableName) -> dict[str, str]:
    """Map the headings of every language to the columns of a table; a test holds that none stands for two."""
    return {plain: name for language in reversed(LANGUAGES) for plain, name in headings_of(table, language).items()}


@cache
def headings_on_forms(field: Field) -> frozenset[str]:
    """Return what heads a column on the forms of each language."""
    found = []
    for language in LANGUAGES:
        with speaking(language):
            found.append(field.heading)
    return frozenset(found)


def matched(
    cells: tuple[str, ...], table: TableName, also: Mapping[str, str] = NO_OTHERS, *, anywhere: bool = False
) -> dict[int, str]:
    """Map the position of each cell that is a heading of the table to the heading's name.

    `also` says of folded headings which column they stand for; it goes before what they would be by themselves.
    They are English ones, or of any language (`anywhere`).
    """
    known = headings_anywhere(table) if anywhere else headings_of(table)
    names = {place: also.get(plain, known.get(plain)) for place, plain in enumerate(map(plain_heading, cells))}
    return {place: name for place, name in names.items() if name is not None and name in known.values()}


def best_table(
    cells: tuple[str, ...], also: Mapping[str, str] = NO_OTHERS, *, anywhere: bool = False
) -> tuple[TableName | None, int]:
    """Return the table that most of the cells are headings of, and how many; record tables first if equal."""
    counts = {
        name: len(set(matched(cells, name, also, anywhere=anywhere).values()))
        for name in (*RECORD_TABLES, *TABLE_NAMES)
    }
    name = max(counts, key=lambda table: counts[table])
    return (name, counts[name]) if counts[name] else (None, 0)


def other_unit(heading: str, schema: TableSchema) -> tuple[str, str] | None:
    """Return the column and the unit of a heading that is a column's in another unit, such as ``"weight (oz)"``.

    Examples
    --------
    >>> other_unit("Weight (oz)", load_schema("heads"))
    ('weight_g', 'oz')
    """
    stem, unit = unit_of(heading)
    if not unit or stem not in ("weight", "head_weight"):
        return None
    return ("weight_g", unit) if "weight_g" in schema.columns else None


def unit_of(heading: str) -> tuple[str, str]:
    """Part a heading from the unit of weight at its end, empty if there is none.

    Examples
    --------
    >>> unit_of("Head wt (oz)"), unit_of("Head wt")
    (('head_wt', 'oz'), ('head_wt', ''))
    """
    plain = plain_heading(heading.replace("(", " ").replace(")", " "))
    stem, _, unit = plain.rpartition("_")
    return (stem, UNIT_WORDS[unit]) if unit in UNIT_WORDS else (plain, "")
