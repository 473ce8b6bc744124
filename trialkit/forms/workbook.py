"""The record workbook of a garden, in its language: one sheet a table, with the lists and limits of the schemas."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator, Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from trialkit.domain.table_names import RECORD_TABLES, TableName
from trialkit.forms.garden_buckets import buckets_of_garden, garden_name, same_in_all
from trialkit.languages import gettext, in_figures, review_note, speaking
from trialkit.pages.safe_text import safe_text
from trialkit.rules.form_marks import form_marks
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.form_words import READ_ME_SHEET, sheet_name
from trialkit.tables.own_files import WORKBOOK_FILE, archive_mark
from trialkit.tables.table_schema import Field, TableSchema, load_schema
from trialkit.words.cautions import cautions_for
from trialkit.words.ph_words import READ_AGAIN
from trialkit.words.phrases import from_to, listed
from trialkit.words.problem_words import accepted_words

if TYPE_CHECKING:
    from openpyxl.cell.cell import Cell
    from openpyxl.worksheet.worksheet import Worksheet

LISTS, MARKS = "lists", "trialkit"
FORMAT = "trialkit-workbook-1"
BLANK_MIXINGS, BLANK_VISITS = 3, 20
DATE_FORM, TEXT_FORM = "yyyy-mm-dd", "@"
LONGEST_LIST = 255  # beyond this a list inside a validation breaks the reader's program
LONGEST_PROMPT, LONGEST_PROMPT_TITLE = 255, 32
FIXED_TIME = (1980, 1, 1, 0, 0, 0)
FIXED_STAMP = b"1980-01-01T00:00:00Z"
IDENTITY = "identity"
"""Stands in a workbook where the mark by which we know it as untouched comes, once all else in it is settled."""
STAMP = re.compile(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
HEADER_FILL, KEY_FILL, HEADER_FONT = "12372A", "EAF3D9", "F4F8EA"
NARROW, WIDE = 14, 40

EXAMPLE_DAY = "2026-09-28"


def _instructions() -> tuple[str, ...]:
    heads, solution, visits = map(sheet_name, RECORD_TABLES)
    outcome, last_seen = (gettext(load_schema("heads").field(name).title) for name in ("outcome", "last_not_ready_on"))
    return (
        gettext(
            "Fill in the white cells of the three sheets: {heads}, {solution}, {visits}. Green cells are filled in "
            "already.",
            heads=heads,
            solution=solution,
            visits=visits,
        ),
        gettext(
            "One row in “{heads}” is one head of lettuce. A head that was not harvested has a row too: choose what "
            "became of it under “{outcome}”, and leave its weight empty. Where nobody knows, leave that empty too.",
            heads=heads,
            outcome=outcome,
        ),
        gettext("Weigh each head in grams, to the gram, as soon as it is cut."),
        gettext(
            "Write days as year-month-day, such as {day}. Write numbers with your program's decimal separator.",
            day=EXAMPLE_DAY,
        ),
        gettext("{last_seen}: the last visit at which the head was not ready yet.", last_seen=last_seen),
        gettext(
            "In “{solution}”, write down what you really put in, also where it was not what the card said. Acid goes "
            "in by the steps on the card, never more at a time.",
            solution=solution,
        ),
        gettext(
            "{read_again}: a row with the day and the pH before, its amounts left empty.",
            read_again=gettext(READ_AGAIN),
        ),
        gettext("Leave a cell empty when there is nothing to record. Do not rename sheets or move columns."),
        gettext(
            "Save the file and send it back. Send it again whenever there is more. Nothing that you sent before is "
            "lost."
        ),
    )


def record_workbook(trial: CheckedTrial, site: str) -> bytes:
    """Make the record workbook of one garden, in its language.

    It is an xlsx file; the same for the same trial. Buckets and heads are filled in and locked, the other cells take
    what the schemas allow. A very hidden sheet carries the marks of trial and layout.

    Raises
    ------
    WrongCall
        If the trial has no such garden, or it has no buckets.
    """
    with speaking(trial.language_of(site)):
        return _same_every_time(_workbook(trial, site))


def _workbook(trial: CheckedTrial, site: str) -> bytes:
    from openpyxl import Workbook

    buckets = [bucket.bucket for bucket in buckets_of_garden(trial, site)]
    book = Workbook()
    book.properties.creator, book.properties.identifier = "trialkit", IDENTITY
    book.worksheets[0].title = gettext(READ_ME_SHEET)
    _read_me(book.worksheets[0], trial, site)
    lists = book.create_sheet(LISTS)
    for name in RECORD_TABLES:
        schema = load_schema(name)
        sheet = book.create_sheet(sheet_name(name), index=1 + RECORD_TABLES.index(name))
        _table(sheet, schema, list(_prefilled(trial, name, site, buckets)), lists)
    lists.sheet_state = "hidden"
    marks = form_marks(trial, site)
    sheet = book.create_sheet(MARKS)
    told = (("format", FORMAT), ("trial", marks.trial), ("layout", marks.layout), ("form", marks.form), ("site", site))
    for row, (key, value) in enumerate(told, 1):
        _write(sheet.cell(row, 1), key)
        _write(sheet.cell(row, 2), value)
    sheet.sheet_state = "veryHidden"
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _prefilled(trial: CheckedTrial, name: TableName, site: str, buckets: Sequence[str]) -> Iterator[dict[str, Any]]:
    """Rows with their keys, and empty rows to fill in."""
    if name == "heads":
        for bucket in buckets:
            for head in range(1, trial.protocol.bucket.heads + 1):
                yield {"bucket": bucket, "head": head}
    elif name == "solution":
        for bucket in buckets:
            yield from [{"bucket": bucket}] * BLANK_MIXINGS
    else:
        yield from [{"site": site}] * BLANK_VISITS


def _table(sheet: Worksheet, schema: TableSchema, rows: Sequence[dict[str, Any]], lists: Worksheet) -> None:
    from openpyxl.styles import Alignment, Font, PatternFill, Protection
    from openpyxl.utils import get_column_letter

    last = len(rows) + 1
    for number, field in enumerate(schema.on_forms, 1):
        letter = get_column_letter(number)
        header = sheet.cell(1, number)
        _write(header, field.heading)
        header.font, header.fill = Font(bold=True, color=HEADER_FONT), PatternFill("solid", fgColor=HEADER_FILL)
        header.alignment = Alignment(wrap_text=True, vertical="top")
        sheet.column_dimensions[letter].width = (
            WIDE if field.name == "note" else max(NARROW, len(field.heading) // 2 + 2)
        )
        for row, filled in enumerate(rows, 2):
            cell = sheet.cell(row, number)
            cell.number_format = {"date": DATE_FORM, "string": TEXT_FORM}.get(field.type, "General")
            if field.name in filled:
                _write(cell, filled[field.name])
                cell.fill = PatternFill("solid", fgColor=KEY_FILL)
            else:
                cell.protection = Protection(locked=False)
        validation = _validation(field, lists)
        validation.add(f"{letter}2:{letter}{last}")
        sheet.add_data_validation(validation)
    sheet.freeze_panes = sheet.cell(2, len(rows[0]) + 1) if rows else "A2"
    sheet.protection.sheet = True
    sheet.protection.formatColumns = False
    sheet.page_setup.orientation, sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = "landscape", 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = "1:1"
    sheet.print_options.gridLines = True


def _validation(field: Field, lists: Worksheet) -> Any:
    """Turn a field's constraints into what the spreadsheet refuses, with the words it says."""
    from openpyxl.worksheet.datavalidation import DataValidation

    kind: dict[str, Any]
    if field.listed:
        kind = {"type": "list", "formula1": _list([field.said(value) for value in field.listed], field.name, lists)}
    elif field.type in ("number", "integer"):
        kind = {
            "type": "decimal" if field.type == "number" else "whole",
            "operator": "between",
            "formula1": str(field.minimum if field.minimum is not None else -(10**9)),
            "formula2": str(field.maximum if field.maximum is not None else 10**9),
        }
    elif field.type == "date":
        first, last = (date.fromisoformat(str(limit)) for limit in (field.minimum, field.maximum))
        kind = {
            "type": "date",
            "operator": "between",
            "formula1": f"DATE({first.year},{first.month},{first.day})",
            "formula2": f"DATE({last.year},{last.month},{last.day})",
        }
    else:
        kind = {"type": "textLength", "operator": "lessThanOrEqual", "formula1": str(field.max_length or 40)}
    title, how_to_fix = gettext(field.title), gettext(field.how_to_fix) if field.how_to_fix else ""
    about = gettext(field.description) if field.listed else _about(field)
    return DataValidation(
        allow_blank=True,
        showErrorMessage=True,
        showInputMessage=True,
        errorTitle=_cut(title, LONGEST_PROMPT_TITLE),
        error=_cut(f"{_asked(field)} {how_to_fix}".strip(), LONGEST_PROMPT),
        promptTitle=_cut(title, LONGEST_PROMPT_TITLE),
        prompt=_cut(about, LONGEST_PROMPT),
        **kind,
    )


def _asked(field: Field) -> str:
    """Say what to do about a cell that the workbook refuses."""
    if field.type == "date":
        return gettext("Please write a day as year-month-day, such as {day}.", day=EXAMPLE_DAY)
    if field.listed:
        return gettext("Please choose {words}.", words=listed([field.said(value) for value in field.listed], "or"))
    wanted = accepted_words(field)
    if field.type == "number":
        return gettext("Please write a number, {wanted}.", wanted=wanted)
    if field.type == "integer":
        return gettext("Please write a whole number, {wanted}.", wanted=wanted)
    return gettext("Please write {wanted}.", wanted=wanted)


def _list(words: Sequence[str], name: str, lists: Worksheet) -> str:
    """Write a list inside the validation if it is short and has no comma; on the hidden sheet otherwise."""
    inside = ",".join(words)
    if len(inside) <= LONGEST_LIST and not any("," in word or '"' in word for word in words):
        return f'"{inside}"'
    from openpyxl.utils import get_column_letter

    column = 1 if lists.cell(1, 1).value is None else lists.max_column + 1
    for row, word in enumerate((name, *words), 1):
        _write(lists.cell(row, column), word)
    letter = get_column_letter(column)
    return f"{LISTS}!${letter}$2:${letter}${len(words) + 1}"


def _about(field: Field) -> str:
    """Say what a column holds, and what it takes."""
    about = gettext(field.description)
    if field.enum:
        one_of = gettext("One of: {words}.", words=", ".join(field.said(value) for value in field.enum))
        return f"{about} {one_of}"
    if isinstance(field.minimum, int | float) and field.maximum is not None:
        least, most = (in_figures(str(limit)) for limit in (field.minimum, field.maximum))
        limits = gettext("From {limits}.", limits=from_to(least, " ".join(filter(None, (most, field.unit_words)))))
        return f"{about} {limits}"
    return about


def _read_me(sheet: Worksheet, trial: CheckedTrial, site: str) -> None:
    from openpyxl.styles import Alignment, Font

    number = 0
    for heading, lines in _parts(trial, site):
        for text in (heading, *lines, ""):
            number += 1
            cell = sheet.cell(number, 1)
            _write(cell, text)
            cell.alignment = Alignment(wrap_text=True, vertical="top")
            if text is heading:
                cell.font = Font(bold=True, size=13)
    sheet.column_dimensions["A"].width = 100
    sheet.protection.sheet = True
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True


def _parts(trial: CheckedTrial, site: str) -> Iterator[tuple[str, list[str]]]:
    """Headings of the first sheet, each with its lines."""
    about, volume_l = trial.protocol.trial, trial.protocol.bucket.volume_l
    title = gettext("{garden}: records of {trial}", garden=garden_name(trial, site), trial=about.title)
    yield title, [f"{number}. {text}" for number, text in enumerate(_instructions(), 1)]
    yield (
        gettext("Cautions"),
        [f"{one.title}. {one.text}" for one in cautions_for("workbook", volume_l, about.measures)],
    )
    fields = [(sheet_name(table), field) for table in RECORD_TABLES for field in load_schema(table).on_forms]
    yield gettext("Columns"), [f"{name}, {field.heading}: {_about(field)}" for name, field in fields]
    buckets = [(f"{one.bucket}, {one.place}", one.treatment) for one in buckets_of_garden(trial, site)]
    yield (
        gettext("Buckets of this garden"),
        [*same_in_all(trial).sentences, *(": ".join(filter(None, told)) for told in buckets)],
    )
    if note := review_note():
        yield note, []


def _write(cell: Cell, value: str | int) -> None:
    """Write a value; a text stays one, whatever it begins with."""
    cell.value = safe_text(value) if isinstance(value, str) else value
    if isinstance(value, str):
        cell.data_type = "s"


def _cut(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"


def _same_every_time(data: bytes) -> bytes:
    """Pack a workbook anew without the time at which it was made, and mark it."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as new:
        mark = archive_mark(old, WORKBOOK_FILE)
        for name in old.namelist():
            content = old.read(name)
            if name == WORKBOOK_FILE:
                content = STAMP.sub(FIXED_STAMP, content).replace(f">{IDENTITY}<".encode(), f">{mark}<".encode())
            entry = zipfile.ZipInfo(name, FIXED_TIME)
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
            new.writestr(entry, content)
    return stream.getvalue()
