"""What is remembered of returns: who gave a value, under which answers, and which values were decided against. Pure."""

import base64
import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

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
)
from trialkit.domain.errors import WrongCall
from trialkit.domain.table_names import TableName
from trialkit.languages import translatable
from trialkit.returns.merging import Difference

SHORTEST_ID = 10
"""Characters of base 32: of 100,000 cells two have the same ten in one trial of 200,000 (birthday bound, n²/2 in 32¹⁰);
then the later one's are more."""
LONGEST_DETAIL = 80
OF_ONE_CELL = "-"
"""Stands before the number of a conflict among those of one cell."""
OF_A_CELL = ("text", "became")
"""Names of the facts that differ from cell to cell."""


Cell = tuple[TableName, Key, str]


@dataclass(frozen=True)
class Reason:
    """Why something is put right or taken back, by whom (a role), and on which day.

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
            raise WrongCall(
                translatable("A reason is needed, and who gives it: --why TEXT and --by WHO must not be empty.")
            )

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
    for entry in journal.in_force:
        for given in entry.gave.get(difference.table, ()):
            if difference.column in given.columns and difference.key in given.keys:
                return str(entry)
    return ""


def one_line(text: str) -> str:
    """Keep a stranger's detail short and on one line."""
    return re.sub(r"[^\w .,:+()@-]+", " ", text)[:LONGEST_DETAIL].strip()


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
    cell_of = {conflict.id.partition(OF_ONE_CELL)[0]: conflict.cell for conflict in found}
    places: dict[Cell, list[int]] = {}
    for place, conflict in enumerate(found):
        places.setdefault(conflict.cell, []).append(place)
    for difference in differences:
        same = places.setdefault(difference.cell, [])
        here = (place for place in same if found[place].returned == difference.returned)
        known = next((place for place in here if found[place].choice is None), None)
        if known is None:
            identity = _identity(difference.cell, cell_of)
            cell_of[identity] = difference.cell
            by = who_gave(journal, corrections, difference)
            numbered = f"{identity}{OF_ONE_CELL}{len(same) + 1}" if same else identity
            same.append(len(found))
            found.append(_conflict(difference, numbered, by, who))
        elif who not in found[known].returned_by:
            found[known] = replace(found[known], returned_by=(*found[known].returned_by, who))
    return Conflicts(conflicts=tuple(found))


def with_changed(conflicts: Conflicts, changed: Iterable[Conflict]) -> Conflicts:
    """Put changed conflicts in place of those of the same cell with the same identity."""
    by_id = {(conflict.id, conflict.cell): conflict for conflict in changed}
    return Conflicts(
        conflicts=tuple(by_id.get((conflict.id, conflict.cell), conflict) for conflict in conflicts.conflicts)
    )


def _identity(cell: Cell, cell_of: Mapping[str, Cell]) -> str:
    """Return what names a cell's conflicts, always the same but where another cell has it: small letters and 2 to 7."""
    table, key, column = cell
    digest = hashlib.sha256("\x1f".join((table, *key, column)).encode("utf-8", "surrogatepass")).digest()
    text = base64.b32encode(digest).decode("ascii").rstrip("=").lower()
    shorter = (text[:length] for length in range(SHORTEST_ID, len(text)))
    return next((name for name in shorter if cell_of.get(name, cell) == cell), text)


def _conflict(difference: Difference, identity: str, kept_by: str, who: str) -> Conflict:
    return Conflict(
        id=identity,
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


def remembered_headings(known: Headings) -> dict[frozenset[str], Mapping[str, str]]:
    """Return what headings stand for, by all headings of the sheet."""
    return {frozenset(one.headings): one.columns for one in known.sheets}


def with_headings(known: Headings, used: Mapping[frozenset[str], Mapping[str, str]]) -> Headings:
    """Remember what headings stand for; what was answered last of the same headings counts."""
    by_sheet = {frozenset(sheet.headings): sheet for sheet in known.sheets}
    for headings, columns in used.items():
        by_sheet[headings] = SheetHeadings(tuple(sorted(headings)), dict(sorted(columns.items())))
    return Headings(sheets=tuple(by_sheet.values()))
