"""How a kind of damage is entered into the catalogue."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from openpyxl import Workbook

from returned_files import Good
from trialkit.documents.returns import Answers
from trialkit.domain.table_names import TableName

Verdict = Literal["repaired", "asked", "refused", "conflict"]
Make = Callable[[Good], bytes | str]
Gives = tuple[TableName, int, str, str]
XLSX = "fernsedge.xlsx"
ALL: tuple[TableName, ...] = ("heads", "solution", "visits")


@dataclass(frozen=True)
class Kind:
    """One kind of damage.

    Attributes
    ----------
    name : str
    make : callable
        Makes the damaged file of a good return.
    verdict : {"repaired", "asked", "refused", "conflict"}
    rule, says : str
        The rule that tells of it, and a part of what it says.
    file : str
        Name that the file is given under.
    odd : bool
        Whether the trial has labels that spreadsheet programs change.
    before : bool
        Whether the good file was merged before.
    answers : Answers
        Answers to what is asked, under which the good values come out (`same_values`).
    tables : tuple of str
        The tables that the damaged file has; the good return's rows of these must come out.
    same_values : bool
        False if what comes out is said by `gives` (table, row, column, value) where it differs from the good return.
    gives : tuple of tuples
    """

    name: str
    make: Callable[[Good], bytes]
    verdict: Verdict
    rule: str
    says: str
    file: str = "fernsedge.csv"
    odd: bool = False
    before: bool = False
    answers: Answers = field(default_factory=Answers)
    tables: tuple[TableName, ...] = ("heads",)
    gives: tuple[Gives, ...] = ()


CATALOGUE: list[Kind] = []


def enter(
    name: str,
    verdict: Verdict,
    rule: str,
    says: str,
    make: Make,
    *,
    file: str = "fernsedge.csv",
    odd: bool = False,
    before: bool = False,
    answers: Answers | None = None,
    tables: tuple[TableName, ...] | None = None,
    gives: tuple[Gives, ...] = (),
) -> None:
    """Enter a kind of damage into the catalogue; a text that `make` returns is written in UTF-8.

    Where no answers are said, what the rule proposes is accepted; a workbook has all tables, another file the heads.
    """

    def as_bytes(good: Good) -> bytes:
        made = make(good)
        return made.encode("utf-8") if isinstance(made, str) else made

    expected = tables or (ALL if file == XLSX else ("heads",))
    given = answers or Answers(accepted=(rule,))
    CATALOGUE.append(Kind(name, as_bytes, verdict, rule, says, file, odd, before, given, expected, gives))


def damage(verdict: Verdict, rule: str, says: str, **other: Any) -> Callable[[Make], Make]:
    """Enter the decorated function into the catalogue; its name is that of the damage."""

    def entered(function: Make) -> Make:
        enter(function.__name__.replace("_", " "), verdict, rule, says, function, **other)
        return function

    return entered


# Small damage


def cell(table: TableName, row: int, column: str, text: str) -> Make:
    """Type a text into one cell."""
    return lambda good: good.with_cell(table, row, column, text).csv(table)


def weight(text: str) -> Make:
    """Type a text for the third head's weight."""
    return cell("heads", 2, "weight_g", text)


def third_weight(text: str) -> tuple[Gives]:
    """Say that the third head's weight comes out so."""
    return (("heads", 2, "weight_g", text),)


def column(table: TableName, name: str, change: Callable[[str], str]) -> Make:
    """Change every cell of a column that is not empty."""
    return lambda good: good.with_column(table, name, change).csv(table)


def replaced(old: str, new: str) -> Make:
    """Replace a text wherever it stands."""
    return lambda good: good.csv().replace(old, new)


def heading(old: str, new: str) -> Make:
    """Replace a heading, which is the first place where a text stands."""
    return lambda good: good.csv().replace(old, new, 1)


def lines(good: Good) -> list[str]:
    """Return the lines of the good CSV file."""
    return good.csv().splitlines()


def text(rows: list[str]) -> str:
    """Put lines together again."""
    return "\n".join(rows) + "\n"


def from_lines(change: Callable[[list[str]], list[str]]) -> Make:
    """Change the lines of the file."""
    return lambda good: text(change(lines(good)))


def delimited(delimiter: str) -> Make:
    """Separate the columns by another mark."""
    return lambda good: good.csv(delimiter=delimiter)


def marked(place: str, **changes: Any) -> Make:
    """Set properties of a cell of the workbook's heads."""
    return _set(lambda book: book["heads"][place], changes)


def sheet(name: str, **changes: Any) -> Make:
    """Set properties of one of the workbook's sheets."""
    return _set(lambda book: book[name], changes)


def _set(part: Callable[[Workbook], Any], changes: dict[str, Any]) -> Make:
    def change(book: Workbook) -> None:
        for name, value in changes.items():
            setattr(part(book), name, value)

    return lambda good: good.workbook(change)
