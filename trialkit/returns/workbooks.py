"""Workbooks (xlsx) as sheets of text cells, with everything about them that no cell says."""

import io
import warnings
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time
from typing import Any

from trialkit.returns.finding_log import Log
from trialkit.returns.sheets import MOST_COLUMNS, MOST_ROWS, CellRemark, CellType, MergedCells, Returned, SheetText
from trialkit.rules.form_marks import FormMarks

MARKS_SHEET, LISTS_SHEET, READ_ME_SHEET = "trialkit", "lists", "Read me first"
FORMAT = "trialkit-workbook-1"
MOST_ENTRIES = 2_000
MOST_UNPACKED_BYTES = 60_000_000
MOST_RATIO = 200
RATIO_MATTERS_FROM_BYTES = 5_000_000
MOST_CELLS = 300_000
NO_FILL = (None, "none")


def read_workbook(data: bytes, log: Log) -> Returned:
    """Read the sheets of a workbook that hold anything, without those of our forms that hold no records.

    Raises
    ------
    UnreadableReturn
        If it is too large, damaged, or no workbook.
    """
    _bounded(data, log)
    values, formulas = _load(data, log, values=True), _load(data, log, values=False)
    marks = _marks(values)
    ours = {MARKS_SHEET, LISTS_SHEET, READ_ME_SHEET} if marks else set()
    sheets = []
    for name in values.sheetnames:
        if name in ours or not hasattr(values[name], "merged_cells"):  # a sheet of a chart has no cells
            continue
        sheet = _sheet(values[name], formulas[name], log)
        if sheet.rows:
            sheets.append(sheet)
    if not sheets:
        raise log.give_up("TK-R08", "no sheet")
    form = FormMarks(marks["trial"], marks["layout"], marks["form"]) if marks else None
    return Returned("workbook", tuple(sheets), form, marks.get("site", ""))


def _bounded(data: bytes, log: Log) -> None:
    """Refuse what would unpack to more than any record needs, before anything is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            entries = archive.infolist()
            unpacked = sum(entry.file_size for entry in entries)
            if (
                len(entries) > MOST_ENTRIES
                or unpacked > MOST_UNPACKED_BYTES
                or (unpacked > RATIO_MATTERS_FROM_BYTES and unpacked > MOST_RATIO * len(data))
            ):
                sizes = {"size_mb": len(data) / 1e6, "unpacked_mb": unpacked / 1e6}
                raise log.give_up("TK-R07", "unpacked", most_mb=MOST_UNPACKED_BYTES / 1e6, **sizes)
            names = {entry.filename for entry in entries}
            if any(entry.flag_bits & 1 for entry in entries):
                raise log.give_up("TK-R06", "locked")
            if "xl/workbook.xml" not in names:
                raise log.give_up("TK-R05", "other program" if "mimetype" in names else "archive")
            parts = [entry for entry in entries if entry.filename.endswith((".xml", ".rels"))]
            if any(b"<!DOCTYPE" in _beginning(archive, entry) for entry in parts):  # no spreadsheet program writes it
                raise log.give_up("TK-R05", "entities")
            sheets = [entry for entry in entries if entry.filename.startswith("xl/worksheets/")]
            cells = sum(archive.read(entry).count(b"<c ") for entry in sheets if entry.filename.endswith(".xml"))
    except (zipfile.BadZipFile, OSError, ValueError, EOFError, NotImplementedError, RuntimeError, _zlib_error()):
        raise log.give_up("TK-R05", "damaged workbook") from None
    if cells > MOST_CELLS:
        raise log.give_up("TK-R07", "cells", most_cells=MOST_CELLS, cells=cells)


def _beginning(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    with archive.open(entry) as stream:
        return stream.read(4096)


def _zlib_error() -> type[Exception]:
    import zlib

    return zlib.error


def _load(data: bytes, log: Log, *, values: bool) -> Any:
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about styles and extensions that do not matter here
            return load_workbook(io.BytesIO(data), data_only=values, keep_links=False)
    except Exception as error:  # whatever a stranger's file makes the library stumble over
        raise log.give_up("TK-R05", "damaged inside") from error


def _marks(workbook: Any) -> dict[str, str]:
    if MARKS_SHEET not in workbook.sheetnames or not hasattr(workbook[MARKS_SHEET], "iter_rows"):
        return {}
    rows = workbook[MARKS_SHEET].iter_rows(min_row=1, max_row=20, max_col=2, values_only=True)
    marks = {str(key): "" if value is None else str(value) for key, value in rows if key is not None}
    if marks.get("format") != FORMAT:
        return {}
    return {"trial": "", "layout": "", "form": "", "site": ""} | marks


def _sheet(values: Any, formulas: Any, log: Log) -> SheetText:
    if values.max_column > MOST_COLUMNS or values.max_row > 4 * MOST_ROWS:
        _refuse_huge(values, log)
    rows: list[tuple[int, tuple[str, ...]]] = []
    remarks: list[CellRemark] = []
    looks: dict[tuple[int, int], str] = {}
    typed: dict[tuple[int, int], CellType] = {}
    for number, (value_row, formula_row) in enumerate(
        zip(values.iter_rows(), formulas.iter_rows(), strict=False), start=1
    ):
        cells = tuple(_text(cell.value) for cell in value_row)
        for column, (cell, formula) in enumerate(zip(value_row, formula_row, strict=False), start=1):
            remarks += _remarks(cell, formula, number, column)
            if look := _look(cell):
                looks[number, column] = look
            if isinstance(cell.value, date):
                typed[number, column] = "date"
            elif isinstance(cell.value, int | float) and not isinstance(cell.value, bool):
                typed[number, column] = "number"
        if any(map(str.strip, cells)) or any(remark.row == number for remark in remarks[-len(cells) :]):
            rows.append((number, cells))
    if len(rows) > MOST_ROWS:
        raise log.give_up("TK-R07", "rows", most_rows=MOST_ROWS, rows=len(rows))
    last = rows[-1][0] if rows else 0
    return SheetText(
        values.title,
        tuple(rows),
        blank_between=last != len(rows),
        hidden=values.sheet_state != "visible",
        hidden_rows=frozenset(row for row, shape in values.row_dimensions.items() if shape.hidden),
        hidden_columns=frozenset(_hidden_columns(values)),
        merged=tuple(
            MergedCells(str(area), range(area.min_row, area.max_row + 1), range(area.min_col, area.max_col + 1))
            for area in values.merged_cells.ranges
        ),
        remarks=tuple(remarks),
        looks=looks,
        typed=typed,
    )


def _refuse_huge(values: Any, log: Log) -> None:
    """A cell far out makes a sheet huge, although little is in it: refuse unless it is only formatted."""
    far = [cell for cell in values._cells.values() if cell.value is not None]
    columns, rows = max((c.column for c in far), default=0), max((c.row for c in far), default=0)
    if columns > MOST_COLUMNS or rows > 4 * MOST_ROWS or values.max_column * values.max_row > 4 * MOST_CELLS:
        size = {"rows": values.max_row, "columns": values.max_column}
        raise log.give_up("TK-R07", "sheet", most_rows=MOST_ROWS, most_columns=MOST_COLUMNS, **size)


def _hidden_columns(values: Any) -> Iterator[int]:
    for shape in values.column_dimensions.values():
        if shape.hidden and shape.min and shape.max:
            yield from range(shape.min, min(shape.max, MOST_COLUMNS) + 1)


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 2**53 else repr(value)
    if isinstance(value, datetime):
        return value.date().isoformat() if value.time() == time() else value.isoformat(" ")
    return value.isoformat() if isinstance(value, date) else str(value)


def _remarks(cell: Any, formula: Any, row: int, column: int) -> Iterator[CellRemark]:
    if formula.data_type == "f":
        text = str(getattr(formula.value, "text", formula.value))
        kind = "formula without value" if cell.value is None else "formula"
        yield CellRemark(kind, row, column, text)  # type: ignore[arg-type]
    if cell.data_type == "e":
        yield CellRemark("error", row, column, str(cell.value))
    if cell.comment is not None and row > 1:
        yield CellRemark("comment", row, column, str(cell.comment.text))


def _look(cell: Any) -> str:
    """Describe how a cell is coloured or struck out; empty if it is not."""
    if cell.value is None or not cell.has_style:
        return ""
    marks = []
    if cell.fill is not None and cell.fill.fill_type not in NO_FILL:
        colour = cell.fill.fgColor
        marks.append(f"filled {colour.type} {getattr(colour, colour.type, '')} {colour.tint}")
    if cell.font is not None and cell.font.strike:
        marks.append("struck out")
    return ", ".join(marks)
