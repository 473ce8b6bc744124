"""The cells of a returned file around what is asked about it, as the sheet has them."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from trialkit.documents.returns import Kind, ReturnFinding
from trialkit.domain.quoting import shown
from trialkit.domain.table_names import TableName
from trialkit.returns.finding_log import HeadingsKnown, Log, UnreadableReturn
from trialkit.returns.recognising import header_of
from trialkit.returns.returned_file import load_original, read_return
from trialkit.returns.sheets import SheetText
from trialkit.tables.headings import matched

COLUMNS_EACH_SIDE = 2
FIRST_ROWS = 3
"""Rows that stand for a whole column."""


@dataclass(frozen=True)
class Excerpt:
    """Some cells of a sheet."""

    heading_row: Annotated[int, "Row of the headings, as a spreadsheet shows it."]
    headings: tuple[str, ...]
    rows: Annotated[tuple[tuple[int, tuple[str, ...]], ...], "Row as a spreadsheet shows it, and its cells."]
    row: Annotated[int | None, "The row that is asked about; None of a whole column."]
    place: Annotated[int | None, "Position of the column that is asked about; None of a whole row."]


@dataclass(frozen=True)
class ReadSheet:
    """A sheet of a returned file as it stands, where its headings are, and the table that they are of."""

    text: SheetText
    header: int
    table: TableName | None
    names: Annotated[Mapping[int, str], "Columns by position, as far as headings are known."]

    @property
    def records(self) -> int:
        """How many rows stand below the headings."""
        return max(len(self.text.rows) - self.header - 1, 0)


@dataclass(frozen=True)
class ReadFile:
    """A returned file as it stands."""

    kind: Kind
    sheets: tuple[ReadSheet, ...]

    def table_of(self, finding: ReturnFinding) -> TableName | None:
        """Table of the sheet in which something was found; None where its headings tell of none."""
        sheet = self._sheet(finding)
        return sheet.table if sheet else None

    def excerpt(self, finding: ReturnFinding) -> Excerpt | None:
        """Show the cells around what was found; None of what is about no cell."""
        sheet = self._sheet(finding)
        if sheet is None or (finding.row is None and finding.column is None):
            return None
        rows = sheet.text.rows
        at = next((i for i, (number, _) in enumerate(rows) if number == finding.row), None)
        is_of_row = at is not None and at != sheet.header
        if is_of_row:
            assert at is not None
            rows_shown = [i for i in (at - 1, at, at + 1) if 0 <= i < len(rows) and i != sheet.header]
        else:
            rows_shown = list(range(sheet.header + 1, min(sheet.header + 1 + FIRST_ROWS, len(rows))))
        place = _place(sheet, finding, at)
        width = max((len(rows[i][1]) for i in (sheet.header, *rows_shown)), default=0)
        if place is None:
            columns = list(range(min(width, 2 * COLUMNS_EACH_SIDE + 2)))
        else:
            around = range(max(place - COLUMNS_EACH_SIDE, 0), min(place + COLUMNS_EACH_SIDE + 1, width))
            columns = sorted({0, *around})
        number, headings = rows[sheet.header]
        return Excerpt(
            number,
            _cells(headings, columns),
            tuple((rows[i][0], _cells(rows[i][1], columns)) for i in rows_shown),
            finding.row if is_of_row else None,
            columns.index(place) if place in columns else None,
        )

    def heading(self, finding: ReturnFinding) -> str:
        """Return the heading that was found to be unknown, as the sheet has it; empty where it is not of one."""
        sheet = self._sheet(finding)
        cells = sheet.text.rows[sheet.header][1] if sheet else ()
        return next((text for text in cells if text.strip() and shown(text.strip()) == finding.column), "")

    def _sheet(self, finding: ReturnFinding) -> ReadSheet | None:
        return next((sheet for sheet in self.sheets if sheet.text.name == finding.sheet and sheet.text.rows), None)


def read_file(path: Path, headings: Mapping[str, str]) -> ReadFile | None:
    """Read a returned file to show of it; None where nothing of it can be read.

    Parameters
    ----------
    path : Path
    headings : mapping of str to str
        What headings were answered to stand for, folded.

    Raises
    ------
    OSError
        If it cannot be opened.
    """
    log = Log(path.name, headings=HeadingsKnown(headings))
    try:
        returned = read_return(load_original(path, log), log)
    except UnreadableReturn:
        return None
    return ReadFile(returned.kind, tuple(_read_sheet(sheet, log) for sheet in returned.sheets if sheet.rows))


def _read_sheet(sheet: SheetText, log: Log) -> ReadSheet:
    found = header_of(sheet, log)
    if found is None:
        return ReadSheet(sheet, 0, None, {})
    header, table = found
    cells = sheet.rows[header][1]
    known = log.headings.of(cells)
    return ReadSheet(sheet, header, table, matched(cells, table, known, anywhere=True) | matched(cells, table, known))


def _place(sheet: ReadSheet, finding: ReturnFinding, row: int | None) -> int | None:
    """Position of the column in which something was found."""
    facts = {fact.name: fact.value for fact in finding.facts}
    if finding.column is None:
        number = facts.get("number")
        return number - 1 if isinstance(number, int) else None
    by_name = [place for place, name in sheet.names.items() if name == finding.column]
    headings = sheet.text.rows[sheet.header][1]
    by_heading = [i for i, text in enumerate(headings) if text.strip() and shown(text.strip()) == finding.column]
    cells = sheet.text.rows[row][1] if row is not None else ()
    by_text = [i for i, text in enumerate(cells) if text and text == facts.get("text")]
    return next(iter((*by_name, *by_heading, *by_text)), None)


def _cells(row: tuple[str, ...], columns: list[int]) -> tuple[str, ...]:
    return tuple(row[place] if place < len(row) else "" for place in columns)
