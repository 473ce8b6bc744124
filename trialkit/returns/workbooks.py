"""Workbooks (xlsx) as sheets of text cells, with everything about them that no cell says."""

import io
import warnings
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time
from typing import Any

from trialkit.domain.reading_budget import WORKBOOK
from trialkit.domain.table_names import RECORD_TABLES
from trialkit.languages import in_every_language
from trialkit.returns.finding_log import Log
from trialkit.returns.sheets import CellRemark, CellType, MergedCells, Returned, SheetText
from trialkit.returns.workbook_parts import HasEntities, WorkbookParts
from trialkit.rules.form_marks import FormMarks
from trialkit.tables.form_words import READ_ME_SHEET

MARKS_SHEET, LISTS_SHEET = "trialkit", "lists"
FORMAT = "trialkit-workbook-1"
NO_FILL = (None, "none")


def read_workbook(data: bytes, log: Log) -> Returned:
    """Read the sheets of a workbook that hold anything, without those of our forms that hold no records.

    Raises
    ------
    UnreadableReturn
        If it is too large, damaged, or no workbook.
    """
    parts = _parts(data, log)
    values = _load(data, log, values=True)
    formulas = _load(data, log, values=False) if parts.has_formulas else values
    marks = _marks(values)
    sheets = []
    for name in values.sheetnames:
        if (marks and _holds_no_records(name)) or not hasattr(values[name], "merged_cells"):
            continue  # a sheet of a chart has no cells
        sheet = _sheet(values[name], formulas[name])
        if sheet.rows:
            sheets.append(sheet)
    if not sheets:
        raise log.give_up("TK-R08", "no sheet")
    form = FormMarks(marks["trial"], marks["layout"], marks["form"]) if marks else None
    return Returned("workbook", tuple(sheets), form, marks.get("site", ""))


def _parts(data: bytes, log: Log) -> WorkbookParts:
    """Count what a workbook holds, and refuse what is more than any record needs before it is taken in."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = {entry.filename for entry in archive.infolist()}
            if any(entry.flag_bits & 1 for entry in archive.infolist()):
                raise log.give_up("TK-R06", "locked")
            if "xl/workbook.xml" not in names:
                raise log.give_up("TK-R05", "other program" if "mimetype" in names else "archive")
            return WorkbookParts(archive)
    except HasEntities:
        raise log.give_up("TK-R05", "entities") from None
    except (zipfile.BadZipFile, OSError, ValueError, EOFError, NotImplementedError, RuntimeError, _zlib_error()):
        raise log.give_up("TK-R05", "damaged workbook") from None


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


def _holds_no_records(sheet: str) -> bool:
    """Whether a sheet of our forms is none of a table; other languages are asked only where English does not tell."""
    if sheet in RECORD_TABLES:
        return False
    return sheet in (MARKS_SHEET, LISTS_SHEET, READ_ME_SHEET) or sheet in in_every_language(READ_ME_SHEET)


def _marks(workbook: Any) -> dict[str, str]:
    if MARKS_SHEET not in workbook.sheetnames or not hasattr(workbook[MARKS_SHEET], "iter_rows"):
        return {}
    rows = workbook[MARKS_SHEET].iter_rows(min_row=1, max_row=20, max_col=2, values_only=True)
    marks = {str(key): "" if value is None else str(value) for key, value in rows if key is not None}
    if marks.get("format") != FORMAT:
        return {}
    return {"trial": "", "layout": "", "form": "", "site": ""} | marks


def _sheet(values: Any, formulas: Any) -> SheetText:
    rows: list[tuple[int, tuple[str, ...]]] = []
    remarks: list[CellRemark] = []
    looks: dict[tuple[int, int], str] = {}
    typed: dict[tuple[int, int], CellType] = {}
    cells_by_row = _cells_by_row(values, formulas)
    width = max((max(cells) for cells in cells_by_row.values()), default=0)
    for number, cells in cells_by_row.items():
        texts, told = [""] * width, len(remarks)
        for column, (cell, formula) in cells.items():
            texts[column - 1] = _text(cell.value)
            remarks += _remarks(cell, formula, number, column)
            if look := _look(cell):
                looks[number, column] = look
            if isinstance(cell.value, date):
                typed[number, column] = "date"
            elif isinstance(cell.value, int | float) and not isinstance(cell.value, bool):
                typed[number, column] = "number"
        if any(map(str.strip, texts)) or len(remarks) > told:
            rows.append((number, tuple(texts)))
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


def _cells_by_row(values: Any, formulas: Any) -> dict[int, dict[int, tuple[Any, Any]]]:
    """Return the cells that hold anything, as value and as formula; one far out makes a sheet huge that has few."""
    rows: dict[int, dict[int, tuple[Any, Any]]] = {}
    for place, cell in sorted(values._cells.items()):
        formula = formulas._cells[place]
        if cell.value is not None or formula.value is not None or cell.comment is not None:
            rows.setdefault(place[0], {})[place[1]] = cell, formula
    WORKBOOK.hold("columns", max((max(cells) for cells in rows.values()), default=0), counted=True)
    WORKBOOK.hold("rows", max(rows, default=0), counted=True)
    return rows


def _hidden_columns(values: Any) -> Iterator[int]:
    for shape in values.column_dimensions.values():
        if shape.hidden and shape.min and shape.max:
            yield from range(shape.min, min(shape.max, WORKBOOK.columns) + 1)


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
