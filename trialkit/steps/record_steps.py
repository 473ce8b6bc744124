"""What stands in the record of a trial, to look up: a bucket, what gardens have not told, what is kept of returns."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

from trialkit.domain.errors import WrongCall
from trialkit.domain.quoting import quoted

if TYPE_CHECKING:
    from trialkit.documents.returns import Conflict, Correction, JournalEntry, TakenBack
    from trialkit.domain.table_names import TableName
    from trialkit.returns.records import Row
    from trialkit.returns.still_missing import StillMissing
    from trialkit.rules.kept_documents import KeptDocuments
    from trialkit.rules.trial_folder import CheckedTrial

Read = TypeVar("Read")


@dataclass(frozen=True)
class RecordedBucket:
    """What the record says of one bucket."""

    bucket: str
    site: str
    heads: Annotated[Mapping[str, Row], "Rows of heads.csv by the head's number."]
    solution: Annotated[Mapping[str, Row], "Rows of solution.csv by day."]

    def row(self, table: TableName, second: str) -> Row | None:
        """Return a row by what its key says beside the bucket; None where there is none."""
        return {"heads": self.heads, "solution": self.solution}[table].get(second)


@dataclass(frozen=True)
class KeptReturns:
    """What is remembered of returns, newest first: every merge, files taken back, open conflicts, corrections."""

    entries: tuple[JournalEntry, ...]
    files: Annotated[tuple[JournalEntry, ...], "Files that are in the record, each once, as it was first merged."]
    taken_back: tuple[TakenBack, ...]
    conflicts: tuple[Conflict, ...]
    corrections: tuple[Correction, ...]

    def to_take_back(self) -> tuple[Correction, ...]:
        """Of each cell of a bucket the newest correction, which is the one that can be taken back."""
        newest: dict[object, Correction] = {}
        for one in self.corrections:
            newest.setdefault(one.cell, one)
        return tuple(one for one in newest.values() if one.table in ("heads", "solution"))


def kept_returns(folder: Path) -> KeptReturns:
    """Read what is remembered of returns.

    Raises
    ------
    TrialError
        With everything that cannot be read.
    """
    from trialkit.rules.kept_documents import usable_documents

    kept: KeptDocuments = _of_one_moment(folder, lambda: usable_documents(folder))
    journal = kept.journal
    files: dict[str, JournalEntry] = {}
    for one in journal.in_force:
        files.setdefault(one.file, one)
    return KeptReturns(
        journal.returns[::-1],
        tuple(files.values())[::-1],
        journal.taken_back[::-1],
        kept.conflicts.open,
        kept.corrections.corrections[::-1],
    )


def recorded_bucket(folder: Path, label: str) -> RecordedBucket:
    """Look up a bucket by its label, which is read as one of a returned file.

    Raises
    ------
    TrialError
        If the folder itself has errors.
    WrongCall
        If the layout has no such bucket.
    """
    from trialkit.returns.finding_log import Log
    from trialkit.returns.repairs import repaired_row
    from trialkit.tables.table_schema import load_schema
    from trialkit.words.repair_words import told_finding

    def read() -> RecordedBucket:
        trial, tables = _record(folder)
        log = Log("label")
        bucket = repaired_row(load_schema("heads"), {"bucket": label}, trial, log).get("bucket", "")
        site = dict(zip(trial.layout["bucket"], trial.layout["site"], strict=True)).get(bucket)
        if site is None:
            why = " ".join(told_finding(one).how_to_fix for one in log.of("refused"))
            raise WrongCall(f"The layout has no bucket {quoted(label)}. {why}".strip())
        of_bucket: dict[TableName, dict[str, Row]] = {
            name: {key[1]: row for key, row in tables[name].items() if key[0] == bucket}
            for name in ("heads", "solution")
        }
        return RecordedBucket(bucket, str(site), of_bucket["heads"], of_bucket["solution"])

    return _of_one_moment(folder, read)


def missing_of_gardens(folder: Path) -> Mapping[str, StillMissing]:
    """Say what each garden of the layout has not told.

    Raises
    ------
    TrialError
        If the folder itself has errors.
    """
    from trialkit.returns.still_missing import still_missing

    return _of_one_moment(folder, lambda: still_missing(*_record(folder)))


def _record(folder: Path) -> tuple[CheckedTrial, Mapping[TableName, Mapping[tuple[str, ...], Row]]]:
    from trialkit.returns.records import read_records
    from trialkit.rules.kept_documents import usable_documents
    from trialkit.rules.trial_folder import read_trial

    trial = read_trial(folder, stage="layout")
    return trial, read_records(folder, trial, usable_documents(folder)).tables


def _of_one_moment(folder: Path, read: Callable[[], Read]) -> Read:
    """Read again whenever a merge changed the folder meanwhile."""
    from trialkit.rules.unfinished import generation

    while True:
        before = generation(folder)
        found = read()
        if generation(folder) == before:
            return found
