"""Merging returned files into a trial folder: read, repair, merge, write."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from trialkit.documents.returns import (
    Choice,
    Conflict,
    Correction,
    Corrections,
    FileOutcome,
    JournalEntry,
    MergeOutcome,
    TableCounts,
)
from trialkit.domain.errors import WrongCall
from trialkit.domain.progress import each_told
from trialkit.domain.table_names import TableName
from trialkit.returns.answering import Given
from trialkit.returns.finding_log import HeadingsKnown, Log, Place, UnreadableReturn
from trialkit.returns.journal import (
    Reason,
    answers_for,
    given_cells,
    is_settled,
    notes_of,
    one_line,
    remembered_headings,
    settled_by,
    with_changed,
    with_differences,
    with_headings,
)
from trialkit.returns.merge_state import FoundFolder, State, changed_files, read_folder
from trialkit.returns.merging import Difference, Merged, merge, with_value
from trialkit.returns.readable_rows import read_rows, refuse_cell
from trialkit.returns.records import Row, incomplete, row_problems
from trialkit.returns.repairs import missing_buckets
from trialkit.returns.returned_file import ENDINGS, STANDARD_INPUT, Original, load_original
from trialkit.returns.sheets import Returned
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.rules.unfinished import RETURNED
from trialkit.tables.committing import at_work, commit
from trialkit.tables.table_schema import load_schema

DIGITS_OF_NAME = 16


@dataclass(frozen=True)
class Turn:
    """Files that are merged in one go.

    Attributes
    ----------
    files : tuple of Path or bytes
        Workbooks, CSV files, phone files, or what one holds; may be empty, to finish an earlier merge or to settle
        conflicts.
    given : Given
        How to read what can be read in several ways, what unknown headings stand for, what to take for conflicts.
    reason : Reason, optional
        Why what the one file says otherwise is taken in place of what the record says; else it is a conflict.

    Raises
    ------
    WrongCall
        If a reason is not given with one file.
    """

    files: tuple[Path | bytes, ...] = ()
    given: Given = field(default_factory=Given)
    reason: Reason | None = None

    def __post_init__(self) -> None:
        if self.reason is not None and len(self.files) != 1:
            raise WrongCall("Corrections are taken from one file at a time: give --why with one FILE.")


def merge_files(
    folder: Path,
    files: Sequence[Path | bytes] = (),
    given: Given | None = None,
    *,
    reason: Reason | None = None,
) -> MergeOutcome:
    """Merge returned files into the record of a trial.

    A file is merged as a whole or not at all: a question without an answer, or anything that cannot be read, leaves all
    of it out, and the other files are merged nevertheless. A value in the record is never overwritten without a reason:
    what a return says otherwise is a conflict, until it is chosen.

    Parameters
    ----------
    folder : Path
        The trial folder; protocol, sites, products and layout must be without errors.
    files, given, reason : optional
        As `Turn` has them.

    Raises
    ------
    TrialError
        If the folder itself has errors.
    WrongCall, NotComputed
        If another command is at work, a reason is not given with one file, or what is kept under returned cannot be
        used.
    OSError
        If a file cannot be read or written.
    """
    turn = Turn(tuple(files), given or Given(), reason)
    with at_work(folder) as finished:
        found = read_folder(folder)
        _, changes, outcome = _taken_up(turn, found.state, found)
        commit(folder, changes)
    return replace(outcome, finished_earlier=finished)


def look_at_files(folder: Path, turns: Sequence[Turn]) -> tuple[MergeOutcome, ...]:
    """Say what merges would do, one after the other, and change nothing.

    Arguments and errors are those of `merge_files`. What a stopped command had committed is put in place first, as
    every command does.
    """
    outcomes = []
    with at_work(folder) as finished:
        found = read_folder(folder)
        state = found.state
        for turn in turns:
            state, _, outcome = _taken_up(turn, state, found)
            outcomes.append(replace(outcome, finished_earlier=finished))
    return tuple(outcomes)


def _taken_up(turn: Turn, before: State, found: FoundFolder) -> tuple[State, dict[str, bytes], MergeOutcome]:
    """Merge the files of a turn in memory: the state after it, the files that change, what became of it."""
    given = turn.given
    taken = frozenset() if turn.files else found.record.edited
    chosen_log = Log("conflicts.json")
    state, chosen = _chosen(before, given.choices, found.trial, chosen_log)
    state = _settled_by_hand(state)
    outcomes, originals = [], {}
    for source in each_told(turn.files, "what was returned"):
        name = source.name if isinstance(source, Path) else STANDARD_INPUT
        log = Log(name, given.answers, HeadingsKnown(given.headings, remembered_headings(state.headings)))
        state, outcome, original = _merge_one(source, state, found.trial, log, turn.reason)
        outcomes.append(outcome)
        if original is not None and outcome.kept_as is not None:
            originals[outcome.kept_as] = original.data
    state = _settled_by_hand(state)
    changes = changed_files(found, before, state, originals, taken)
    refused, waiting = tuple(chosen_log.findings), state.conflicts.open
    ok = all(outcome.merged for outcome in outcomes) and not waiting and not refused
    names = tuple(f"{name}.csv" for name in sorted(taken))
    return (
        state,
        changes,
        MergeOutcome(ok, tuple(outcomes), chosen, refused, waiting, False, tuple(changes), names),
    )


def _merge_one(
    source: Path | bytes, state: State, trial: CheckedTrial, log: Log, reason: Reason | None
) -> tuple[State, FileOutcome, Original | None]:
    """Read one file and merge it, unless something stands in its way."""
    try:
        original = load_original(source, log)
        before = any(entry.sha256 == original.sha256 for entry in state.journal.in_force)
        log.answers = log.answers.or_else(answers_for(state.journal, original.sha256))
        read = read_rows(original, trial, log)
        returned, rows, usable = read.returned, read.rows, read.usable
        merged, corrections = _merged(state, usable, reason, log)
        whole = {
            name: [merged.records[name][load_schema(name).key_of(row)] for row in table]
            for name, table in usable.items()
        }
        for table_name, position, problem in row_problems(trial, whole):
            refuse_cell(read.places[table_name][position].place, problem, read.blamed, log)
        if returned.kind != "phone":
            known = {key[0] for key in state.records.get("heads", {})}
            missing_buckets(rows, known, trial, log)
    except UnreadableReturn:
        return state, FileOutcome(log.file, findings=tuple(log.findings)), None
    if not log.clear:
        return state, FileOutcome(log.file, findings=tuple(log.findings), kind=returned.kind), None
    _note_incomplete(usable, merged, log)
    tables = {name: replace(counts, blank=rows.blank.get(name, 0)) for name, counts in merged.counts.items()}
    kept_as = f"{RETURNED}/{original.sha256[:DIGITS_OF_NAME]}{ENDINGS[returned.kind]}"
    entry = _entry(original, returned, kept_as, log, merged, tables)
    if corrections:
        closed = with_changed(state.conflicts, settled_by(state.conflicts, corrections))
        state = replace(
            state, conflicts=closed, corrections=Corrections(corrections=(*state.corrections.corrections, *corrections))
        )
    else:
        found = with_differences(state.conflicts, merged.differences, state.journal, state.corrections, str(entry))
        state = replace(state, conflicts=found)
    state = replace(state, records=merged.records, headings=with_headings(state.headings, log.headings.used))
    if not before or merged.gave:
        state = replace(state, journal=replace(state.journal, returns=(*state.journal.returns, entry)))
    outcome = FileOutcome(original.name, True, kept_as, before, tables, tuple(log.findings), corrections, returned.kind)
    return state, outcome, original


def _merged(
    state: State, usable: Mapping[TableName, Sequence[Row]], reason: Reason | None, log: Log
) -> tuple[Merged, tuple[Correction, ...]]:
    """Merge rows; with a reason, take what they say otherwise as corrections, but for what was decided before."""
    decided: list[Difference] = []

    def settled(difference: Difference) -> bool:
        if is_settled(state.conflicts, state.corrections, difference):
            decided.append(difference)
            return True
        return False

    merged = merge(state.records, usable, settled)
    if reason is None:
        return merged, ()
    for one in decided:
        log.note("TK-R61", Place(column=one.column), text=one.returned, key=" ".join(one.key), kept=one.kept)
    records = dict(merged.records)
    for one in merged.differences:
        records[one.table] = with_value(records[one.table], one.key, one.column, one.returned)
    return replace(merged, records=records), tuple(map(reason.correction, merged.differences))


def _note_incomplete(usable: Mapping[TableName, Sequence[Row]], merged: Merged, log: Log) -> None:
    for name, rows in usable.items():
        schema = load_schema(name)
        count = incomplete(schema, [merged.records[name][schema.key_of(row)] for row in rows])
        if count:
            log.note("TK-R52", Place(), count=count, table=name)


def _entry(
    original: Original, returned: Returned, kept_as: str, log: Log, merged: Merged, tables: dict[TableName, TableCounts]
) -> JournalEntry:
    return JournalEntry(
        file=kept_as.partition("/")[2],
        sha256=original.sha256,
        name=one_line(original.name),
        kind=returned.kind,
        site=one_line(returned.site),
        by=one_line(returned.by),
        saved_at=one_line(returned.saved_at),
        answers=log.answers,
        tables=tables,
        notes=notes_of(log.of("repaired")),
        gave=given_cells(merged.gave),
    )


def _chosen(
    state: State, choices: Mapping[str, Choice], trial: CheckedTrial, log: Log
) -> tuple[State, tuple[Conflict, ...]]:
    """Take the choices, all of them or, if one of them cannot be, none."""
    waiting: dict[str, list[Conflict]] = {}
    for conflict in state.conflicts.open:
        waiting.setdefault(conflict.id, []).append(conflict)
    records = dict(state.records)
    chosen = []
    for identity, choice in choices.items():
        if identity not in waiting:
            log.refuse("TK-R56", Place(), "unknown", id=identity, known=tuple(waiting) or ("none",))
            continue
        conflict, *others = waiting[identity]
        if others:
            keys = tuple(" ".join((*one.key, one.column)) for one in (conflict, *others))
            log.refuse("TK-R56", Place(), "several", id=identity, keys=keys)
            continue
        if choice == "returned":
            if conflict.key not in records[conflict.table]:
                log.refuse("TK-R56", Place(), "gone", key=" ".join(conflict.key), table=conflict.table)
                continue
            table = records[conflict.table]
            records[conflict.table] = with_value(table, conflict.key, conflict.column, conflict.returned)
        chosen.append(replace(conflict, choice=choice))
    touched: dict[TableName, list[Row]] = {}
    for conflict in chosen:
        if conflict.choice == "returned":
            touched.setdefault(conflict.table, []).append(records[conflict.table][conflict.key])
    for name, position, problem in row_problems(trial, touched):
        key = " ".join(load_schema(name).key_of(touched[name][position]))
        log.refuse_choice(problem, table=name, key=key)
    if log.findings:
        return state, ()
    return replace(state, records=records, conflicts=with_changed(state.conflicts, chosen)), tuple(chosen)


def _settled_by_hand(state: State) -> State:
    """Close conflicts whose returned value stands in the record by now."""
    closed = [
        replace(conflict, choice="returned")
        for conflict in state.conflicts.open
        if state.records[conflict.table].get(conflict.key, {}).get(conflict.column) == conflict.returned
    ]
    return replace(state, conflicts=with_changed(state.conflicts, closed)) if closed else state
