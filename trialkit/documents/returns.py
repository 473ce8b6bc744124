"""What is found in returned files, and what is remembered of them in a trial's folder ``returned``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from trialkit.documents.document import Closed
from trialkit.domain.quoting import quoted, shown
from trialkit.domain.table_names import TableName

Verdict = Literal["repaired", "question", "refused"]
Kind = Literal["workbook", "csv", "phone"]
Choice = Literal["kept", "returned"]
DateOrder = Literal["day-first", "month-first", "year-first"]
DecimalSeparator = Literal["comma", "point"]
DayCount = Literal["1900", "1904"]
WeightUnit = Literal["g", "kg", "oz"]
Key = tuple[str, ...]


@dataclass(frozen=True)
class ReturnFinding(Closed):
    """One thing found in a returned file: a repair, a question or a refusal.

    Attributes
    ----------
    verdict : {"repaired", "question", "refused"}
        Whether it was read, is asked about, or keeps the file from being merged.
    rule : str
        Identity of the rule, such as ``"TK-R25"``; reports/checks.md explains each.
    sheet : str or None
        Sheet of a workbook; None in a CSV or phone file.
    row : int or None
        Row as a spreadsheet shows it; None for a whole column or file.
    column : str or None
        Column; None for a whole row or file.
    file : str
        Name of the file as it was given.
    found : str
        What stands there; may be empty.
    became : str
        What it was read as or (question) would be read as; may be empty.
    why : str
        Repaired: what allows it. Question: what is doubtful. Refused: what was expected.
    mend : str
        How to answer or to put it right; empty for a repair.
    answers : tuple of str
        Options of ``trialkit collect`` that answer a question, any one of them; empty for the others.
    """

    verdict: Verdict
    rule: str
    sheet: str | None
    row: int | None
    column: str | None
    file: str
    found: str
    became: str
    why: str
    mend: str
    answers: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self._where()}: {self._what()} [{self.rule}]"

    def _where(self) -> str:
        place = [shown(self.file)]
        if self.sheet is not None:
            place.append(f"sheet {quoted(self.sheet)}")
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column is not None:
            place.append(f"column {shown(self.column)}")
        return ", ".join(place)

    def _what(self) -> str:
        if self.verdict == "repaired":
            return f"{self.found} was read as {self.became}: {self.why}." if self.became else f"{self.why}."
        if self.verdict == "question":
            return f"{self.found}: {self.why} {self.mend}" if self.found else f"{self.why} {self.mend}"
        return f"found {self.found}; expected {self.why}. {self.mend}" if self.found else f"{self.why}. {self.mend}"


@dataclass(frozen=True)
class Answers(Closed):
    """The choices that a person has made: how to read what can be read in several ways.

    Attributes
    ----------
    dates : {"day-first", "month-first", "year-first"} or None
        Order in dates.
    decimals : {"comma", "point"} or None
        The decimal separator; the other mark then separates thousands.
    serials : {"1900", "1904"} or None
        Where day counts begin.
    weights : {"g", "kg", "oz"} or None
        Unit of the weights that look like another unit.
    accepted : tuple of str
        Rules whose proposals are taken.
    """

    dates: DateOrder | None = None
    decimals: DecimalSeparator | None = None
    serials: DayCount | None = None
    weights: WeightUnit | None = None
    accepted: tuple[str, ...] = ()

    def or_else(self, earlier: Answers) -> Answers:
        """Fill in what was not answered this time from what was answered before."""
        return Answers(
            self.dates or earlier.dates,
            self.decimals or earlier.decimals,
            self.serials or earlier.serials,
            self.weights or earlier.weights,
            tuple(sorted({*self.accepted, *earlier.accepted})),
        )


@dataclass(frozen=True)
class TableCounts(Closed):
    """What became of a file's rows of one table: each row counts once, by the last of these that it fits.

    Attributes
    ----------
    new : int
        Rows that the record did not have.
    same : int
        Rows that say what the record says.
    filled_in : int
        Rows that filled in empty cells of the record.
    conflicting : int
        Rows with a value that the record has otherwise.
    blank : int
        Rows in which nothing was filled in yet.
    """

    new: int = 0
    same: int = 0
    filled_in: int = 0
    conflicting: int = 0
    blank: int = 0


@dataclass(frozen=True)
class RepairNote(Closed):
    """One kind of repair in one column.

    Attributes
    ----------
    rule : str
        Identity of the rule.
    sheet : str or None
        Sheet of a workbook.
    column : str or None
        Column of the table.
    why : str
        What allows it.
    cells : tuple of (int or None, str, str)
        Each cell's row, what it was, what it became.
    """

    rule: str
    sheet: str | None
    column: str | None
    why: str
    cells: tuple[tuple[int | None, str, str], ...]


@dataclass(frozen=True)
class GivenCells(Closed):
    """Cells that a file gave to the record.

    Attributes
    ----------
    columns : tuple of str
        Columns that it gave.
    keys : tuple of tuple of str
        Keys of the rows in which it gave them.
    """

    columns: tuple[str, ...]
    keys: tuple[Key, ...]


@dataclass(frozen=True)
class JournalEntry(Closed):
    """One returned file that was merged.

    Attributes
    ----------
    file : str
        The original, in the folder returned.
    sha256 : str
        Digest of its bytes.
    name : str
        The name it was given under.
    kind : {"workbook", "csv", "phone"}
        What it is by its content.
    site : str
        Garden that the form says; empty where it says none.
    by : str
        Who filled it in, as the form says.
    saved_at : str
        When it was saved, as the form says.
    answers : Answers
        The answers under which it was read, so that it is read alike again.
    tables : mapping of table name to TableCounts
        What became of its rows.
    notes : tuple of RepairNote
        What was repaired.
    gave : mapping of table name to tuple of GivenCells
        The cells of the record that came from it.
    """

    file: str
    sha256: str
    name: str
    kind: Kind
    site: str
    by: str
    saved_at: str
    answers: Answers
    tables: Mapping[TableName, TableCounts]
    notes: tuple[RepairNote, ...]
    gave: Mapping[TableName, tuple[GivenCells, ...]]

    def __str__(self) -> str:
        details = [f"by {self.by}" if self.by else "", f"for {self.site}" if self.site else ""]
        told = ", ".join(filter(None, details))
        return f"{self.name} ({told})" if told else self.name


@dataclass(frozen=True)
class Journal(Closed):
    """returned/returns.json: every file merged, in the order of merging; nothing is ever taken out.

    Attributes
    ----------
    format : str
        Name and version of this form.
    returns : tuple of JournalEntry
        The files.
    """

    format: Literal["trialkit-returns-1"] = "trialkit-returns-1"
    returns: tuple[JournalEntry, ...] = ()


@dataclass(frozen=True)
class Conflict(Closed):
    """A value of the record, another that was returned for the same cell, and what was chosen.

    Attributes
    ----------
    id : str
        What ``trialkit collect --choose`` is given.
    table : str
        Name of the table.
    key : tuple of str
        Key of the row.
    column : str
        Column of the cell.
    kept : str
        What the record says.
    kept_by : str
        The return that this came from.
    returned : str
        What was returned.
    returned_by : tuple of str
        The returns that say so.
    choice : {"kept", "returned"} or None
        What was chosen; None while it is open.
    """

    id: str
    table: TableName
    key: Key
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
    def taken(self) -> str:
        """The value that stands in the record."""
        return self.returned if self.choice == "returned" else self.kept

    @property
    def rejected(self) -> str | None:
        """The value that was not chosen, once one was."""
        return {None: None, "kept": self.returned, "returned": self.kept}[self.choice]


@dataclass(frozen=True)
class Conflicts(Closed):
    """returned/conflicts.json: every conflict there was, settled ones with what was chosen.

    Attributes
    ----------
    format : str
        Name and version of this form.
    conflicts : tuple of Conflict
        In the order in which they were found.
    """

    format: Literal["trialkit-conflicts-1"] = "trialkit-conflicts-1"
    conflicts: tuple[Conflict, ...] = ()

    @property
    def open(self) -> tuple[Conflict, ...]:
        """Those that wait for a choice."""
        return tuple(conflict for conflict in self.conflicts if conflict.choice is None)


@dataclass(frozen=True)
class StagedFile(Closed):
    """A new version of a file, written but not yet in place.

    Attributes
    ----------
    name : str
        Path within the trial folder.
    part : str
        Name under which it waits.
    sha256 : str
        Digest of its bytes.
    """

    name: str
    part: str
    sha256: str


@dataclass(frozen=True)
class StagedFiles(Closed):
    """manifest.json of a collect that is being written: it counts once the folder that holds it has its last name.

    Attributes
    ----------
    files : tuple of StagedFile
        In the order in which they are put in place.
    """

    files: tuple[StagedFile, ...]


@dataclass(frozen=True)
class FileOutcome(Closed):
    """What became of one returned file.

    Attributes
    ----------
    name : str
        As it was given.
    merged : bool
        Whether its rows were merged.
    kept_as : str or None
        Path of the original within the trial folder; None if nothing of the file was merged.
    collected_before : bool
        Whether the same file was collected before.
    tables : mapping of table name to TableCounts
        What became of its rows; empty if nothing was merged.
    findings : tuple of ReturnFinding
        Repairs, questions and refusals.
    """

    name: str
    merged: bool = False
    kept_as: str | None = None
    collected_before: bool = False
    tables: Mapping[TableName, TableCounts] = field(default_factory=dict)
    findings: tuple[ReturnFinding, ...] = ()


@dataclass(frozen=True)
class Collected(Closed):
    """`trialkit collect`: what became of each file, and what waits for a choice.

    Attributes
    ----------
    ok : bool
        Whether every file was merged and nothing waits for anybody.
    files : tuple of FileOutcome
        In the order in which they were given.
    chosen : tuple of Conflict
        Conflicts settled by the choices given.
    refused_choices : tuple of ReturnFinding
        Why choices could not be taken.
    conflicts : tuple of Conflict
        Those that still wait for a choice.
    finished_earlier : bool
        Whether an earlier collect, stopped half-way, was finished first.
    changed : tuple of str
        Files of the trial folder that were written.
    """

    ok: bool
    files: tuple[FileOutcome, ...]
    chosen: tuple[Conflict, ...]
    refused_choices: tuple[ReturnFinding, ...]
    conflicts: tuple[Conflict, ...]
    finished_earlier: bool
    changed: tuple[str, ...]
