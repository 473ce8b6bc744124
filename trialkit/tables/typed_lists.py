"""A table of the plan as somebody typed it or copied it from a spreadsheet, with or without a line of headings."""

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Annotated, Literal

from trialkit.documents.problems import Problem
from trialkit.domain.reading_budget import PLAN_TABLE, OverBudget
from trialkit.languages import LANGUAGES, in_every_language, locale_of, translatable
from trialkit.tables.atomic import csv_of_texts
from trialkit.tables.csv_records import CsvRecords
from trialkit.tables.form_words import values_by_plain_word
from trialkit.tables.headings import headings_anywhere, matched, plain_heading
from trialkit.tables.nearest import nearest_name, plain_name
from trialkit.tables.problem import problem, too_large
from trialkit.tables.table_schema import TableSchema
from trialkit.tables.typed_tables import TableReading, empty_table, read_table

PlanTable = Literal["sites", "products", "people"]
"""What is set as a list: tables of the plan, and the people of its publication, whom trial.toml holds."""
OTHER_HEADINGS: Mapping[str, str] = {
    translatable("Garden"): "site",
    translatable("Short name"): "site",
    translatable("Name"): "name",
}
"""How people head columns of their own lists, beside what forms head them with."""
MARKS = (",", ";")
LONGEST_SHORT_NAME = 40


@dataclass(frozen=True)
class TypedList:
    """What a typed list says; rows of the reading are lines of the text."""

    reading: TableReading
    columns: Annotated[tuple[str, ...], "Columns that were understood, in their order there."] = ()

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What is wrong with it, by itself."""
        return self.reading.problems


def read_list(schema: TableSchema, text: str) -> TypedList:
    """Read a list from text: tabs, commas or semicolons between cells, headings in any language.

    Without headings, the first column has the names, and one that holds languages alone is that. A garden's name
    that is none for files is shortened to one, and kept in full beside it.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    try:
        PLAN_TABLE.hold("file_bytes", len(text), counted=True)
        records = _records(schema, text)
    except OverBudget as over:
        return _nothing(schema, too_large(schema.file, over))
    except csv.Error as error:
        endless = "unexpected end" in str(error) or "limit" in str(error)
        return _nothing(schema, problem("TK-F06", schema.file, "" if endless else "text after"))
    if not records:
        return _nothing(schema, problem("TK-F08", schema.file, "empty file"))
    first, heading = records[0]
    known = matched(tuple(heading), schema.name, _other_headings(schema), anywhere=True)
    body = records[1:] if known else records
    if not known:
        known = _without_headings(schema, body)
    has_headings = len(body) < len(records)
    problems = [*_unknown_columns(schema, heading, known, body, has_headings=has_headings, row=first)]
    names = list(dict.fromkeys(known.values()))
    twice = [name for name in names if list(known.values()).count(name) > 1]
    if twice:
        return _nothing(
            schema, *(problem("TK-C03", schema.file, row=first, column=one, heading=one, count=2) for one in twice)
        )
    rows = {row: _canonical(schema, {name: _cell(cells, at) for at, name in known.items()}) for row, cells in body}
    problems += (
        problem("TK-F09", schema.file, row=row, count=len(cells), wanted=len(heading), last=cells[-1])
        for row, cells in body
        if any(map(str.strip, cells[len(heading) :]))
    )
    columns = tuple(
        dict.fromkeys(name for name in schema.columns if name in names or any(name in r for r in rows.values()))
    )
    reading = _read(schema, columns, rows)
    found = tuple(sorted((*problems, *reading.problems), key=lambda one: one.row or 0))
    return TypedList(replace(reading, problems=found), columns)


def _nothing(schema: TableSchema, *problems: Problem) -> TypedList:
    return TypedList(replace(empty_table(schema), problems=problems))


def _records(schema: TableSchema, text: str) -> list[tuple[int, list[str]]]:
    mark = "\t" if "\t" in text else _mark(schema, text)
    records = [
        (row, [cell.strip() for cell in cells])
        for row, cells in enumerate(CsvRecords(text, mark, PLAN_TABLE), start=1)
        if any(map(str.strip, cells))
    ]
    if records:
        PLAN_TABLE.hold("columns", max(len(cells) for _, cells in records), counted=True)
    return records


def _mark(schema: TableSchema, text: str) -> str:
    """Find the mark between cells: the one that parts the first line into most headings, else the one that is there."""
    line = next((line for line in text.split("\n") if line.strip()), "")
    known = {mark: len(matched(tuple(line.split(mark)), schema.name, anywhere=True)) for mark in MARKS}
    return max(MARKS, key=lambda mark: (known[mark], text.count(mark)))


@cache
def _other_headings(schema: TableSchema) -> dict[str, str]:
    return {
        plain_heading(told): column
        for english, column in OTHER_HEADINGS.items()
        if column in schema.columns
        for told in in_every_language(english)
        if plain_heading(told) not in headings_anywhere(schema.name)
    }


def _without_headings(schema: TableSchema, body: Sequence[tuple[int, list[str]]]) -> dict[int, str]:
    known = {0: schema.primary_key[0]}
    if "language" in schema.columns:
        columns = range(1, max(len(cells) for _, cells in body))
        values = {at: [_cell(cells, at) for _, cells in body if _cell(cells, at)] for at in columns}
        spoken = [at for at in columns if values[at] and all(plain_name(one) in _languages() for one in values[at])]
        known |= dict.fromkeys(spoken[:1], "language")
    return known


def _unknown_columns(
    schema: TableSchema,
    heading: Sequence[str],
    known: Mapping[int, str],
    body: Sequence[tuple[int, list[str]]],
    *,
    has_headings: bool,
    row: int,
) -> Iterator[Problem]:
    width = len(heading) if has_headings else max(len(cells) for _, cells in body)
    unknown = [at for at in range(width) if at not in known and any(_cell(cells, at) for _, cells in body)]
    if unknown and not has_headings:
        yield problem("TK-C02", schema.file, "no headings", row=row, count=len(unknown), columns=schema.columns)
        return
    absent = [name for name in schema.columns if name not in known.values()]
    for at in unknown:
        text = heading[at]
        near = nearest_name(plain_heading(text), absent)
        yield problem(
            "TK-C02", schema.file, row=row, column=text or None, heading=text, columns=schema.columns, near=near
        )


def _canonical(schema: TableSchema, cells: Mapping[str, str]) -> dict[str, str]:
    """Write a row as the table holds it: codes of languages, listed words, short names."""
    found = dict(cells)
    for name, text in cells.items():
        field = schema.field(name)
        if name == "language":
            found[name] = _languages().get(plain_name(text), text)
        elif field.listed:
            found[name] = values_by_plain_word(field).get(plain_name(text), text)
    if schema.name == "sites":
        told = found.get("site") or found.get("name", "")
        found["site"] = _short_name(told)
        if found["site"] != told and not found.get("name"):
            found["name"] = told
    return found


def _short_name(text: str) -> str:
    """Make a garden's short name of any name: what files and tables are called by.

    Examples
    --------
    >>> _short_name("St. Mary's  School")
    'St Marys School'
    """
    plain = re.sub(r"[^\w \-]", "", re.sub(r"\s+", " ", text)).strip()
    return re.sub(r"\A\W+", "", re.sub(r" +", " ", plain))[:LONGEST_SHORT_NAME].strip() or text


@cache
def _languages() -> dict[str, str]:
    """Map what people call a language, in any of them, to its code."""
    found: dict[str, str] = {}
    for code in LANGUAGES:
        locale = locale_of(code)
        names = [code, *(locale_of(other).languages.get(locale.language, code) for other in LANGUAGES)]
        found |= {plain_name(name): code for name in names}
    return found


def _read(schema: TableSchema, columns: Sequence[str], rows: Mapping[int, Mapping[str, str]]) -> TableReading:
    """Type the rows, each in the row of its line."""
    lines, at = [list(columns)], 1
    shift = 0 if 1 not in rows else 1  # the first line has no headings: all is read one row further down
    for row, cells in rows.items():
        lines += [[""]] * (row + shift - at - 1)
        lines.append([cells.get(name, "") for name in columns])
        at = row + shift
    reading = read_table(schema, csv_of_texts(lines))
    problems = tuple(replace(one, row=one.row - shift) if one.row else one for one in reading.problems)
    frame = reading.frame.set_axis(reading.frame.index - shift, axis="index")
    return replace(reading, problems=problems, frame=frame)


def _cell(cells: Sequence[str], at: int) -> str:
    return cells[at] if at < len(cells) else ""
