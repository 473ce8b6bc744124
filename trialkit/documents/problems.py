"""What a check finds in a trial folder, told so that an adviser can fix it."""

from dataclasses import dataclass
from typing import Annotated, Literal

from trialkit.documents.document import Closed

Severity = Literal["error", "warning"]


@dataclass(frozen=True)
class Problem(Closed):
    """One thing wrong, or worth a second look, in one place."""

    severity: Annotated[Severity, "An error stops the analysis, a warning does not."]
    rule: Annotated[str, 'Identity of the rule, such as ``"TK-H06"``; reports/checks.md explains each.']
    file: Annotated[str, "Name of the file within the trial folder."]
    row: Annotated[
        int | None,
        "Row as a spreadsheet shows it (the header is row 1); in trial.toml, the line. None for the file as a whole.",
    ]
    column: Annotated[str | None, 'Column, or in trial.toml the key path such as ``"layout.seed"``.']
    found: Annotated[str, "What stands there; may be empty."]
    expected: Annotated[str, "What should stand there."]
    mend: Annotated[str, "How to put it right."]

    def __str__(self) -> str:
        place = [self.file]
        if self.row is not None:
            place.append(f"row {self.row}")
        if self.column is not None:
            place.append(f"column {self.column}" if self.file.endswith(".csv") else self.column)
        found = f"found {self.found}; " if self.found else ""
        return f"{', '.join(place)}: {found}expected {self.expected}. {self.mend} [{self.rule}]"
