"""What is found in returned files, and what is remembered of them in a trial's folder ``returned``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Annotated, Literal

from trialkit.documents.document import Closed, SealedLater
from trialkit.documents.problems import Fact
from trialkit.domain.table_names import TableName

Verdict = Literal["repaired", "question", "refused"]
Kind = Literal["workbook", "csv", "phone"]
Choice = Literal["kept", "returned"]
Settled = Literal["kept", "returned", "taken back"]
DateOrder = Literal["day-first", "month-first", "year-first"]
DecimalSeparator = Literal["comma", "point"]
DayCount = Literal["1900", "1904"]
WeightUnit = Literal["g", "kg", "oz"]
Key = tuple[str, ...]


Seal = Annotated[str, "Digest of all else that it says; empty before it is written."]


@dataclass(frozen=True)
class ReturnFinding(Closed):
    """One thing found in a returned file: a repair, a question or a refusal."""

    verdict: Annotated[Verdict, "Whether it was read, is asked about, or keeps the file from being merged."]
    rule: Annotated[str, 'Identity of the rule, such as ``"TK-R25"``; reports/checks.md explains each.']
    case: Annotated[str, "Which of the rule's messages it is; empty where the rule has one."]
    sheet: Annotated[str | None, "Sheet of a workbook; None in a CSV or phone file."]
    row: Annotated[int | None, "Row as a spreadsheet shows it; None for a whole column or file."]
    column: Annotated[str | None, "Column; None for a whole row or file."]
    file: Annotated[str, "Name of the file as it was given."]
    facts: Annotated[
        tuple[Fact, ...], "What was found: ``text`` is what stands there, ``became`` what it was or would be read as."
    ]
    answers: Annotated[
        tuple[str, ...],
        "Options of ``trialkit merge``: any one of them answers a question; the one by which a repair was read.",
    ]


@dataclass(frozen=True)
class ToldFinding(ReturnFinding):
    """A finding with what the words say of it."""

    found: Annotated[str, "What stands there; may be empty."]
    became: Annotated[str, "What it was read as or (question) would be read as; may be empty."]
    why: Annotated[str, "Repaired: what allows it. Question: what is doubtful. Refused: what was expected."]
    how_to_fix: Annotated[str, "How to answer or to put it right; empty for a repair."]


@dataclass(frozen=True)
class Answers(Closed):
    """The choices that a person has made: how to read what can be read in several ways."""

    dates: Annotated[DateOrder | None, "Order in dates."] = None
    decimals: Annotated[DecimalSeparator | None, "The decimal separator; the other mark then separates thousands."] = (
        None
    )
    serials: Annotated[DayCount | None, "Where day counts begin."] = None
    weights: Annotated[WeightUnit | None, "Unit of the weights that look like another unit."] = None
    accepted: Annotated[tuple[str, ...], "Rules whose proposals are taken."] = ()

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
    """What became of a file's rows of one table: each row counts once, by the last of these that it fits."""

    new: Annotated[int, "Rows that the record did not have."] = 0
    same: Annotated[int, "Rows that say what the record says."] = 0
    filled_in: Annotated[int, "Rows that filled in empty cells of the record."] = 0
    conflicting: Annotated[int, "Rows with a value that the record has otherwise."] = 0
    blank: Annotated[int, "Rows in which nothing was filled in yet."] = 0


@dataclass(frozen=True)
class RepairNote(Closed):
    """One kind of repair in one column."""

    rule: Annotated[str, "Identity of the rule."]
    case: Annotated[str, "Which of the rule's messages it is."]
    sheet: Annotated[str | None, "Sheet of a workbook."]
    column: Annotated[str | None, "Column of the table."]
    answers: Annotated[tuple[str, ...], "The option by which it was read, if one was needed."]
    facts: Annotated[tuple[Fact, ...], "What else is to be known of all of them."]
    cells: Annotated[tuple[tuple[int | None, str, str], ...], "Each cell's row, what it was, what it became."]


@dataclass(frozen=True)
class GivenCells(Closed):
    """Cells that a file gave to the record: all of these columns in each of these rows."""

    columns: Annotated[tuple[str, ...], "Columns."]
    keys: Annotated[tuple[Key, ...], "Keys of the rows."]


CellsByTable = Mapping[TableName, tuple[GivenCells, ...]]


def cells_in(tables: CellsByTable) -> Iterator[tuple[TableName, Key, str]]:
    """Yield cells one by one: table, key of the row, column."""
    for name, groups in tables.items():
        yield from ((name, key, column) for group in groups for key in group.keys for column in group.columns)


@dataclass(frozen=True)
class JournalEntry(Closed):
    """One returned file that was merged."""

    file: Annotated[str, "The original, in the folder returned."]
    sha256: Annotated[str, "Digest of its bytes."]
    name: Annotated[str, "The name it was given under."]
    kind: Annotated[Kind, "What it is by its content."]
    site: Annotated[str, "Garden that the form says; empty where it says none."]
    by: Annotated[str, "Who filled it in, as the form says."]
    saved_at: Annotated[str, "When it was saved, as the form says."]
    answers: Annotated[Answers, "The answers under which it was read, so that it is read alike again."]
    tables: Annotated[Mapping[TableName, TableCounts], "What became of its rows."]
    notes: Annotated[tuple[RepairNote, ...], "What was repaired."]
    gave: Annotated[CellsByTable, "The cells of the record that came from it."]

    def __str__(self) -> str:
        details = [f"by {self.by}" if self.by else "", f"for {self.site}" if self.site else ""]
        told = ", ".join(filter(None, details))
        return f"{self.name} ({told})" if told else self.name


@dataclass(frozen=True)
class TakenBack(Closed):
    """A merged file that was taken back: what it alone told is in the record no more."""

    file: Annotated[str, "The original, which stays in the folder returned."]
    name: Annotated[str, "The file, who filled it in, and the garden that its form says."]
    after: Annotated[int, "Merges until then: of these, what the file gave counts no more. It can be merged again."]
    by: Annotated[str, "Who took it back, by role."]
    on: Annotated[str, "The day on which it was taken back."]
    why: Annotated[str, "The reason, in the words of whoever took it back."]
    emptied: Annotated[CellsByTable, "Cells that nobody else had told: they are empty again. With its key, a row went."]
    others: Annotated[
        CellsByTable, "Cells of which another file told, too, or that said something before: they say that now."
    ]
    stayed: Annotated[CellsByTable, "Cells that were corrected or changed since: they stay as they are."]


@dataclass(frozen=True)
class Journal(SealedLater):
    """returned/returns.json: every file merged, in the order of merging; nothing is ever taken out."""

    format: Annotated[Literal["trialkit-returns-1"], "Name and version of this form."] = "trialkit-returns-1"
    returns: Annotated[tuple[JournalEntry, ...], "The files."] = ()
    taken_back: Annotated[tuple[TakenBack, ...], "Those taken back since, in the order in which they were."] = ()
    sha256: Seal = field(default="", compare=False)

    @property
    def in_force(self) -> tuple[JournalEntry, ...]:
        """Merges of files that were not taken back since."""
        until: dict[str, int] = {one.file: one.after for one in self.taken_back}
        return tuple(one for place, one in enumerate(self.returns) if place >= until.get(one.file, 0))


@dataclass(frozen=True)
class Conflict(Closed):
    """A value of the record, another that was returned for the same cell, and what was chosen."""

    id: Annotated[str, "What ``trialkit merge --choose`` is given."]
    table: Annotated[TableName, "Name of the table."]
    key: Annotated[Key, "Key of the row."]
    column: Annotated[str, "Column of the cell."]
    kept: Annotated[str, "What the record says."]
    kept_by: Annotated[str, "The return that this came from; empty: the table had it before any."]
    returned: Annotated[str, "What was returned."]
    returned_by: Annotated[tuple[str, ...], "The returns that say so."]
    choice: Annotated[
        Settled | None, "What was chosen; None while it is open. Taken back: it rested on a file that was."
    ] = None

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
        return {"kept": self.returned, "returned": self.kept}.get(self.choice or "")


@dataclass(frozen=True)
class Conflicts(SealedLater):
    """returned/conflicts.json: every conflict there was, settled ones with what was chosen."""

    format: Annotated[Literal["trialkit-conflicts-1"], "Name and version of this form."] = "trialkit-conflicts-1"
    conflicts: Annotated[tuple[Conflict, ...], "In the order in which they were found."] = ()
    sha256: Seal = field(default="", compare=False)

    @property
    def open(self) -> tuple[Conflict, ...]:
        """Those that wait for a choice."""
        return tuple(conflict for conflict in self.conflicts if conflict.choice is None)


@dataclass(frozen=True)
class Correction(Closed):
    """A value of the record that somebody put right, and why."""

    table: Annotated[TableName, "Name of the table."]
    key: Annotated[Key, "Key of the row, such as bucket and head."]
    column: Annotated[str, "Column of the cell."]
    before: Annotated[str, "What the record said; empty: nothing."]
    after: Annotated[str, "What it says since; empty: nothing."]
    by: Annotated[str, "Who corrected it, by role."]
    on: Annotated[str, "The day on which it was corrected."]
    why: Annotated[str, "The reason, in the words of whoever corrected it."]

    @property
    def cell(self) -> tuple[TableName, Key, str]:
        """The cell that it is about."""
        return self.table, self.key, self.column

    def __str__(self) -> str:
        return f"a correction by {self.by} on {self.on}"


@dataclass(frozen=True)
class Corrections(SealedLater):
    """returned/corrections.json: every correction, in the order in which they were made; none is ever taken out."""

    format: Annotated[Literal["trialkit-corrections-1"], "Name and version of this form."] = "trialkit-corrections-1"
    corrections: Annotated[tuple[Correction, ...], "The corrections."] = ()
    sha256: Seal = field(default="", compare=False)


@dataclass(frozen=True)
class SheetHeadings(Closed):
    """A row of headings that somebody returned, and what those of them stand for that the record does not have."""

    headings: Annotated[tuple[str, ...], "All of them, folded, in alphabetical order: by these it is known again."]
    columns: Annotated[Mapping[str, str], "The column that a heading stands for; empty: it is left out."]


@dataclass(frozen=True)
class Headings(SealedLater):
    """returned/headings.json: what headings were answered to stand for, for the next file of the same sender."""

    format: Annotated[Literal["trialkit-headings-1"], "Name and version of this form."] = "trialkit-headings-1"
    sheets: Annotated[tuple[SheetHeadings, ...], "In the order in which they were first answered."] = ()
    sha256: Seal = field(default="", compare=False)


@dataclass(frozen=True)
class WrittenTable(Closed):
    """A table as it was written last."""

    sha256: Annotated[str, "Digest of its bytes."]
    content: Annotated[str, "Digest of what it says, whatever the order of its rows and the program that saved it."]


@dataclass(frozen=True)
class WrittenTables(SealedLater):
    """returned/written.json: the tables as merges and corrections wrote them last, by which a hand edit is noticed."""

    format: Annotated[Literal["trialkit-written-1"], "Name and version of this form."] = "trialkit-written-1"
    tables: Annotated[Mapping[TableName, WrittenTable], "By name."] = field(default_factory=dict)
    sha256: Seal = field(default="", compare=False)


@dataclass(frozen=True)
class StagedFile(Closed):
    """A new version of a file, written but not yet in place, or a file to be taken away."""

    name: Annotated[str, "Path within the folder."]
    part: Annotated[str | None, "Name under which the new version waits; None where the file is taken away."]
    sha256: Annotated[str | None, "Digest of the new version."]
    before: Annotated[str | None, "Digest of what stood in its place when it was committed; None where nothing did."]


@dataclass(frozen=True)
class StagedFiles(Closed):
    """manifest.json of a change that is being written: it counts once the folder that holds it has its last name."""

    files: Annotated[tuple[StagedFile, ...], "In the order in which they are put in place."]


@dataclass(frozen=True)
class FileOutcome(Closed):
    """What became of one returned file."""

    name: Annotated[str, "As it was given."]
    merged: Annotated[bool, "Whether its rows were merged."] = False
    kept_as: Annotated[
        str | None, "Path of the original within the trial folder; None if nothing of the file was merged."
    ] = None
    merged_before: Annotated[bool, "Whether the same file was merged before."] = False
    tables: Annotated[Mapping[TableName, TableCounts], "What became of its rows; empty if nothing was merged."] = field(
        default_factory=dict
    )
    findings: Annotated[tuple[ReturnFinding, ...], "Repairs, questions and refusals."] = ()
    corrections: Annotated[tuple[Correction, ...], "What it put right in the record, with the reason given."] = ()
    kind: Annotated[Kind | None, "What kind of file it is; None where nothing of it can be read."] = None


@dataclass(frozen=True)
class MergeOutcome(Closed):
    """`trialkit merge`: what became of each file, and what waits for a choice."""

    ok: Annotated[bool, "Whether every file was merged and nothing waits for anybody."]
    files: Annotated[tuple[FileOutcome, ...], "In the order in which they were given."]
    chosen: Annotated[tuple[Conflict, ...], "Conflicts settled by the choices given."]
    refused_choices: Annotated[tuple[ReturnFinding, ...], "Why choices could not be taken."]
    conflicts: Annotated[tuple[Conflict, ...], "Those that still wait for a choice."]
    finished_earlier: Annotated[bool, "Whether an earlier merge, stopped half-way, was finished first."]
    changed: Annotated[tuple[str, ...], "Files of the trial folder that were written."]
    taken: Annotated[tuple[str, ...], "Tables that had been changed by hand and were taken as they stand."] = ()


@dataclass(frozen=True)
class TakeBackOutcome(Closed):
    """`trialkit merge --take-back`: what became of a file that was merged before."""

    ok: Annotated[bool, "Whether nothing waits for anybody."]
    taken_back: Annotated[TakenBack, "The file, and what became of the cells that came from it."]
    closed: Annotated[tuple[Conflict, ...], "Conflicts and choices that rested on it, which count no more."]
    conflicts: Annotated[tuple[Conflict, ...], "Those that still wait for a choice."]
    finished_earlier: Annotated[bool, "Whether an earlier merge, stopped half-way, was finished first."]
    changed: Annotated[tuple[str, ...], "Files of the trial folder that were written."]


@dataclass(frozen=True)
class ToldOutcome(FileOutcome):
    """What became of one returned file, in words too."""

    findings: Annotated[tuple[ToldFinding, ...], "Repairs, questions and refusals."] = ()


@dataclass(frozen=True)
class ToldMerge(MergeOutcome):
    """`trialkit merge --json`: what became of each file, in words too, and what waits for a choice."""

    files: Annotated[tuple[ToldOutcome, ...], "In the order in which they were given."]
    refused_choices: Annotated[tuple[ToldFinding, ...], "Why choices could not be taken."]


@dataclass(frozen=True)
class CorrectOutcome(Closed):
    """`trialkit correct`: what was put right, or why nothing was."""

    ok: Annotated[bool, "Whether it was corrected."]
    corrections: Annotated[tuple[Correction, ...], "What was put right, one for each cell."]
    settled: Annotated[tuple[Conflict, ...], "Conflicts on these cells, which are settled by it."]
    findings: Annotated[tuple[ReturnFinding, ...], "Repairs, questions and refusals."]
    changed: Annotated[tuple[str, ...], "Files of the trial folder that were written."]


@dataclass(frozen=True)
class ToldCorrect(CorrectOutcome):
    """`trialkit correct --json`: what was put right, or why nothing was, in words too."""

    findings: Annotated[tuple[ToldFinding, ...], "Repairs, questions and refusals."]
