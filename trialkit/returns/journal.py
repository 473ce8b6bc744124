"""What is remembered of returns: who gave a value, under which answers, and which values were decided against. Pure."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TypeVar

from trialkit.documents.document import DamagedDocument, from_text
from trialkit.documents.problems import Problem
from trialkit.documents.returns import (
    Answers,
    Conflict,
    Conflicts,
    Correction,
    Corrections,
    GivenCells,
    Headings,
    Journal,
    Key,
    RepairNote,
    ReturnFinding,
    SheetHeadings,
    WrittenTables,
)
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.reading_budget import DOCUMENT
from trialkit.domain.table_names import TableName
from trialkit.returns.merging import Difference
from trialkit.tables.problem import TrialError
from trialkit.tables.source_file import read_source

ID_LENGTH = 6
OF_A_CELL = ("text", "became")
"""Names of the facts that differ from cell to cell."""


@dataclass(frozen=True)
class Reason:
    """Why something is put right, by whom (a role), and on which day.

    Raises
    ------
    WrongCall
        If no reason or nobody is given.
    """

    why: str
    by: str
    on: date

    def __post_init__(self) -> None:
        if not self.why.strip() or not self.by.strip():
            raise WrongCall("A correction needs a reason and who gives it: --why TEXT and --by WHO must not be empty.")

    def correction(self, difference: Difference) -> Correction:
        """Take what is wanted in place of what the record says."""
        of = difference
        return Correction(of.table, of.key, of.column, of.kept, of.returned, self.by, self.on.isoformat(), self.why)


def settled_by(conflicts: Conflicts, corrections: Sequence[Correction]) -> tuple[Conflict, ...]:
    """Close open conflicts on corrected cells: what was returned was taken, or a value that replaces what was kept."""
    by_cell = {one.cell: one for one in corrections}
    closed = []
    for conflict in (one for one in conflicts.open if one.cell in by_cell):
        correction = by_cell[conflict.cell]
        if conflict.returned == correction.after:
            closed.append(replace(conflict, choice="returned"))
        else:
            closed.append(replace(conflict, kept=correction.after, kept_by=str(correction), choice="kept"))
    return tuple(closed)


def who_gave(journal: Journal, corrections: Corrections, difference: Difference) -> str:
    """Name the correction or return that a cell's value came from; nothing where the table had it before any."""
    for correction in reversed(corrections.corrections):
        if correction.cell == difference.cell and correction.after == difference.kept:
            return str(correction)
    for entry in journal.returns:
        for given in entry.gave.get(difference.table, ()):
            if difference.column in given.columns and difference.key in given.keys:
                return str(entry)
    return ""


def answers_for(journal: Journal, sha256: str) -> Answers:
    """Return the answers that a file was read under before; none if it is new."""
    answers = Answers()
    for entry in journal.returns:
        if entry.sha256 == sha256:
            answers = entry.answers.or_else(answers)
    return answers


def is_settled(conflicts: Conflicts, corrections: Corrections, difference: Difference) -> bool:
    """Tell whether a returned value was decided against, or corrected, before."""
    return any(
        conflict.cell == difference.cell and conflict.rejected == difference.returned
        for conflict in conflicts.conflicts
    ) or any(one.cell == difference.cell and one.before == difference.returned for one in corrections.corrections)


def with_differences(
    conflicts: Conflicts, differences: Sequence[Difference], journal: Journal, corrections: Corrections, who: str
) -> Conflicts:
    """Add what a return says differently; the same value once, with everyone who returned it."""
    found = list(conflicts.conflicts)
    for difference in differences:
        same = [conflict for conflict in found if conflict.cell == difference.cell]
        known = next((one for one in same if one.returned == difference.returned and one.choice is None), None)
        if known is None:
            found.append(_conflict(difference, who_gave(journal, corrections, difference), who, len(same)))
        elif who not in known.returned_by:
            found[found.index(known)] = replace(known, returned_by=(*known.returned_by, who))
    return Conflicts(conflicts=tuple(found))


def with_changed(conflicts: Conflicts, changed: Iterable[Conflict]) -> Conflicts:
    """Put changed conflicts in place of those with the same identity."""
    by_id = {conflict.id: conflict for conflict in changed}
    return Conflicts(conflicts=tuple(by_id.get(conflict.id, conflict) for conflict in conflicts.conflicts))


def _conflict(difference: Difference, kept_by: str, who: str, earlier: int) -> Conflict:
    cell = "\x1f".join((difference.table, *difference.key, difference.column))
    identity = hashlib.sha256(cell.encode("utf-8", "surrogatepass")).hexdigest()[:ID_LENGTH]
    return Conflict(
        id=f"{identity}-{earlier + 1}" if earlier else identity,
        table=difference.table,
        key=difference.key,
        column=difference.column,
        kept=difference.kept,
        kept_by=kept_by,
        returned=difference.returned,
        returned_by=(who,),
    )


def notes_of(findings: Sequence[ReturnFinding]) -> tuple[RepairNote, ...]:
    """Gather repairs that are alike but for the cell."""
    groups: dict[RepairNote, list[tuple[int | None, str, str]]] = {}
    for one in findings:
        cell = {fact.name: str(fact.value) for fact in one.facts if fact.name in OF_A_CELL}
        others = tuple(fact for fact in one.facts if fact.name not in OF_A_CELL)
        note = RepairNote(one.rule, one.case, one.sheet, one.column, one.answers, others, ())
        groups.setdefault(note, []).append((one.row, cell.get("text", ""), cell.get("became", "")))
    return tuple(replace(note, cells=tuple(cells)) for note, cells in groups.items())


def given_cells(
    gave: Mapping[TableName, Mapping[Key, tuple[str, ...]]],
) -> dict[TableName, tuple[GivenCells, ...]]:
    """Gather the rows in which a file gave the same columns."""

    def gathered(rows: Mapping[Key, tuple[str, ...]]) -> Iterator[GivenCells]:
        for columns in dict.fromkeys(rows.values()):
            yield GivenCells(columns=columns, keys=tuple(key for key in rows if rows[key] == columns))

    return {name: tuple(gathered(rows)) for name, rows in gave.items()}


def with_headings(known: Headings, used: Mapping[frozenset[str], Mapping[str, str]]) -> Headings:
    """Remember what headings stand for; what was answered last of the same headings counts."""
    by_sheet = {frozenset(sheet.headings): sheet for sheet in known.sheets}
    for headings, columns in used.items():
        by_sheet[headings] = SheetHeadings(tuple(sorted(headings)), dict(sorted(columns.items())))
    return Headings(sheets=tuple(by_sheet.values()))


Remembered = TypeVar("Remembered", Journal, Conflicts, Corrections, Headings, WrittenTables)


def read_document(folder: Path, name: str, kind: type[Remembered]) -> Remembered:
    """Read the journal or another document that is kept under returned; an empty one if there is no file.

    Raises
    ------
    NotComputed
        If it was changed so that it cannot be read.
    """
    source = read_source(folder, name, budget=DOCUMENT)
    if isinstance(source, Problem):
        if source.rule == "TK-F01":
            return kind()
        raise TrialError([source])
    try:
        return from_text(kind, source.text)
    except DamagedDocument as error:
        raise NotComputed(f"{folder / name} was changed and cannot be read: restore it from a copy.") from error
