"""What is found in one returned file, collected: repaired with a note, asked about, or refused."""

from dataclasses import dataclass, field

from trialkit.documents.returns import Answers, ReturnFinding, Verdict
from trialkit.domain.quoting import quoted, shown
from trialkit.tables.rule_book import RULES


@dataclass(frozen=True)
class Place:
    """Where in a returned file: sheet (None in a CSV or phone file), row as a spreadsheet shows it, column."""

    sheet: str | None = None
    row: int | None = None
    column: str | None = None


class UnreadableReturn(Exception):
    """Nothing at all of a returned file can be read; its log says why."""


@dataclass
class Log:
    """Collects what is found in one returned file, under the answers that were given."""

    file: str
    answers: Answers = field(default_factory=Answers)
    findings: list[ReturnFinding] = field(default_factory=list)

    def note(self, rule: str, place: Place, why: str, *, found: str = "", became: str = "") -> None:
        """Say that something was repaired; `found` and `became` are shown in quotation marks."""
        self._add("repaired", rule, place, _quoted(found), _quoted(became) or ("empty" if found else ""), why, "")

    def refuse(self, rule: str, place: Place, expected: str, *, found: str = "", mend: str = "") -> None:
        """Say why the file cannot be merged; `found` is shown as it is."""
        self._add("refused", rule, place, found, "", expected, mend or RULES[rule].mend)

    def ask(self, rule: str, place: Place, why: str, *, found: str = "", became: str = "", mend: str = "") -> bool:
        """Propose a reading; true if it has been accepted, and is noted then."""
        if rule in self.answers.accepted:
            self._add("repaired", rule, place, found, became or "proposed", f"accepted by --accept {rule}", "")
            return True
        hint, option = mend or RULES[rule].mend, f"--accept {rule}"
        self._add("question", rule, place, found, became, why, f"{hint} To take it so, add {option}.", (option,))
        return False

    def ask_option(self, rule: str, place: Place, why: str, *, found: str, mend: str, answers: tuple[str, ...]) -> None:
        """Ask for a choice that has options of its own."""
        self._add("question", rule, place, found, "", why, mend, answers)

    def give_up(self, rule: str, expected: str, *, found: str = "", mend: str = "") -> "UnreadableReturn":
        """Refuse the file as a whole; the caller raises what is returned."""
        self.refuse(rule, Place(), expected, found=found, mend=mend)
        return UnreadableReturn()

    def of(self, verdict: Verdict) -> tuple[ReturnFinding, ...]:
        """Return the findings of one verdict."""
        return tuple(finding for finding in self.findings if finding.verdict == verdict)

    @property
    def clear(self) -> bool:
        """Whether nothing stands in the way of merging."""
        return all(finding.verdict == "repaired" for finding in self.findings)

    def _add(
        self,
        verdict: Verdict,
        rule: str,
        place: Place,
        found: str,
        became: str,
        why: str,
        mend: str,
        answers: tuple[str, ...] = (),
    ) -> None:
        column = None if place.column is None else shown(place.column)
        self.findings.append(
            ReturnFinding(verdict, rule, place.sheet, place.row, column, self.file, found, became, why, mend, answers)
        )


def _quoted(text: str) -> str:
    return quoted(text) if text else ""
