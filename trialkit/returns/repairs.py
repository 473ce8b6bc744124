"""The whole repair of one returned file: from sheets of text to rows of the record, or the reasons why not."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from itertools import groupby

from trialkit.domain.table_names import TableName
from trialkit.returns.dates import repair_dates
from trialkit.returns.finding_log import Log, Place
from trialkit.returns.labels import repair_labels
from trialkit.returns.listed_values import repair_words
from trialkit.returns.marked_rows import without_marks
from trialkit.returns.numbers import repair_numbers
from trialkit.returns.recognising import ReturnedTable, tables_of
from trialkit.returns.sheets import Returned
from trialkit.rules.amendments import FIRST_VERSION
from trialkit.rules.form_marks import FORM_VERSION, layout_mark, version_of_mark
from trialkit.rules.neighbours import trials_by_label
from trialkit.rules.trial_folder import CheckedTrial, years_of
from trialkit.tables.cell_values import ISO_DATE
from trialkit.tables.table_schema import TableSchema

PREFILLED: Mapping[str, tuple[str, ...]] = {"heads": ("bucket", "head"), "solution": ("bucket",), "visits": ("site",)}
"""Columns that forms fill in; a row with nothing else is still blank."""

MOST_DIFFERENCES = 4
MOST_NAMED = 5
"""Of what differs, and of buckets that are missing, so many are named."""


@dataclass(frozen=True)
class ReturnedRow:
    """One record as returned: its place, and the text of each column that is not empty."""

    place: Place
    values: Mapping[str, str]


@dataclass(frozen=True)
class Rows:
    """The records of one returned file, by table; how many rows were still blank; buckets with rows of heads."""

    by_table: Mapping[TableName, tuple[ReturnedRow, ...]]
    blank: Mapping[TableName, int]
    buckets: frozenset[str] = frozenset()


def rows_of(returned: Returned, trial: CheckedTrial, log: Log) -> Rows:
    """Repair a returned file as far as it can be read in one way.

    Unless the log is clear then, the rows must not be merged; they are not yet checked by schema and rules.
    """
    _belongs_to(returned, trial, log)
    returned = without_marks(returned, trial, log)
    if not log.clear:
        return Rows({}, {})
    buckets = dict(zip(trial.layout["bucket"], trial.layout["site"], strict=True))
    sites = dict(zip(trial.sites["site"], trial.sites["name"], strict=True))
    by_table: dict[TableName, list[ReturnedRow]] = {}
    blank: dict[TableName, int] = {}
    present: set[str] = set()
    for table in tables_of(returned, buckets, log):
        name = table.schema.name
        if name == "heads":
            present |= {text.strip() for text in table.column("bucket")}
        blank[name] = blank.get(name, 0) + _leave_out_blank_rows(table)
        _repair(table, trial, buckets, sites, log)
        rows = by_table.setdefault(name, [])
        fresh = [_row(table, position) for position in range(len(table.rows))]
        by_table[name] = _once_each(rows, fresh, table, log)
        if returned.site:
            _of_the_garden(fresh, returned.site, buckets, log)
    return Rows({name: tuple(rows) for name, rows in by_table.items()}, blank, frozenset(present))


def repaired_row(schema: TableSchema, cells: Mapping[str, str], trial: CheckedTrial, log: Log) -> Mapping[str, str]:
    """Repair the cells of one row as those of a returned file; unless the log is clear then, it must not be used."""
    table = ReturnedTable(schema, None, [0], {name: [text] for name, text in cells.items()})
    buckets = dict(zip(trial.layout["bucket"], trial.layout["site"], strict=True))
    _repair(table, trial, buckets, dict(zip(trial.sites["site"], trial.sites["name"], strict=True)), log)
    log.findings = [replace(finding, row=None) for finding in log.findings]
    return {name: texts[0] for name, texts in table.cells.items()}


def _belongs_to(returned: Returned, trial: CheckedTrial, log: Log) -> None:
    """Refuse a form of another trial, another layout or another version."""
    if returned.marks is None:
        return
    ours, amended = trial.protocol.trial.id, trial.amended
    theirs = returned.marks
    stood_in = {layout_mark(trial, number): number for number in (FIRST_VERSION, *amended.joined_in.values())}
    version = stood_in.get(theirs.layout)
    if theirs.trial != ours:
        log.refuse("TK-R47", Place(), "trial", ours=ours, theirs=theirs.trial)
    elif theirs.form != FORM_VERSION:
        log.refuse("TK-R47", Place(), "version", ours=FORM_VERSION, theirs=theirs.form)
    elif version is None or version < amended.joined_in.get(returned.site, FIRST_VERSION):
        log.refuse("TK-R47", Place(), "layout", ours=amended.version, theirs=version_of_mark(theirs.layout))
    elif returned.site and returned.site not in set(trial.sites["site"]):
        log.refuse("TK-R47", Place(), "garden", site=returned.site)


def _leave_out_blank_rows(table: ReturnedTable) -> int:
    entered = [name for name in table.cells if name not in PREFILLED[table.schema.name]]
    kept = [i for i in range(len(table.rows)) if any(table.cells[name][i].strip() for name in entered)]
    blank = len(table.rows) - len(kept)
    if blank:
        table.keep(kept)
    return blank


def _repair(
    table: ReturnedTable, trial: CheckedTrial, buckets: Mapping[str, str], sites: Mapping[str, str], log: Log
) -> None:
    repair_words(table, log)
    elsewhere = cache(lambda: trials_by_label(trial.folder))
    repair_labels(table, trial.protocol.trial.id, buckets, sites, log, elsewhere)
    repair_numbers(table, log)
    repair_dates(table, log, years_of(trial.protocol))
    _exchanged_columns(table, log)


def _exchanged_columns(table: ReturnedTable, log: Log) -> None:
    """Ask about two date columns that contradict each other in every row."""
    if table.schema.name != "heads":
        return
    planted, cut = table.column("transplanted_on"), table.column("harvested_on")
    both = [i for i in range(len(table.rows)) if ISO_DATE.fullmatch(planted[i]) and ISO_DATE.fullmatch(cut[i])]
    if len(both) < 2 or not all(cut[i] < planted[i] for i in both):
        return
    log.ask("TK-R45", table.place(both[0], "harvested_on"))
    table.cells["transplanted_on"], table.cells["harvested_on"] = cut, planted


def _row(table: ReturnedTable, position: int) -> ReturnedRow:
    values = {name: cells[position] for name, cells in table.cells.items() if cells[position]}
    return ReturnedRow(table.place(position), values)


def _once_each(
    earlier: list[ReturnedRow], fresh: list[ReturnedRow], table: ReturnedTable, log: Log
) -> list[ReturnedRow]:
    """Keep one of rows that say the same; refuse those that say different things of one thing."""
    known = {table.schema.key_of(row.values): row for row in earlier}
    kept, twice = list(earlier), []
    for row in fresh:
        key = table.schema.key_of(row.values)
        first = known.get(key)
        if first is None or not all(key):
            known[key] = row
            kept.append(row)
        elif first.values == row.values:
            twice.append((first, row))
        else:
            _refuse_twice(first, row, table, log)
    sheets = {first.place.sheet for first, _ in twice}
    if twice and len(twice) == len(fresh) and sheets != {table.sheet} and len(sheets) == 1:
        log.note("TK-R40", Place(table.sheet), "sheet", first=sheets.pop() or "")
        return kept
    for first, row in twice:
        log.note("TK-R40", row.place, first_row=first.place.row or 0)
    return kept


def _refuse_twice(first: ReturnedRow, row: ReturnedRow, table: ReturnedTable, log: Log) -> None:
    names = table.schema.primary_key
    differ = [n for n in table.schema.columns if first.values.get(n, "") != row.values.get(n, "")]
    log.refuse(
        "TK-R31",
        Place(row.place.sheet, row.place.row, names[-1]),
        names=names,
        key=" ".join(row.values.get(name, "") for name in names),
        first_row=first.place.row,
        columns=tuple(differ[:MOST_DIFFERENCES]),
        first=tuple(first.values.get(name, "") for name in differ[:MOST_DIFFERENCES]),
        here=tuple(row.values.get(name, "") for name in differ[:MOST_DIFFERENCES]),
    )


def _of_the_garden(rows: list[ReturnedRow], site: str, buckets: Mapping[str, str], log: Log) -> None:
    for row in rows:
        bucket = row.values.get("bucket", "")
        other = buckets.get(bucket) or row.values.get("site")
        if other is not None and other != site:
            column = "bucket" if bucket else "site"
            place = Place(row.place.sheet, row.place.row, column)
            log.ask("TK-R57", place, text=bucket or other, other=other, site=site)


def missing_buckets(rows: Rows, known: set[str], trial: CheckedTrial, log: Log) -> None:
    """Ask about buckets of a garden that neither the file nor the record has, while it has others of that garden.

    Of gardens that withdrew nothing is asked for.
    """
    present = {row.values.get("bucket", "") for row in rows.by_table.get("heads", ())}
    layout = sorted(zip(trial.layout["site"], trial.layout["bucket"], strict=True))
    for site, pairs in groupby(layout, key=lambda pair: str(pair[0])):
        planned = [str(bucket) for _, bucket in pairs]
        absent = [bucket for bucket in planned if bucket not in present | known | rows.buckets]
        if absent and present & set(planned) and site not in trial.amended.withdrawn:
            log.ask(
                "TK-R32",
                Place(column="bucket"),
                site=site,
                first=tuple(absent[:MOST_NAMED]),
                more=max(len(absent) - MOST_NAMED, 0) or None,
                absent=len(absent),
                planned=len(planned),
            )
