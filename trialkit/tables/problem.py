"""Problems of a trial folder: made by the rule book, raised where nothing can be done until they are fixed."""

from collections.abc import Sequence

from trialkit.documents.problems import Problem, Severity
from trialkit.domain.quoting import shown
from trialkit.tables.rule_book import RULES


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
    severity: Severity | None = None,
) -> Problem:
    """Make a problem, taking its severity and remedy from the rule book unless they are given."""
    entry = RULES[rule]
    column = None if column is None else shown(column)  # a heading or key may be a stranger's too
    return Problem(severity or entry.severity, rule, file, row, column, found, expected, mend or entry.mend)
