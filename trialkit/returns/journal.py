"""What is remembered of returns: the journal of originals, and the conflicts with what was chosen."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from trialkit.domain.errors import NotComputed
from trialkit.returns.findings import Answers, DateOrder, DayCount, DecimalMark, Finding, WeightUnit
from trialkit.returns.merging import Difference
from trialkit.returns.records import Key
from trialkit.returns.sheets import Kind
from trialkit.tables.problem import Problem, TrialError
from trialkit.tables.source_file import read_source
from trialkit.tables.table_schema import TableName

Choice = Literal["kept", "returned"]
ID_LENGTH = 6
BEFORE = "the table itself, before any return"


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class GivenAnswers(_Document):
    """The answers under which a file was read, so that it is read alike again."""

    dates: DateOrder | None = None
    decimals: DecimalMark | None = None
    serials: DayCount | None = None
    weights: WeightUnit | None = None
    accepted: tuple[str, ...] = ()

    @classmethod
    def of(cls, answers: Answers) -> "GivenAnswers":
        """Keep answers."""
        return cls(
            dates=answers.dates,
            decimals=answers.decimals,
            serials=answers.serials,
            weights=answers.weights,
            accepted=tuple(sorted(answers.accepted)),
        )

    def as_answers(self) -> Answers:
        """Give them back."""
        return Answers(self.dates, self.decimals, self.serials, self.weights, frozenset(self.accepted))


class TableCounts(_Document):
    """What became of a file's rows of one table."""

    new: int = 0
    same: int = 0
    filled_in: int = 0
    conflicting: int = 0
    blank: int = 0


class Note(_Document):
    """One kind of repair in one column: why, and each cell's row, what it was, what it became."""

    rule: str
    sheet: str | None
    column: str | None
    why: str
    cells: tuple[tuple[int | None, str, str], ...]


class GivenCells(_Document):
    """Columns that a file gave, and the keys of the rows in which it gave them."""

    columns: tuple[str, ...]
    keys: tuple[tuple[str, ...], ...]


class JournalEntry(_Document):
    """One returned file that was merged."""

    file: str = Field(description="The original, in the folder returned.")
    sha256: str
    name: str = Field(description="The name it was given under.")
    kind: Kind
    site: str = ""
    by: str = ""
    saved_at: str = ""
    answers: GivenAnswers = GivenAnswers()
    tables: Mapping[TableName, TableCounts]
    notes: tuple[Note, ...] = ()
    gave: Mapping[TableName, tuple[GivenCells, ...]] = {}

    def __str__(self) -> str:
        details = [f"by {self.by}" if self.by else "", f"for {self.site}" if self.site else ""]
        told = ", ".join(filter(None, details))
        return f"{self.name} ({told})" if told else self.name


class Journal(_Document):
    """returned/returns.json: every file merged, in the order of merging; nothing is ever taken out."""

    format: Literal["trialkit-returns-1"] = "trialkit-returns-1"
    returns: tuple[JournalEntry, ...] = ()

    def who_gave(self, table: TableName, key: Key, column: str) -> str:
        """Name the return that a value came from."""
        for entry in self.returns:
            for given in entry.gave.get(table, ()):
                if column in given.columns and key in given.keys:
                    return str(entry)
        return BEFORE

    def answers_for(self, sha256: str) -> Answers:
        """Return the answers that a file was read under before; none if it is new."""
        answers = Answers()
        for entry in self.returns:
            if entry.sha256 == sha256:
                answers = entry.answers.as_answers().or_else(answers)
        return answers


class Conflict(_Document):
    """A value of the record, another that was returned for the same cell, and what was chosen."""

    id: str
    table: TableName
    key: tuple[str, ...]
    column: str
    kept: str
    kept_by: str
    returned: str
    returned_by: tuple[str, ...]
    choice: Choice | None = None

    @property
    def cell(self) -> tuple[TableName, Key, str]:
        """The cell that it is about."""
        return self.table, self.key, self.column

    @property
    def rejected(self) -> str | None:
        """The value that was not chosen, once one was."""
        return {None: None, "kept": self.returned, "returned": self.kept}[self.choice]


class Conflicts(_Document):
    """returned/conflicts.json: every conflict there was, settled ones with what was chosen."""

    format: Literal["trialkit-conflicts-1"] = "trialkit-conflicts-1"
    conflicts: tuple[Conflict, ...] = ()

    @property
    def open(self) -> tuple[Conflict, ...]:
        """Those that wait for a choice."""
        return tuple(conflict for conflict in self.conflicts if conflict.choice is None)

    def settled(self, difference: Difference) -> bool:
        """Tell whether a returned value was decided against before."""
        cell = (difference.table, difference.key, difference.column)
        return any(conflict.cell == cell and conflict.rejected == difference.returned for conflict in self.conflicts)

    def adding(self, differences: Sequence[Difference], journal: Journal, who: str) -> "Conflicts":
        """Add what a return says differently; the same value once, with everyone who returned it."""
        conflicts = list(self.conflicts)
        for difference in differences:
            cell = (difference.table, difference.key, difference.column)
            place = next(
                (
                    i
                    for i, conflict in enumerate(conflicts)
                    if conflict.cell == cell and conflict.returned == difference.returned and conflict.choice is None
                ),
                None,
            )
            if place is None:
                earlier = sum(conflict.cell == cell for conflict in conflicts)
                conflicts.append(_conflict(difference, journal, who, earlier))
            elif who not in conflicts[place].returned_by:
                by = (*conflicts[place].returned_by, who)
                conflicts[place] = conflicts[place].model_copy(update={"returned_by": by})
        return Conflicts(conflicts=tuple(conflicts))

    def replacing(self, changed: Iterable[Conflict]) -> "Conflicts":
        """Put changed conflicts in place of those with the same identity."""
        by_id = {conflict.id: conflict for conflict in changed}
        return Conflicts(conflicts=tuple(by_id.get(conflict.id, conflict) for conflict in self.conflicts))


def _conflict(difference: Difference, journal: Journal, who: str, earlier: int) -> Conflict:
    cell = "\x1f".join((difference.table, *difference.key, difference.column))
    identity = hashlib.sha256(cell.encode("utf-8", "surrogatepass")).hexdigest()[:ID_LENGTH]
    return Conflict(
        id=f"{identity}-{earlier + 1}" if earlier else identity,
        table=difference.table,
        key=difference.key,
        column=difference.column,
        kept=difference.kept,
        kept_by=journal.who_gave(difference.table, difference.key, difference.column),
        returned=difference.returned,
        returned_by=(who,),
    )


def notes_of(findings: Sequence[Finding]) -> tuple[Note, ...]:
    """Gather repairs by rule, sheet, column and reason."""
    groups: dict[tuple[str, str | None, str | None, str], list[tuple[int | None, str, str]]] = {}
    for finding in findings:
        place = finding.place
        cells = groups.setdefault((finding.rule, place.sheet, place.column, finding.why), [])
        cells.append((place.row, finding.found, finding.became))
    return tuple(
        Note(rule=rule, sheet=sheet, column=column, why=why, cells=tuple(cells))
        for (rule, sheet, column, why), cells in groups.items()
    )


def given_cells(
    gave: Mapping[TableName, Mapping[Key, tuple[str, ...]]],
) -> dict[TableName, tuple[GivenCells, ...]]:
    """Gather the rows in which a file gave the same columns."""

    def gathered(rows: Mapping[Key, tuple[str, ...]]) -> Iterator[GivenCells]:
        for columns in dict.fromkeys(rows.values()):
            yield GivenCells(columns=columns, keys=tuple(key for key in rows if rows[key] == columns))

    return {name: tuple(gathered(rows)) for name, rows in gave.items()}


Document = TypeVar("Document", Journal, Conflicts)


def read_document(folder: Path, name: str, model: type[Document]) -> Document:
    """Read the journal or the conflicts; an empty one if there is no file.

    Raises
    ------
    NotComputed
        If it was changed so that it cannot be read.
    """
    source = read_source(folder, name, limit=200_000_000)
    if isinstance(source, Problem):
        if source.rule == "TK-F01":
            return model()
        raise TrialError([source])
    try:
        return model.model_validate_json(source.text)
    except ValidationError as error:
        raise NotComputed(f"{folder / name} was changed and cannot be read: restore it from a copy.") from error


def document_bytes(document: Journal | Conflicts) -> bytes:
    """Write a document: the same content, the same bytes."""
    return (document.model_dump_json(indent=1) + "\n").encode("utf-8")
