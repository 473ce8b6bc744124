"""Dates as people and spreadsheet programs write them; an order of day and month is never guessed."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from trialkit.documents.returns import DateOrder
from trialkit.returns.cell_text import is_not_known, means_nothing, tidy
from trialkit.returns.finding_log import Log
from trialkit.returns.recognising import ReturnedTable
from trialkit.tables.cell_values import ISO_DATE, plain_figures
from trialkit.tables.dates_elsewhere import named_days
from trialkit.tables.table_schema import Field
from trialkit.tables.written_dates import (
    PARTS,
    SERIAL,
    SLASHED,
    WITH_TIME,
    WITHOUT_YEAR,
    other_weekday,
    readings_of,
    several_readings,
)

# Day counts: 1900 has a 29 February that never was, so day 60 on counts from 1899-12-30 (the programs' documentation,
# from memory); the other system calls 1904-01-01 day 0.
DAY_NOUGHT = {"1900": date(1899, 12, 30), "1904": date(1904, 1, 1)}


@dataclass(frozen=True)
class _Slashed:
    """A date of three numbers: what it would be in each order that the calendar allows."""

    column: str
    position: int
    text: str
    readings: dict[DateOrder, date]

    @property
    def doubtful(self) -> bool:
        return len(set(self.readings.values())) > 1


def repair_dates(table: ReturnedTable, log: Log, years: range | None = None) -> None:
    """Rewrite the dates of a table as year-month-day, as far as they can be read in one way.

    Three numbers are read as dates only if every such date of the sheet allows one order, or one was answered.

    `years` are those that a date with two figures for the year may be of.
    """
    slashed: list[_Slashed] = []
    for field in table.schema.fields:
        if field.type == "date" and field.name in table.cells:
            before = set(_year_first_cells(table, field.name))
            of_column = list(_column(table, field, log, years))
            if of_column and before:
                first = of_column[0]
                other = table.cells[field.name][min(before)]
                log.ask("TK-R53", table.place(first.position, field.name), text=first.text, other=other)
            slashed += of_column
    _settle(table, slashed, log)


def _year_first_cells(table: ReturnedTable, column: str) -> Iterator[int]:
    for position, text in enumerate(table.cells[column]):
        if ISO_DATE.fullmatch(text.strip()) or WITH_TIME.fullmatch(text.strip()):
            yield position


def _column(table: ReturnedTable, field: Field, log: Log, years: range | None) -> Iterator[_Slashed]:
    """Settle what can be read in one way; yield the dates of three numbers."""
    cells = table.cells[field.name]
    for position, raw in enumerate(cells):
        if not raw:
            continue
        place = table.place(position, field.name)
        text = cells[position] = tidy(raw, field, place, log)
        plain = plain_figures(text)
        if plain != text:
            log.note("TK-R38", place, text=text, became=plain)
            cells[position] = plain
        if ISO_DATE.fullmatch(plain) or not plain:
            continue
        if match := SLASHED.fullmatch(plain):
            yield _Slashed(field.name, position, plain, readings_of(match, years))
        elif means_nothing(plain) and field.name not in table.schema.primary_key:
            log.note("TK-R39", place, text=plain)
            cells[position] = ""
        elif is_not_known(plain) and field.name not in table.schema.primary_key:
            log.note("TK-R39", place, "not known", text=plain)
            cells[position] = ""
        elif match := SERIAL.fullmatch(plain):
            _day_count(table, position, field.name, int(match.group(1)), log)
        elif WITHOUT_YEAR.fullmatch(plain):
            log.refuse("TK-R37", place, "no year", text=plain)
        elif len(days := several_readings(plain)) > 1:
            log.refuse("TK-V07", place, "either", text=plain, readings=tuple(day.isoformat() for day in days))
        elif weekday := other_weekday(plain):
            log.refuse("TK-V08", place, "weekday", text=plain, weekday=weekday)
        elif days:
            day = days[0]
            time = WITH_TIME.fullmatch(plain)
            case = "time" if time and time.group(2).strip("0:.") != "" else ""
            log.note("TK-R43", place, case, text=plain, became=day.isoformat())
            cells[position] = day.isoformat()
        elif any(not named.year for named in named_days(plain)):
            log.refuse("TK-R37", place, "no year", text=plain)


def _settle(table: ReturnedTable, slashed: list[_Slashed], log: Log) -> None:
    """Read all dates of three numbers by the one order that they allow, or that was answered."""
    order = log.answers.dates
    if not slashed:
        return
    if order is None:
        orders = set(PARTS).intersection(*(item.readings or PARTS for item in slashed))
        if any(item.doubtful for item in slashed):
            _ask_order(table, slashed, log)
            return
        if not orders:
            _refuse_orders(table, slashed, log)
            return
        order = sorted(orders)[0]
    for item in slashed:
        place = table.place(item.position, item.column)
        if not item.readings:
            log.refuse("TK-V08", place, text=item.text)
            continue
        if order not in item.readings:
            first = order.partition("-")[0]
            log.refuse("TK-R41", place, "other order", text=item.text, first=first, orders=tuple(item.readings))
            continue
        day = item.readings[order].isoformat()
        if log.answers.dates:
            log.note("TK-R41", place, option=f"--dates {order}", text=item.text, became=day)
        else:
            log.note("TK-R43", place, "order", text=item.text, became=day, order=order)
        table.cells[item.column][item.position] = day


def _ask_order(table: ReturnedTable, slashed: list[_Slashed], log: Log) -> None:
    """Ask for the order of those that allow several; the others wait for the answer too, read as they only can be."""
    plain = [item for item in slashed if len(item.readings) == 1]
    sure = [item for item in slashed if item.readings and not item.doubtful]  # 10/10 is one day in either order
    hint = {"certain": plain[0].text, "order": str(next(iter(plain[0].readings)))} if plain else {}
    for item in sure:
        table.cells[item.column][item.position] = next(iter(item.readings.values())).isoformat()
    for item in slashed:
        if item.doubtful:
            readings = tuple(f"{day.isoformat()} ({order})" for order, day in item.readings.items())
            answers = tuple(f"--dates {order}" for order in item.readings)
            place = table.place(item.position, item.column)
            log.ask_option("TK-R41", place, answers, "either", text=item.text, readings=readings, **hint)


def _refuse_orders(table: ReturnedTable, slashed: list[_Slashed], log: Log) -> None:
    for order in PARTS:
        items = [item for item in slashed if set(item.readings) == {order}]
        if items:
            place = table.place(items[0].position, items[0].column)
            log.refuse("TK-R41", place, "both orders", text=items[0].text, order=order)


def _day_count(table: ReturnedTable, position: int, column: str, count: int, log: Log) -> None:
    days = {start: first + timedelta(days=count) for start, first in DAY_NOUGHT.items()}
    place, text = table.place(position, column), table.cells[column][position]
    if log.answers.serials is None:
        answers = ("--serials 1900", "--serials 1904")
        from_1900, from_1904 = days["1900"].isoformat(), days["1904"].isoformat()
        log.ask_option("TK-R42", place, answers, text=text, from_1900=from_1900, from_1904=from_1904)
        return
    day = days[log.answers.serials].isoformat()
    log.note("TK-R42", place, option=f"--serials {log.answers.serials}", text=text, became=day)
    table.cells[column][position] = day
