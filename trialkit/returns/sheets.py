"""What every returned file becomes first: sheets of text cells, each with its place, nothing interpreted."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated, Literal

from trialkit.documents.returns import Kind
from trialkit.rules.form_marks import FormMarks

CellType = Literal["date", "number"]
RemarkKind = Literal["formula", "formula without value", "error", "time", "comment"]


@dataclass(frozen=True)
class CellRemark:
    """Something about one cell that its text does not show; columns count from 1."""

    kind: RemarkKind
    row: int
    column: int
    text: str


@dataclass(frozen=True)
class MergedCells:
    """A range of cells that were merged; rows and columns count from 1, both ends included."""

    name: str
    rows: range
    columns: range


@dataclass(frozen=True)
class SheetText:
    """The text cells of one sheet, without its blank rows."""

    name: Annotated[str | None, "None for a file that has no sheets."]
    rows: Annotated[tuple[tuple[int, tuple[str, ...]], ...], "Row as a spreadsheet shows it, and its cells."]
    ragged: Annotated[bool, "Whether the length of a row means something, as in a CSV file."] = False
    blank_between: Annotated[bool, "Whether blank rows stood before or between the others."] = False
    hidden: bool = False
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    merged: tuple[MergedCells, ...] = ()
    remarks: tuple[CellRemark, ...] = ()
    looks: Annotated[
        Mapping[tuple[int, int], str], "Colour of each coloured or struck-out cell, by row and column."
    ] = field(default_factory=dict)
    typed: Annotated[
        Mapping[tuple[int, int], CellType], "Cells of a workbook that are not text, by row and column."
    ] = field(default_factory=dict)


@dataclass(frozen=True)
class Returned:
    """A returned file, read but not interpreted."""

    kind: Kind
    sheets: tuple[SheetText, ...]
    marks: Annotated[FormMarks | None, "What the form says it belongs to; None of another file."] = None
    # What the form says of itself; empty if nothing.
    site: str = ""
    by: str = ""
    saved_at: str = ""
