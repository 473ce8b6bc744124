"""Putting one row of the record right: the value is read as a returned one, and what it was and why is remembered."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from trialkit.documents.document import as_text
from trialkit.documents.returns import Conflicts, Corrections, CorrectOutcome, Key, ReturnFinding, WrittenTables
from trialkit.domain.errors import WrongCall
from trialkit.domain.quoting import shown
from trialkit.domain.table_names import TableName
from trialkit.returns.finding_log import Log, Place
from trialkit.returns.journal import Reason, settled_by, with_changed
from trialkit.returns.merging import Difference
from trialkit.returns.records import (
    Record,
    Row,
    Table,
    as_written,
    checked_rows,
    read_records,
    row_problems,
    table_text,
)
from trialkit.returns.repairs import repaired_row
from trialkit.rules.kept_documents import CONFLICTS, CORRECTIONS, WRITTEN, KeptDocuments, usable_documents
from trialkit.rules.trial_folder import CheckedTrial, read_trial
from trialkit.rules.unfinished import RETURNED
from trialkit.tables.committing import at_work, commit
from trialkit.tables.nearest import meant
from trialkit.tables.own_files import ordinary_folder
from trialkit.tables.table_schema import TableSchema, load_schema


@dataclass(frozen=True)
class Wanted:
    """Which row is to be put right (a head, or a bucket's solution of a day), and the new text of each column."""

    bucket: str
    head: str | None
    measured_on: str | None
    values: Mapping[str, str]

    @property
    def table(self) -> TableName:
        """The table that the row is in."""
        return "solution" if self.head is None else "heads"


def correct(folder: Path, wanted: Wanted, reason: Reason) -> CorrectOutcome:
    """Put one row of the record right, all of what is wanted or nothing.

    Parameters
    ----------
    folder : Path
        The trial folder; protocol, sites, products and layout must be without errors.
    wanted : Wanted
        The row and what it should say; an empty text empties the cell.
    reason : Reason
        Why it is put right, by whom and when.

    Raises
    ------
    TrialError
        If the folder itself has errors.
    WrongCall
        If there is no such row or column, or nothing would change.
    NotComputed
        If what is kept under returned cannot be used.
    OSError
        If a file cannot be read or written.
    """
    schema = load_schema(wanted.table)
    with at_work(folder):
        found = _found(folder, wanted)
        if found.is_refused:
            return CorrectOutcome(False, (), (), tuple(found.log.findings), ())
        key, row, kept = found.key, found.row, found.kept
        earlier = kept.corrections
        told = {one.column: one.after for one in earlier.corrections if (one.table, one.key) == (schema.name, key)}
        made = tuple(
            reason.correction(Difference(wanted.table, key, name, before, row.get(name, "")))
            for name in wanted.values
            if (before := _before(name, found.table[key], row, told)) != row.get(name, "")
        )
        if not made:
            raise WrongCall(
                f"{_row_name(schema, key)} says so already: nothing to correct.{_open(kept.conflicts, folder, key)}"
            )
        settled = settled_by(kept.conflicts, made)
        corrected = {**found.table, key: row}
        changes = {
            schema.file: table_text(wanted.table, corrected, found.trial),
            CORRECTIONS: as_text(Corrections(corrections=(*earlier.corrections, *made))),
        }
        if settled:
            changes[CONFLICTS] = as_text(with_changed(kept.conflicts, settled))
        if wanted.table not in found.record.edited:
            now = as_written(wanted.table, corrected, changes[schema.file])
            changes[WRITTEN] = as_text(WrittenTables(tables={**kept.written.tables, wanted.table: now}))
        commit(folder, {name: text.encode("utf-8") for name, text in changes.items()})
    return CorrectOutcome(True, made, settled, tuple(found.log.findings), tuple(changes))


def look_at_correction(folder: Path, wanted: Wanted) -> tuple[ReturnFinding, ...]:
    """Say what stands in the way of a correction, and change nothing; nothing where it can be made.

    Arguments and errors are those of `correct`.
    """
    with at_work(folder):
        found = _found(folder, wanted)
    return tuple(found.log.findings) if found.is_refused else ()


@dataclass(frozen=True)
class _Found:
    """The row that is meant, as it should say, in a folder that was read; its log says what stands in the way."""

    trial: CheckedTrial
    kept: KeptDocuments
    record: Record
    log: Log
    table: Table = field(default_factory=dict)
    key: Key = ()
    row: Row = field(default_factory=dict)

    @property
    def is_refused(self) -> bool:
        """Whether it must not be written."""
        return not self.log.clear


def _found(folder: Path, wanted: Wanted) -> _Found:
    schema = load_schema(wanted.table)
    ordinary_folder(folder / RETURNED)
    trial = read_trial(folder, stage="layout")
    kept = usable_documents(folder)
    record = read_records(folder, trial, kept)
    log = Log(schema.file)
    _checked_call(schema, wanted, trial, folder)
    read = _read(schema, wanted, trial, log)
    if not log.clear:
        return _Found(trial, kept, record, log)
    table = record.tables[wanted.table]
    key = _key(schema, read, table)
    row = _corrected(table[key], wanted, read)
    _refuse_what_the_check_would(schema, row, trial, log)
    return _Found(trial, kept, record, log, table, key, row)


def _checked_call(schema: TableSchema, wanted: Wanted, trial: CheckedTrial, folder: Path) -> None:
    """Refuse a call that no record could make right."""
    if wanted.bucket in set(trial.sites["site"]) - set(trial.layout["bucket"]):
        how = "a CSV file with site, visited_on and the columns to change. Then run: trialkit merge"
        raise WrongCall(f"{wanted.bucket} is a garden. To correct its visits, write {how} {folder} FILE --why TEXT")
    changeable = [name for name in schema.columns if name not in schema.primary_key]
    for name in wanted.values:
        if name not in changeable:
            there = f"{', '.join(changeable)}.{meant(name, changeable)}"
            raise WrongCall(f"{schema.file} has no {shown(name)} to correct, but: {there}")


def _read(schema: TableSchema, wanted: Wanted, trial: CheckedTrial, log: Log) -> Row:
    """Read what was written, as the cells of a returned file; the log says what stands in the way."""
    filled = {name: text for name, text in wanted.values.items() if text.strip()}
    second = {"head": wanted.head, "measured_on": wanted.measured_on}[schema.primary_key[1]]
    cells = {"bucket": wanted.bucket, **({schema.primary_key[1]: second} if second is not None else {}), **filled}
    read = repaired_row(schema, cells, trial, log)
    if log.clear:
        checked = checked_rows(schema, [read])
        for _, problem in checked.problems:
            if problem.column in cells:
                log.refuse_as_checked(problem, Place(column=problem.column))
        read = checked.rows[0] or read
    return read


def _key(schema: TableSchema, read: Row, table: Table) -> Key:
    """Return the key of the row that is meant, one that the table has."""
    bucket, second = read["bucket"], schema.primary_key[1]
    of_bucket = [key for key in table if key[0] == bucket]
    found = [key for key in of_bucket if second not in read or key[1] == read[second]]
    if len(found) == 1:
        return found[0]
    if not of_bucket:
        raise WrongCall(f"{schema.file} has no row of bucket {bucket} yet: merge what was returned first.")
    there = ", ".join(key[1] for key in of_bucket)
    if second in read:
        asked = f"no {second} {shown(read[second])} of bucket {bucket}"
        raise WrongCall(f"{schema.file} has {asked}. It has {second} {there}.")
    raise WrongCall(f"{schema.file} has several rows of bucket {bucket}. Say which with --on: one of {there}.")


def _corrected(known: Row, wanted: Wanted, read: Row) -> Row:
    """Return the row with its new values, emptied cells left out."""
    row = {**known, **{name: read.get(name, "") for name in wanted.values}}
    return {name: text for name, text in row.items() if text}


def _before(name: str, known: Row, row: Row, told: Mapping[str, str]) -> str:
    """Return what a value is corrected from: what the record says, or, if a hand has changed it so, said before."""
    before = known.get(name, "")
    return told.get(name, before) if before == row.get(name, "") else before


def _refuse_what_the_check_would(schema: TableSchema, row: Row, trial: CheckedTrial, log: Log) -> None:
    for _, _, problem in row_problems(trial, {schema.name: [row]}):
        log.refuse_as_checked(problem, Place(column=problem.column))


def _row_name(schema: TableSchema, key: Key) -> str:
    return f"{schema.file}, {' '.join(key)}"


def _open(conflicts: Conflicts, folder: Path, key: Key) -> str:
    """Say how to settle conflicts of a row by what it says already."""
    waiting = [one for one in conflicts.open if one.key == key]
    told = " ".join(f"--choose {one.id}=kept" for one in waiting)
    return f" To settle what was returned otherwise: trialkit merge {folder} {told}" if told else ""
