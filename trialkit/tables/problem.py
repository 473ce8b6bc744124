"""Problems of a trial folder: made by the rule book, raised where nothing can be done until they are fixed."""

from collections.abc import Iterable, Sequence
from pathlib import Path

from trialkit.documents.problems import FactValue, Problem, facts
from trialkit.domain.quoting import shown
from trialkit.domain.reading_budget import TABLE, OverBudget
from trialkit.tables.rule_book import RULES


class TrialError(Exception):
    """A trial folder, or a part of it, cannot be used.

    Attributes
    ----------
    problems : tuple of Problem
        Every reason, at least one; `trialkit.words.problem_words` says it.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(f"{p.rule} {p.file} {p.row or ''} {p.column or ''}".rstrip() for p in self.problems))


class PlanError(TrialError):
    """A trial cannot be planned as its protocol, gardens and products say: what is asked for is wrong, not records."""


def problem(
    rule: str,
    file: str,
    case: str = "",
    *,
    row: int | None = None,
    column: str | None = None,
    **values: FactValue | Path | None,
) -> Problem:
    """Make a problem of a case of a rule and its facts, with the severity that the rule book gives the rule."""
    column = None if column is None else shown(column)  # a heading or key may be a stranger's too
    return Problem(RULES[rule].severity, rule, case, file, row, column, facts(**values))


def too_large(file: str, over: OverBudget) -> Problem:
    """Make the problem that a file holds more than is read."""
    return problem("TK-F03", file, measure=over.measure, most=over.most, amount=over.found)


def first_problems(problems: Iterable[Problem], file: str) -> tuple[Problem, ...]:
    """Return problems up to as many errors as anybody reads, and behind these the problem that there are more."""
    found: list[Problem] = []
    errors = 0
    for one in problems:
        errors += one.severity == "error"
        if errors > TABLE.findings:
            return (*found, too_large(file, OverBudget("findings", TABLE.findings)))
        found.append(one)
    return tuple(found)


def are_too_many(problems: Sequence[Problem]) -> bool:
    """Tell whether `first_problems` left any out."""
    return bool(problems) and problems[-1].rule == "TK-F03"
