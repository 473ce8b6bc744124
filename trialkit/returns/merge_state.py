"""What merges find in a trial folder, and what they write there: the record and all that is remembered of returns."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from trialkit.documents.document import as_text
from trialkit.documents.returns import Conflicts, Corrections, Headings, Journal, WrittenTables
from trialkit.domain.errors import NotComputed
from trialkit.domain.table_names import TableName
from trialkit.languages import translatable
from trialkit.returns.records import Record, Records, as_written, read_records, table_text
from trialkit.rules.kept_documents import (
    CONFLICTS,
    CORRECTIONS,
    HEADINGS,
    JOURNAL,
    WRITTEN,
    KeptDocuments,
    usable_documents,
)
from trialkit.rules.trial_folder import CheckedTrial, read_trial
from trialkit.rules.unfinished import RETURNED
from trialkit.tables.own_files import ordinary_folder

NO_FILES: Mapping[str, bytes] = {}


@dataclass(frozen=True)
class State:
    """The record and what is remembered of returns."""

    records: Records
    journal: Journal
    conflicts: Conflicts
    corrections: Corrections
    headings: Headings


@dataclass(frozen=True)
class FoundFolder:
    """A trial folder as merges find it."""

    path: Path
    trial: CheckedTrial
    record: Record
    kept: KeptDocuments

    @property
    def state(self) -> State:
        """The record and what is remembered, before any turn."""
        kept = self.kept
        return State(self.record.tables, kept.journal, kept.conflicts, kept.corrections, kept.headings)


def read_folder(folder: Path) -> FoundFolder:
    """Read what a merge starts from.

    Raises
    ------
    TrialError
        If the folder itself has errors, or what is kept under returned cannot be used.
    """
    ordinary_folder(folder / RETURNED)
    trial = read_trial(folder, stage="layout")
    kept = usable_documents(folder)
    return FoundFolder(folder, trial, read_records(folder, trial, kept), kept)


def changed_files(
    found: FoundFolder,
    before: State,
    after: State,
    originals: Mapping[str, bytes] = NO_FILES,
    taken: Collection[TableName] = (),
) -> dict[str, bytes]:
    """List the files that a turn changes, originals first; those that are `taken` count as we wrote them.

    `before` is the state before the turn: of several that are only looked at, what the earlier ones would leave.
    """
    changes = _changes(found, before, after, originals, found.record.resaved | frozenset(taken))
    return changes | _as_written(found.kept.written, after.records, changes, found.record.edited - frozenset(taken))


def _changes(
    found: FoundFolder, before: State, after: State, originals: Mapping[str, bytes], anew: Collection[TableName]
) -> dict[str, bytes]:
    """List the files that a turn changes, and the tables to be written anew as they are."""
    changes = {name: data for name, data in originals.items() if not _is_kept(found.path / name, data)}
    for name, table in after.records.items():
        if table != before.records.get(name) or name in anew:
            changes[f"{name}.csv"] = table_text(name, table, found.trial).encode("utf-8")
    if after.conflicts != before.conflicts:
        changes[CONFLICTS] = as_text(after.conflicts).encode("utf-8")
    if after.corrections != before.corrections:
        changes[CORRECTIONS] = as_text(after.corrections).encode("utf-8")
    if after.headings != before.headings:
        changes[HEADINGS] = as_text(after.headings).encode("utf-8")
    if after.journal != before.journal:
        changes[JOURNAL] = as_text(after.journal).encode("utf-8")
    return changes


def _as_written(
    written: WrittenTables, records: Records, changes: Mapping[str, bytes], edited: Collection[TableName]
) -> dict[str, bytes]:
    """Remember the tables that are written, but for those changed by hand: that is told until they are taken so."""
    fresh = {
        name: as_written(name, table, changes[f"{name}.csv"].decode("utf-8"))
        for name, table in records.items()
        if f"{name}.csv" in changes and name not in edited
    }
    tables = WrittenTables(tables={**written.tables, **fresh})
    return {WRITTEN: as_text(tables).encode("utf-8")} if tables != written else {}


def _is_kept(path: Path, data: bytes) -> bool:
    """Tell whether an original is kept already; one that was changed since is never overwritten."""
    if not path.exists():
        return False
    if not path.is_file() or path.read_bytes() != data:
        raise NotComputed(
            translatable("{path} is no longer what was returned: move it away, then merge again."), path=path
        )
    return True
