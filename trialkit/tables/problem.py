"""A problem found in a trial folder, told so that an adviser can mend it."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Literal

from trialkit.tables.rule_book import RULES

SHOWN_CHARACTERS = 80


@dataclass(frozen=True)
class Problem:
    """One thing wrong, or worth a second look, in one place.

    Attributes
    ----------
    severity : {"error", "warning"}
        An error stops the analysis, a warning does not.
    rule : str
        Identity of the rule, such as ``"TK-H06"``; `trialkit.tables.rule_book.RULES` explains each.
    file : str
        Name of the file within the trial folder.
    row : int or None
        Row as a spreadsheet shows it (the header is row 1); in trial.toml, the line. None for the file as a whole.
    column : str or None
        Column, or in trial.toml the key path such as ``"layout.seed"``.
    found, expected, mend : str
        What stands there, what should, and how to put it right. `found` may be empty.
    """

    severity: Literal["error", "warning"]
    rule: str
    file: str
    row: int | None
    column: str | None
    found: str
    expected: str
    mend: str

    def as_dict(self) -> dict[str, str | int | None]:
        """Return the problem as plain data, ready for JSON."""
        return asdict(self)

    def __str__(self) -> str:
        place = [self.file]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column is not None:
            place.append(f"column {self.column}" if self.file.endswith(".csv") else self.column)
        found = f"found {self.found}; " if self.found else ""
        return f"{', '.join(place)}: {found}expected {self.expected}. {self.mend} [{self.rule}]"


class TrialError(Exception):
    """A trial folder, or a part of it, cannot be used.

    Attributes
    ----------
    problems : tuple of Problem
        Every reason, at least one.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class PlanError(TrialError):
    """A trial cannot be planned as its protocol, gardens and products say: what is asked for is wrong, not records."""


def problem(
    rule: str,
    file: str,
    expected: str,
    *,
    row: int | None = None,
    column: str | None = None,
    found: str = "",
    mend: str | None = None,
    severity: Literal["error", "warning"] | None = None,
) -> Problem:
    """Make a problem, taking its severity and remedy from the rule book unless they are given."""
    entry = RULES[rule]
    column = None if column is None else shown(column)  # a heading or key may be a stranger's too
    return Problem(severity or entry.severity, rule, file, row, column, found, expected, mend or entry.mend)


def shown(value: object) -> str:
    r"""Show a stranger's value safely: shortened, nothing in it that could steer a terminal.

    Examples
    --------
    >>> print(shown("red" + chr(27) + "[31m"))
    red\x1b[31m
    """
    text = str(value)
    if len(text) > SHOWN_CHARACTERS:
        text = text[: SHOWN_CHARACTERS - 1] + "…"
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def quoted(value: object) -> str:
    """Show a stranger's value as `shown`, in quotation marks.

    Examples
    --------
    >>> print(quoted("152 g"))
    "152 g"
    """
    return f'"{shown(value)}"'
