"""What a check finds in a trial folder, as facts; `trialkit.words.problem_words` says how to fix it."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from trialkit.documents.document import Closed
from trialkit.domain.quoting import shown

Severity = Literal["error", "warning"]
FactValue = str | int | float | tuple[str | float, ...]


@dataclass(frozen=True)
class Fact(Closed):
    """A named value: what was found or expected, a number with its unit in its name, a name."""

    name: Annotated[str, "What it is."]
    value: Annotated[FactValue, "Numbers and texts; a stranger's text on one line, shortened."]


def facts(**values: FactValue | Path | None) -> tuple[Fact, ...]:
    """Gather facts, without those that are None; a stranger's texts are shown safely, a path that we name whole."""
    return tuple(Fact(name, _safe(value)) for name, value in values.items() if value is not None)


def _safe(value: FactValue | Path) -> FactValue:
    if isinstance(value, tuple):
        return tuple(shown(one) if isinstance(one, str) else one for one in value)
    if isinstance(value, Path):
        return str(value)
    return shown(value) if isinstance(value, str) else value


@dataclass(frozen=True)
class Problem(Closed):
    """One thing wrong, or worth a second look, in one place."""

    severity: Annotated[Severity, "An error stops the analysis, a warning does not."]
    rule: Annotated[str, 'Identity of the rule, such as ``"TK-H06"``; reports/checks.md explains each.']
    case: Annotated[str, "Which of the rule's messages it is; empty where the rule has one."]
    file: Annotated[str, "Name of the file within the trial folder."]
    row: Annotated[
        int | None,
        "Row as a spreadsheet shows it (the header is row 1); in trial.toml, the line. None for the file as a whole.",
    ]
    column: Annotated[str | None, 'Column, or in trial.toml the key path such as ``"layout.seed"``.']
    facts: Annotated[tuple[Fact, ...], "What was found and what was expected; ``text`` is the cell as it stands."]


@dataclass(frozen=True)
class ToldProblem(Problem):
    """A problem with what the words say of it."""

    found: Annotated[str, "What stands there; may be empty."]
    expected: Annotated[str, "What should stand there."]
    how_to_fix: Annotated[str, "How to put it right."]
