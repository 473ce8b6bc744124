"""Taking a merged file back: what it alone told goes from the record, what others told or somebody corrected stays.

Nothing is thrown away: the original stays among those returned, the journal says who took it back and why, and the file
can be merged again. The record is then as if the other files had been merged without it, in the same order; but what
was chosen between values of these others, and corrections, stay.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from pathlib import Path

from trialkit.documents.returns import (
    CellsByTable,
    Conflict,
    JournalEntry,
    Key,
    TakeBackOutcome,
    TakenBack,
    cells_in,
)
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.progress import each_told
from trialkit.domain.quoting import quoted
from trialkit.domain.table_names import TableName
from trialkit.languages import translatable
from trialkit.returns.finding_log import HeadingsKnown, Log, UnreadableReturn
from trialkit.returns.journal import (
    Cell,
    Reason,
    answers_for,
    given_cells,
    is_settled,
    one_line,
    remembered_headings,
    with_changed,
    with_differences,
)
from trialkit.returns.merge_state import FoundFolder, State, changed_files, read_folder
from trialkit.returns.merging import merge
from trialkit.returns.readable_rows import read_rows
from trialkit.returns.records import Records, Row
from trialkit.returns.returned_file import load_original
from trialkit.rules.unfinished import RETURNED
from trialkit.tables.committing import at_work, commit
from trialkit.tables.nearest import meant
from trialkit.tables.table_schema import load_schema

FEWEST_DIGITS = 6
"""Of the name of an original, by which a file is found."""

Told = Mapping[TableName, Mapping[Key, Row]]
"""What a file says, row by row."""


def take_back(folder: Path, file: str, reason: Reason) -> TakeBackOutcome:
    """Take back a file that was merged.

    Parameters
    ----------
    folder : Path
        The trial folder; protocol, sites, products and layout must be without errors.
    file : str
        The name that it was merged under, or that of its original under returned, or how that begins.
    reason : Reason
        Why it is taken back, by whom and when.

    Raises
    ------
    TrialError
        If the folder itself has errors.
    WrongCall
        If no such file is in the record, or several are so named.
    NotComputed
        If an original is gone or changed, or can no longer be read as it was.
    OSError
        If a file cannot be read or written.
    """
    with at_work(folder) as finished:
        found = read_folder(folder)
        state = found.state
        meant_by_it = _entry_meant(state, file)
        sources: dict[str, JournalEntry] = {}
        for one in state.journal.in_force:
            sources.setdefault(one.file, one)
        told = {name: _told(sources[name], found) for name in each_told(list(sources), "what was returned")}
        after, outcome = _without(state, meant_by_it.file, sources, told, reason)
        changes = changed_files(found, found.state, after)
        commit(folder, changes)
    return replace(outcome, finished_earlier=finished, changed=tuple(changes))


def _entry_meant(state: State, file: str) -> JournalEntry:
    """Find a file in the record by its name, or by the beginning of its original's."""
    name = one_line(file)
    by_file = {one.file: one for one in state.journal.in_force}

    def those(files: Mapping[str, JournalEntry]) -> list[JournalEntry]:
        """The files that may be meant."""
        exact = [one for one in files.values() if name == one.file]
        by_digest = [one for one in files.values() if len(name) >= FEWEST_DIGITS and one.file.startswith(name)]
        return exact or [one for one in files.values() if name and one.name == name] or by_digest

    matching = those(by_file)
    if len(matching) == 1:
        return matching[0]
    if matching:
        named = "; ".join(f"{one.file} is {one}, with {_rows_of(one)}" for one in matching)
        raise WrongCall(f"Several files were merged as {quoted(file)}. Say which by its original: {named}.")
    gone = those({one.file: one for one in state.journal.returns})
    again = [one for one in state.journal.taken_back if gone and one.file == gone[0].file]
    if again:
        last = again[-1]
        raise WrongCall(
            translatable("{name} was taken back already, on {on}: {why}"), name=last.name, on=last.on, why=last.why
        )
    known = list(dict.fromkeys(one.name for one in by_file.values()))
    there = f"Merged were {', '.join(known)}.{meant(name, known)}" if known else "None was merged yet."
    raise WrongCall(f"No file was merged as {quoted(file)}. {there}")


def _rows_of(entry: JournalEntry) -> str:
    numbers = {name: one.new + one.same + one.filled_in + one.conflicting for name, one in entry.tables.items()}
    return ", ".join(f"{number} {'row' if number == 1 else 'rows'} of {name}" for name, number in numbers.items())


def _told(entry: JournalEntry, found: FoundFolder) -> Told:
    """Read an original again as it was read when it was merged.

    Raises
    ------
    NotComputed
        If it cannot be.
    """
    path = found.path / RETURNED / entry.file
    journal = found.kept.journal
    log = Log(
        entry.name, answers_for(journal, entry.sha256), HeadingsKnown({}, remembered_headings(found.kept.headings))
    )
    if not path.is_file():
        raise NotComputed(
            translatable("{path}, the original of {name}, is gone: bring it back, then try again."),
            path=path,
            name=entry.name,
        )
    try:
        original = load_original(path, log)
        if original.sha256 != entry.sha256:
            raise NotComputed(
                translatable("{path} is no longer what was returned: bring the original back, then try again."),
                path=path,
            )
        read = read_rows(original, found.trial, log)
    except UnreadableReturn:
        read = None
    if read is None or not log.clear:
        raise NotComputed(
            f"{path}, the original of {entry.name}, can no longer be read as it was when it was merged: nothing was "
            f"changed. To see why: trialkit merge {found.path} {path}"
        )
    return {name: {load_schema(name).key_of(row): row for row in rows} for name, rows in read.usable.items()}


@dataclass(frozen=True)
class _Without:
    """The record, one file of it, and the files that stay, in the order of merging: what becomes of each cell."""

    state: State
    mine: Told
    others: Mapping[str, Told]
    gave: frozenset[Cell]

    @cached_property
    def conflicts(self) -> Mapping[Cell, Sequence[Conflict]]:
        """Conflicts by their cell, in the order in which they were found."""
        found: dict[Cell, list[Conflict]] = {}
        for conflict in self.state.conflicts.conflicts:
            found.setdefault(conflict.cell, []).append(conflict)
        return found

    @cached_property
    def corrected(self) -> Mapping[Cell, Sequence[str]]:
        """What each cell was corrected to, newest last."""
        found: dict[Cell, list[str]] = {}
        for one in self.state.corrections.corrections:
            found.setdefault(one.cell, []).append(one.after)
        return found

    @cached_property
    def ever_given(self) -> frozenset[Cell]:
        """Cells that a returned file gave at any time: others stood in the table before."""
        return _cells_of(one.gave for one in self.state.journal.returns)

    def now(self, cell: Cell) -> str:
        """What the record says; empty where it says nothing."""
        return _text(self.state.records, cell)

    def said(self, cell: Cell) -> str:
        """What the file says."""
        return _text(self.mine, cell)

    def also_told(self, cell: Cell, value: str) -> str:
        """Name the first other file that says so; empty where none does."""
        return next((name for name, told in self.others.items() if _text(told, cell) == value), "")

    @cached_property
    def came_from_it(self) -> Sequence[Cell]:
        """Cells, but those of keys, that the file gave, or in which its value was chosen."""
        chosen = [
            one.cell
            for one in self.state.conflicts.conflicts
            if one.choice == "returned" and one.returned == self.said(one.cell) == self.now(one.cell)
        ]
        every = dict.fromkeys([*sorted(self.gave), *chosen])
        return [cell for cell in every if cell[2] not in load_schema(cell[0]).primary_key]

    @cached_property
    def stayed(self) -> Sequence[Cell]:
        """Of these, cells that say something else by now, or were corrected to what they say."""

        def was_changed(cell: Cell) -> bool:
            now = self.now(cell)
            return now != self.said(cell) or now in self.corrected.get(cell, ())[-1:]

        return [cell for cell in self.came_from_it if was_changed(cell)]

    @cached_property
    def by_choice(self) -> Mapping[Cell, str]:
        """Of these, cells that say what another file says, too, where that was chosen; and that file."""
        found, stayed = {}, set(self.stayed)
        for cell in (cell for cell in self.came_from_it if cell not in stayed):
            now = self.now(cell)
            chosen = any(one.rejected is not None and one.taken == now for one in self.conflicts.get(cell, ()))
            name = self.also_told(cell, now) if chosen or cell not in self.gave else ""
            if name:
                found[cell] = name
        return found

    @cached_property
    def changed(self) -> Mapping[Cell, str]:
        """All others of these, and what they say without the file, as long as no other file has filled them in."""
        left = set(self.stayed) | set(self.by_choice)
        return {cell: self._before_choices(cell) for cell in self.came_from_it if cell not in left}

    def _before_choices(self, cell: Cell) -> str:
        """What the record said before the file's value was chosen, if that still holds; else nothing."""
        current = self.now(cell)
        for one in reversed(self.conflicts.get(cell, ())):
            if one.choice == "returned" and one.returned == current:
                current = one.kept
                if self._was_there(cell, current) or self.also_told(cell, current):
                    return current
        return ""

    def _was_there(self, cell: Cell, value: str) -> bool:
        """Whether a value is no file's: of a correction, or of the table before any file came."""
        return value in self.corrected.get(cell, ()) or cell not in self.ever_given

    @cached_property
    def credited(self) -> Mapping[Cell, str]:
        """Cells that come from another file from now on, as that says so too; and that file."""
        again = {cell: value for cell, value in self.changed.items() if value and not self._was_there(cell, value)}
        return {**self.by_choice, **{cell: self.also_told(cell, again[cell]) for cell in again}, **self.rows_left}

    @cached_property
    def records(self) -> Records:
        """The record without the file; a row that only the file told goes when nothing is left in it."""
        tables: dict[TableName, dict[Key, Row]] = {name: dict(table) for name, table in self.state.records.items()}
        for name, key in dict.fromkeys((table, key) for table, key, _ in (*self.changed, *self.gave)):
            if key not in tables[name]:
                continue
            changed = {
                column: self.changed.get((name, key, column), text) for column, text in tables[name][key].items()
            }
            row = {column: text for column, text in changed.items() if text}
            if self.is_row_of_it(name, key) and set(row) <= set(load_schema(name).primary_key):
                del tables[name][key]
            else:
                tables[name][key] = row
        return tables

    def is_row_of_it(self, name: TableName, key: Key) -> bool:
        """Whether the file was the first to tell of a row."""
        return (name, key, load_schema(name).primary_key[0]) in self.gave

    @cached_property
    def rows_left(self) -> Mapping[Cell, str]:
        """Keys of rows that the file told first and that stay, and another file that tells of the row."""
        found: dict[Cell, str] = {}
        for cell in self.gave:
            name, key, column = cell
            if column in load_schema(name).primary_key and key in self.records[name]:
                other = next((one for one, told in self.others.items() if key in told.get(name, {})), "")
                found |= {cell: other} if other else {}
        return found

    def left_to_fill(self, told: Told) -> dict[TableName, list[Row]]:
        """What another file says of the cells that changed, and of rows that are gone."""
        rows: dict[TableName, list[Row]] = {}
        touched = dict.fromkeys((table, key) for table, key, _ in (*self.changed, *self.gave))
        for name, key in touched:
            row, keys = told.get(name, {}).get(key, {}), load_schema(name).primary_key
            wanted = {column: text for column, text in row.items() if (name, key, column) in self.changed}
            if wanted or (row and key not in self.records[name] and key in self.state.records[name]):
                rows.setdefault(name, []).append({column: row[column] for column in keys} | wanted)
        return rows

    def without_its_conflicts(self, name: str, names: Mapping[str, str]) -> tuple[Conflict, ...]:
        """Return the conflicts that rest on the file, closed; and those that others told of, too, without its name.

        `name` is what conflicts call the file, and `names` what they call the others.
        """
        found = []
        for one in self.state.conflicts.conflicts:
            is_open, cell = one.choice is None, one.cell
            also = [file for file, told in self.others.items() if _text(told, cell) == one.returned]
            rested = is_open or (one.rejected is not None and one.taken == self.now(cell))
            if (cell in self.changed and rested) or (is_open and one.returned == self.said(cell) and not also):
                found.append(replace(one, choice="taken back"))
            elif is_open and name in one.returned_by and name not in {names[file] for file in also}:
                found.append(replace(one, returned_by=tuple(who for who in one.returned_by if who != name)))
            elif is_open and cell in self.by_choice and one.kept_by == name:
                found.append(replace(one, kept_by=names[self.by_choice[cell]]))
        return tuple(found)


def _without(
    state: State, file: str, sources: Mapping[str, JournalEntry], told: Mapping[str, Told], reason: Reason
) -> tuple[State, TakeBackOutcome]:
    """Return the state without a file; `sources` are all files of the record, in the order of merging."""
    entry, others = sources[file], {name: one for name, one in told.items() if name != file}
    gave = _cells_of(one.gave for one in state.journal.in_force if one.file == file)
    it = _Without(state, told[file], others, gave)
    closed = it.without_its_conflicts(str(entry), {name: str(one) for name, one in sources.items()})
    conflicts, records = with_changed(state.conflicts, closed), it.records
    taken = TakenBack(
        file, str(entry), len(state.journal.returns), reason.by, reason.on.isoformat(), reason.why, {}, {}, {}
    )
    journal = replace(state.journal, taken_back=(*state.journal.taken_back, taken))
    for name, said in others.items():
        settled = partial(is_settled, conflicts, state.corrections)
        merged = merge(records, it.left_to_fill(said), settled)
        records = merged.records
        own = [cell for cell, by in it.credited.items() if by == name]
        given = [(table, key, column) for table, rows in merged.gave.items() for key in rows for column in rows[key]]
        if own or given:
            again = replace(sources[name], tables=merged.counts, notes=(), gave=_grouped([*own, *given]))
            journal = replace(journal, returns=(*journal.returns, again))
        conflicts = with_differences(conflicts, merged.differences, journal, state.corrections, str(sources[name]))
    rows_gone = [cell for cell in gave if cell[1] in state.records[cell[0]] and cell[1] not in records[cell[0]]]
    keys_gone = [cell for cell in rows_gone if cell[2] in load_schema(cell[0]).primary_key]
    empty = [cell for cell in it.changed if not _text(records, cell)]
    filled = [cell for cell in it.changed if _text(records, cell)]
    taken = replace(
        taken,
        emptied=_grouped([*keys_gone, *empty]),
        others=_grouped([*it.by_choice, *filled]),
        stayed=_grouped([cell for cell in it.stayed if it.now(cell)]),
    )
    journal = replace(journal, taken_back=(*state.journal.taken_back, taken))
    after = replace(state, records=records, conflicts=conflicts, journal=journal)
    gone = tuple(one for one in closed if one.choice is not None)
    return after, TakeBackOutcome(not conflicts.open, taken, gone, conflicts.open, False, ())


def _text(tables: Mapping[TableName, Mapping[Key, Row]], cell: Cell) -> str:
    table, key, column = cell
    return tables.get(table, {}).get(key, {}).get(column, "")


def _cells_of(given: Iterable[CellsByTable]) -> frozenset[Cell]:
    return frozenset(cell for tables in given for cell in cells_in(tables))


def _grouped(cells: Iterable[Cell]) -> CellsByTable:
    """Gather cells by table and by the columns of their rows, in the order of the schema and of keys."""
    rows: dict[TableName, dict[Key, set[str]]] = {}
    for table, key, column in sorted(cells):
        rows.setdefault(table, {}).setdefault(key, set()).add(column)
    return given_cells(
        {
            table: {key: tuple(name for name in load_schema(table).columns if name in columns[key]) for key in columns}
            for table, columns in rows.items()
        }
    )
