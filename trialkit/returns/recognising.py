"""From sheets of text cells to tables of the record: the header, its headings, and the rows that are records."""

import re
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Annotated

from trialkit.domain.quoting import shown
from trialkit.domain.table_names import RECORD_TABLES, TABLE_NAMES, TableName
from trialkit.returns.finding_log import Log, Place
from trialkit.returns.sheets import CellType, Returned, SheetText
from trialkit.tables.form_words import sheet_names
from trialkit.tables.headings import (
    FEWEST_HEADINGS,
    best_table,
    headings_anywhere,
    headings_of,
    headings_on_forms,
    matched,
    other_unit,
    plain_heading,
    unit_of,
)
from trialkit.tables.nearest import nearest_name
from trialkit.tables.table_schema import TableSchema, load_schema

HEADER_WITHIN_ROWS = 20
TOTALS = re.compile(r"(grand )?(totals?|sum|mean|average|avg|median|count|min|max|sd|subtotal)\s*[:=]?", re.IGNORECASE)
NUMBERED = re.compile(r"(?P<stem>.*?[^\W\d_])[_ ]*\d{1,2}")
HEADER_UNCLEAR = {"TK-R14", "TK-R15", "TK-R20", "TK-R24"}
"""What makes it unclear which column is which: cells are not looked at then."""
PLAIN_LOOK = "plain"


@dataclass
class ReturnedTable:
    """One table as it was returned."""

    schema: TableSchema
    sheet: str | None
    rows: Annotated[list[int], "Row of each record, as a spreadsheet shows it."]
    cells: Annotated[
        dict[str, list[str]], "Text by column; only columns of the schema, and only those that the return has."
    ]
    typed: Annotated[
        dict[str, dict[int, CellType]], "By column and position, the cells of a workbook that were not text."
    ] = field(default_factory=dict)

    def place(self, position: int, column: str | None = None) -> Place:
        """Say where a record, or a cell of it, stands in the file."""
        return Place(self.sheet, self.rows[position], column)

    def column(self, name: str) -> list[str]:
        """Return a column's cells, empty ones if the return does not have it."""
        return self.cells.get(name) or [""] * len(self.rows)

    def keep(self, positions: Sequence[int]) -> None:
        """Leave out all records but these."""
        self.rows = [self.rows[i] for i in positions]
        self.cells = {name: [cells[i] for i in positions] for name, cells in self.cells.items()}
        moved = {old: new for new, old in enumerate(positions)}
        self.typed = {
            name: {moved[i]: kind for i, kind in places.items() if i in moved} for name, places in self.typed.items()
        }


def tables_of(returned: Returned, names: Collection[str], log: Log) -> list[ReturnedTable]:
    """Find the tables of a returned file, one for each sheet that holds one.

    `names` are those of the trial's buckets: records are known by them where no heading is.
    """
    headers = {place: header_of(sheet, log) for place, sheet in enumerate(returned.sheets)}
    found = {place: header for place, header in headers.items() if header is not None}
    if not found:
        _ask_every_heading(returned.sheets, names, log)
        return []
    tables = []
    for place, sheet in enumerate(returned.sheets):
        if place not in found:
            log.ask("TK-R46", Place(sheet.name))
            continue
        position, name = found[place]
        if name not in RECORD_TABLES:
            log.refuse("TK-R10", Place(sheet.name), "another table", table=name)
            continue
        table = _Reading(sheet, position, load_schema(name), log).table()
        refused = {finding.rule for finding in log.of("refused") if finding.sheet == sheet.name}
        if not refused & HEADER_UNCLEAR:
            tables.append(table)
    return tables


def header_of(sheet: SheetText, log: Log) -> tuple[int, TableName] | None:
    """Find the row with most headings among the first, and the table it is of; in English, else in any language."""
    for anywhere in (False, True):
        best: tuple[int, TableName] | None = None
        most = FEWEST_HEADINGS - 1
        for position, (_, cells) in enumerate(sheet.rows[:HEADER_WITHIN_ROWS]):
            name, count = best_table(cells, log.headings.of(cells), anywhere=anywhere)
            if name is not None and count > most:
                best, most = (position, name), count
        if best is not None:
            return best
    return None


def _ask_every_heading(sheets: Sequence[SheetText], names: Collection[str], log: Log) -> None:
    """Ask what the headings of the first sheet that names buckets stand for; refuse a file that names none."""
    columns = tuple(dict.fromkeys(name for table in RECORD_TABLES for name in load_schema(table).columns))
    for sheet in sheets:
        (row, cells), *body = sheet.rows
        known = log.headings.of(cells)
        recognised = {place for table in RECORD_TABLES for place in matched(cells, table, known)}
        named = [sum(_cell(record, place).strip() in names for _, record in body) for place in range(len(cells))]
        asked = [
            place
            for place, text in enumerate(cells)
            if (plain := plain_heading(text)) and place not in recognised and plain not in known
        ]
        if any(named) and asked:
            for place in asked:
                answers = (_says(cells[place].strip(), "bucket" if 2 * named[place] > len(body) else "COLUMN"),)
                at, text = Place(sheet.name, row, cells[place].strip()), cells[place].strip()
                told = {"columns": columns} if place == asked[0] else {}
                log.ask_option("TK-R22", at, answers, "no table", text=text, **told)
            return
    row, cells = sheets[0].rows[0]
    headings = tuple(cell for cell in cells[:8] if cell.strip())
    log.refuse("TK-R10", Place(sheets[0].name, row), "no table", headings=headings)


def _says(heading: str, column: str = "COLUMN") -> str:
    """Write the option that says which column a heading stands for."""
    return f'--heading "{shown(heading)}={column}"'


class _Reading:
    """One sheet being read as one table."""

    def __init__(self, sheet: SheetText, header: int, schema: TableSchema, log: Log) -> None:
        self.sheet, self.schema, self.log = sheet, schema, log
        self.header_row, heading = sheet.rows[header]
        self.above = sheet.rows[:header]
        self.heading = [text.strip() for text in heading]
        while self.heading and not self.heading[-1]:
            self.heading.pop()
        self.width = len(self.heading)
        self.known = log.headings.of(tuple(self.heading))
        self.body = list(sheet.rows[header + 1 :])

    def table(self) -> ReturnedTable:
        self._look_above()
        self._name_of_sheet()
        self._rows_are_records()
        columns = self._columns()
        self._remarks(columns)
        self._notes_on_shape()
        if not self.body and self.log.clear:
            self.log.refuse("TK-R08", self._at(), "no rows")
        rows = [row for row, _ in self.body]
        cells = {name: [_cell(record, place) for _, record in self.body] for place, (name, _) in columns.items()}
        for name, unit in columns.values():
            if unit:
                cells[name] = [f"{text} {unit}" if text.strip() else text for text in cells[name]]
        types = self.sheet.typed
        typed = {
            name: {i: types[row, place + 1] for i, row in enumerate(rows) if (row, place + 1) in types}
            for place, (name, _) in columns.items()
        }
        return ReturnedTable(self.schema, self.sheet.name, rows, cells, typed)

    def _at(self, row: int | None = None, column: str | None = None) -> Place:
        return Place(self.sheet.name, row, column)

    def _look_above(self) -> None:
        if self.above:
            shown = " / ".join(" ".join(filter(None, map(str.strip, cells))) for _, cells in self.above[:3])
            self.log.ask("TK-R11", self._at(self.above[0][0]), text=shown, header_row=self.header_row)

    def _name_of_sheet(self) -> None:
        name, table = self.sheet.name, self.schema.name
        if name is not None and plain_heading(name) != table and name not in sheet_names(table):
            self.log.note("TK-R54", self._at(), table=self.schema.name)
        if self.sheet.hidden:
            self.log.ask("TK-R17", self._at(), "sheet")

    def _rows_are_records(self) -> None:
        """Leave out repeated headers; refuse a second table, totals, and rows of another length."""
        kept = []
        for place, (row, record) in enumerate(self.body):
            cells = tuple(text.strip() for text in record)
            if cells[: self.width] == tuple(self.heading) and not any(cells[self.width :]):
                self.log.note("TK-R40", self._at(row), "heading")
            elif self._is_another_header(cells):
                self.log.refuse("TK-R14", self._at(row), "below", table=self.schema.name, text=", ".join(cells))
                self.body = self.body[:place]
                break
            elif word := next((text for text in cells if TOTALS.fullmatch(text)), None):
                self.log.refuse("TK-R13", self._at(row), text=word)
            elif self._fits(row, record, cells):
                kept.append((row, record))
        self.body = kept

    def _is_another_header(self, cells: tuple[str, ...]) -> bool:
        count = max(len(set(matched(cells, name).values())) for name in TABLE_NAMES)
        return count >= FEWEST_HEADINGS and 2 * count >= sum(map(bool, cells))

    def _fits(self, row: int, record: Sequence[str], cells: tuple[str, ...]) -> bool:
        too_long = any(cells[self.width :])
        if too_long or (self.sheet.ragged and len(record) < self.width):
            case, last = "" if self.sheet.ragged else "right", cells[-1] if too_long else None
            self.log.refuse("TK-R23", self._at(row), case, wanted=self.width, count=len(record), last=last)
            return False
        return True

    def _columns(self) -> dict[int, tuple[str, str]]:
        """Map each position that is read to its column, and to the unit its heading names if that is another."""
        known = self._recognised()
        columns = {place: (name, "") for place, name in known.items()}
        counts = Counter(known.values())
        for name, count in counts.items():
            if count > 1:
                self.log.refuse("TK-R20", self._at(self.header_row, name), heading=name, count=count)
        for place, name in known.items():
            text = self.heading[place]
            if plain_heading(text) in self.known:
                self._note_answered(text, name)
                columns[place] = (name, unit_of(text)[1] if name == "weight_g" else "")
            elif counts[name] == 1 and not self._is_ours(text, name):
                self.log.note("TK-R19", self._at(self.header_row, name), text=text, became=name)
        unknown = [place for place, text in enumerate(self.heading) if place not in known and text]
        if not (self._is_wide(unknown) or self._is_second_table(unknown)):
            columns |= dict(self._guessed(unknown, set(counts)))
        self._unnamed_columns()
        order = [self.schema.columns.index(name) for _, (name, _) in sorted(columns.items())]
        if order != sorted(order):
            self.log.note("TK-R19", self._at(self.header_row), "order")
        return columns

    def _recognised(self) -> dict[int, str]:
        """Map positions of headings to columns: English ones, and those of other languages where that leaves some."""
        heading, table = tuple(self.heading), self.schema.name
        known = matched(heading, table, self.known)
        is_whole = all(place in known for place, text in enumerate(heading) if text)
        return known if is_whole else matched(heading, table, self.known, anywhere=True)

    def _is_ours(self, text: str, name: str) -> bool:
        """Whether a column is headed as forms of ours head it."""
        field = self.schema.field(name)
        is_english = plain_heading(text) in headings_of(self.schema.name)
        return text in ((name, field.heading) if is_english else headings_on_forms(field))

    def _note_answered(self, text: str, column: str) -> None:
        """Say that a heading was read as answered, now or before, and keep that in mind."""
        at, now = self._at(self.header_row, text), plain_heading(text) in self.log.headings.given
        if column and now:
            self.log.note("TK-R21", at, option=_says(text, column), text=text, became=column)
        elif column:
            self.log.note("TK-R21", at, "remembered", text=text, became=column)
        else:
            self.log.note("TK-R22", at, "answered" if now else "remembered", heading=text)
        self._use(text, column)

    def _use(self, text: str, column: str) -> None:
        self.log.headings.use(tuple(self.heading), text, column)

    def _is_wide(self, unknown: Sequence[int]) -> bool:
        names = [self.heading[place] for place in unknown]
        stems = Counter(match["stem"].casefold() for text in names if (match := NUMBERED.fullmatch(text)))
        wide = next((stem for stem, count in stems.items() if count > 1), None)
        if wide is None:
            return False
        day = next((f.name for f in self.schema.fields if f.type == "date"), "date")
        key = self.schema.primary_key[0]
        self.log.refuse("TK-R24", self._at(self.header_row), headings=tuple(names[:3]), key=key, day=day)
        return True

    def _is_second_table(self, unknown: Sequence[int]) -> bool:
        cells = tuple(self.heading[place] for place in unknown)
        name, count = best_table(cells)
        if name is None or count < FEWEST_HEADINGS:
            return False
        at, table = self._at(self.header_row), self.schema.name
        self.log.refuse("TK-R14", at, "beside", table=table, other=name, text=", ".join(cells))
        return True

    def _guessed(self, unknown: Sequence[int], taken: set[str]) -> Iterator[tuple[int, tuple[str, str]]]:
        absent = [name for name in self.schema.columns if name not in taken]
        for place in unknown:
            text = self.heading[place]
            at = self._at(self.header_row, text)
            in_unit = other_unit(text, self.schema)
            if self.known.get(plain_heading(text)) == "":
                self._note_answered(text, "")
            elif in_unit and in_unit[0] in absent:
                name, unit = in_unit
                self.log.ask("TK-R21", at, "unit", option=_says(text), text=text, meant=name, unit=unit)
                self._use(text, name)
                yield place, (name, unit)
                absent.remove(name)
            elif near := self._nearest(plain_heading(text), absent):
                self.log.ask("TK-R21", at, option=_says(text), text=text, became=near)
                self._use(text, near)
                yield place, (near, "")
                absent.remove(near)
            elif any(_cell(record, place).strip() for _, record in self.body):
                self.log.ask("TK-R22", at, option=_says(text), text=text, absent=tuple(absent) or None)
                self._use(text, "")
            else:
                self.log.note("TK-R12", at, "no values", heading=text)

    def _nearest(self, plain: str, absent: Sequence[str]) -> str | None:
        """Return the column whose name, or heading in another language, looks most like a folded heading."""
        if near := nearest_name(plain, absent):
            return near
        table = self.schema.name
        others = {
            told: name
            for told, name in headings_anywhere(table).items()
            if name in absent and told not in headings_of(table)
        }
        near = nearest_name(plain, others)
        return others[near] if near else None

    def _unnamed_columns(self) -> None:
        for place, text in enumerate(self.heading):
            values = [cell for _, record in self.body if (cell := _cell(record, place).strip())]
            if not text and values:
                at, more = self._at(self.header_row), len(values) - 1
                self.log.ask("TK-R22", at, "no heading", number=place + 1, first=values[0], more=more)

    def _remarks(self, columns: dict[int, tuple[str, str]]) -> None:
        """Tell what is about the cells that no cell says."""
        sheet, body = self.sheet, {row for row, _ in self.body}
        names = {place + 1: name for place, (name, _) in columns.items()}
        within = {row for row, _ in self.body} | {self.header_row}
        wrong = {(r.row, r.column) for r in sheet.remarks if r.kind == "error"}
        texts = dict(self.body)
        for remark in sheet.remarks:
            if remark.row not in body or remark.column > self.width:
                continue
            at = self._at(remark.row, names.get(remark.column, f"number {remark.column}"))
            if remark.kind == "error":
                self.log.refuse("TK-R18", at, "error", text=remark.text)
            elif remark.kind == "formula without value":
                self.log.refuse("TK-R18", at, "without value", text=remark.text)
            elif remark.kind == "comment":
                self.log.ask("TK-R16", at, "remark", text=remark.text)
            elif remark.kind == "formula" and (remark.row, remark.column) not in wrong:
                value = _cell(texts[remark.row], remark.column - 1)
                self.log.note("TK-R44", at, text=remark.text, became=value)
        for area in sheet.merged:
            if within & set(area.rows) and area.columns[0] <= self.width:
                self.log.refuse("TK-R15", self._at(area.rows[0]), cells=area.name)
        if hidden := sorted(body & sheet.hidden_rows):
            self.log.ask("TK-R17", self._at(hidden[0]), "rows", count=len(hidden))
        for column in sorted(sheet.hidden_columns & set(names)):
            self.log.ask("TK-R17", self._at(None, names[column]), "column")
        self._ask_about_colours(names)

    def _ask_about_colours(self, names: dict[int, str]) -> None:
        for column, name in names.items():
            rows = [row for row, record in self.body if _cell(record, column - 1).strip()]
            looks = Counter(self.sheet.looks.get((row, column), PLAIN_LOOK) for row in rows)
            struck = [row for row in rows if "struck out" in self.sheet.looks.get((row, column), "")]
            if len(looks) > 1 or struck:
                usual = looks.most_common(1)[0][0]
                odd = struck or [row for row in rows if self.sheet.looks.get((row, column), PLAIN_LOOK) != usual]
                self.log.ask("TK-R16", self._at(odd[0], name), "struck out" if struck else "coloured", count=len(odd))

    def _notes_on_shape(self) -> None:
        if self.sheet.blank_between:
            self.log.note("TK-R12", self._at(), "rows")
        if self.sheet.ragged and any(len(record) > self.width for _, record in self.body):
            self.log.note("TK-R12", self._at(), "columns")


def _cell(record: Sequence[str], place: int) -> str:
    return record[place] if place < len(record) else ""
