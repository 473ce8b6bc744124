"""A table that a spreadsheet program saved in its own way: read as it was where it can be read in one way only."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from trialkit.documents.problems import FactValue, Problem
from trialkit.documents.returns import DateOrder
from trialkit.domain.table_names import RECORD_TABLES
from trialkit.tables.cell_values import ISO_DATE, NUMBER
from trialkit.tables.problem import problem
from trialkit.tables.raw_table import COMMAS, RawTable
from trialkit.tables.table_schema import TableSchema
from trialkit.tables.written_dates import PARTS, SERIAL, SLASHED, WITHOUT_YEAR, one_reading, readings_of

Cells = dict[str, list[str]]
RememberedRow = Mapping[str, str]
Slashed = dict[str, dict[str, dict[DateOrder, date]]]

WITH_COMMA = re.compile(r"[+-]?\d*,\d+", re.ASCII)
MAYBE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)
AS_NUMBER = re.compile(r"\d{1,20}(\.\d{1,20})?([eE][+-]?\d{1,2})?", re.ASCII)
SHOWN_SHORTENED = re.compile(r"\d(\.(?P<decimals>\d+))?E[+-]\d{2}", re.ASCII)


@dataclass(frozen=True)
class Clues:
    """What settles how a table that was saved anew is read.

    Attributes
    ----------
    names : mapping of str to sequence of str
        Of columns that name something of another table, the names that it declares.
    years : range, optional
        Years that the trial may touch.
    remembered : callable
        Returns cells of rows that the table has had, dates as year-month-day; asked only where dates need it.
    """

    names: Mapping[str, Sequence[str]]
    years: range | None
    remembered: Callable[[], Sequence[RememberedRow]]


NO_CLUES = Clues({}, None, tuple)


class _Unclear(Exception):
    """The table can be read in several ways, or in none."""

    def __init__(self, case: str, column: str, text: str, **facts: FactValue) -> None:
        super().__init__(case)
        self.case, self.column, self.text, self.facts = case, column, text, facts


def as_it_was(schema: TableSchema, raw: RawTable, clues: Clues) -> tuple[RawTable, Problem | None]:
    """Undo what a spreadsheet program did to dates, decimals and names of a table, and say so (TK-F11).

    Nothing is guessed: where a column can be read in several ways, the problem is an error (TK-F12). A column that is
    only partly in another form was not saved so by a program, and stays for the check of its cells.
    """
    cells = dict(raw.cells)
    told: dict[str, FactValue] = {} if raw.mark == COMMAS else {"marks": raw.mark}
    try:
        told |= _dates(schema, cells, clues)
        told |= _decimals(schema, cells, by_country=raw.mark != COMMAS)
        told |= _names(schema, cells, clues)
    except _Unclear as unclear:
        row = raw.rows[raw.cells[unclear.column].index(unclear.text)]
        at, text = unclear.column, unclear.text
        return raw, problem("TK-F12", schema.file, unclear.case, row=row, column=at, text=text, **unclear.facts)
    if not told:
        return raw, None
    case = "record" if schema.name in RECORD_TABLES else ""
    return replace(raw, cells=cells), problem("TK-F11", schema.file, case, row=None, column=None, **told)


def _texts(schema: TableSchema, cells: Cells, kinds: tuple[str, ...]) -> dict[str, dict[str, None]]:
    """Return the distinct texts of the columns of some kinds, in the order in which they stand."""
    names = [field.name for field in schema.fields if field.type in kinds and field.name in cells]
    texts = {name: dict.fromkeys(cells[name]) for name in names}
    for of_column in texts.values():
        of_column.pop("", None)
    return {name: of_column for name, of_column in texts.items() if of_column}


def _rewrite(cells: Cells, name: str, became: Mapping[str, str]) -> None:
    cells[name] = [became.get(text, text) for text in cells[name]]


def _dates(schema: TableSchema, cells: Cells, clues: Clues) -> dict[str, FactValue]:
    slashed: Slashed = {}
    became: dict[str, str] = {}
    for name, texts in _texts(schema, cells, ("date",)).items():
        if any(ISO_DATE.fullmatch(text) for text in texts):
            continue
        if all(SERIAL.fullmatch(text) for text in texts):
            raise _Unclear("day counts", name, next(iter(texts)))
        matches = {text: match for text in texts if (match := SLASHED.fullmatch(text))}
        days = {text: day.isoformat() for text in texts if (day := one_reading(text))}
        if len(matches) == len(texts):
            slashed[name] = {text: readings_of(match, clues.years) for text, match in matches.items()}
        elif len(days) == len(texts):
            _rewrite(cells, name, days)
            became |= days
    became |= _slashed_dates(cells, slashed, clues)
    plain = max(became, key=lambda text: (became[text][-2:], text), default=None)  # a day that can be no month
    return {} if plain is None else {"date_text": plain, "date": became[plain]}


def _slashed_dates(cells: Cells, slashed: Slashed, clues: Clues) -> Mapping[str, str]:
    """Read the dates of three numbers by the one order that is left for all of them."""
    readable = [(name, text, days) for name, texts in slashed.items() for text, days in texts.items() if days]
    orders: Sequence[DateOrder] = [order for order in PARTS if all(order in days for _, _, days in readable)]
    if not orders:
        only = {tuple(days): (name, text) for name, text, days in reversed(readable) if len(days) == 1}
        (name, text), *others = only.values()
        raise _Unclear("both orders", name, text, other=others[-1][1])
    if any(days[order] != days[orders[0]] for _, _, days in readable for order in orders):
        orders = _as_remembered(cells, slashed, orders, clues.remembered())
    for name, text, days in readable:
        if len(readings := dict.fromkeys(days[order].isoformat() for order in orders)) > 1:
            raise _Unclear("either", name, text, readings=tuple(readings))
    became: dict[str, str] = {}
    for name, texts in slashed.items():
        of_column = {text: days[orders[0]].isoformat() for text, days in texts.items() if days}
        _rewrite(cells, name, of_column)
        became |= of_column
    return became


def _as_remembered(
    cells: Cells, slashed: Slashed, orders: Sequence[DateOrder], remembered: Sequence[RememberedRow]
) -> Sequence[DateOrder]:
    """Return the one order by which most rows that are remembered are found again; all orders if that does not tell."""
    found = dict.fromkeys(orders, 0)
    for order in orders:
        read = dict(cells)
        for name, texts in slashed.items():
            _rewrite(read, name, {text: days[order].isoformat() for text, days in texts.items() if days})
        there: dict[tuple[str, ...], set[tuple[str, ...]]] = {}
        for row in remembered:
            names = tuple(row)
            if names not in there:
                there[names] = set(zip(*(read.get(name, ()) for name in names), strict=False))
            found[order] += tuple(row.values()) in there[names]
    most = [order for order in orders if found[order] == max(found.values())]
    return most if len(most) == 1 else orders


def _decimals(schema: TableSchema, cells: Cells, *, by_country: bool) -> dict[str, FactValue]:
    """Read commas as decimal separators where every number of the file agrees.

    `by_country`: other marks than commas stand between columns, which programs write where the decimal is a comma.
    """
    columns = _texts(schema, cells, ("number", "integer"))
    for name, texts in columns.items():
        for text in texts:
            if SLASHED.fullmatch(text) or (WITHOUT_YEAR.fullmatch(text) and not NUMBER.fullmatch(text)):
                raise _Unclear("numbers", name, text)
    every = [text for texts in columns.values() for text in texts]
    with_comma = [text for text in every if WITH_COMMA.fullmatch(text)]
    clear = by_country or not all(MAYBE_THOUSANDS.fullmatch(text) for text in with_comma)
    if not with_comma or any("." in text for text in every) or not clear:
        return {}
    for name, texts in columns.items():
        _rewrite(cells, name, {text: text.replace(",", ".") for text in texts if WITH_COMMA.fullmatch(text)})
    return {"number_text": with_comma[0], "number": with_comma[0].replace(",", ".")}


def _names(schema: TableSchema, cells: Cells, clues: Clues) -> dict[str, FactValue]:
    """Find the names that a program took for numbers: 7 for 007, 100000 or 1.00E+05 for 1E5."""
    told: dict[str, FactValue] = {}
    for key in schema.foreign_keys:
        declared = clues.names.get(key.column)
        if declared is None or key.column not in cells:
            continue
        names = set(declared)
        odd = [text for text in dict.fromkeys(cells[key.column]) if text not in names and AS_NUMBER.fullmatch(text)]
        became: dict[str, str] = {}
        for text in odd:
            meant = [name for name in declared if AS_NUMBER.fullmatch(name) and _same_number(text, name)]
            if len(meant) == 1:
                became[text] = meant[0]
            elif meant or SHOWN_SHORTENED.fullmatch(text):
                several: dict[str, FactValue] = {"readings": tuple(sorted(meant))} if meant else {}
                raise _Unclear("names", key.column, text, **several)
        if became:
            _rewrite(cells, key.column, became)
            text, name = next(iter(became.items()))
            told = {"name_text": text, "name": name}
    return told


def _same_number(text: str, name: str) -> bool:
    """Tell whether a program shows a name so that it took for a number; it may have left out figures."""
    if shortened := SHOWN_SHORTENED.fullmatch(text):
        return f"{float(name):.{len(shortened['decimals'] or '')}E}" == text
    return float(text) == float(name)
