"""What is found in one returned file, merged: repaired with a note, asked about, or refused."""

from dataclasses import dataclass, field

from trialkit.documents.problems import Fact, FactValue, Problem, facts
from trialkit.documents.returns import Answers, ReturnFinding, Verdict
from trialkit.domain.quoting import shown


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

    def note(self, rule: str, place: Place, case: str = "", *, option: str = "", **values: FactValue) -> None:
        """Say that something was repaired, or read by an option that was given."""
        self._add("repaired", rule, case, place, facts(**values), (option,) if option else ())

    def refuse(self, rule: str, place: Place, case: str = "", **values: FactValue | None) -> None:
        """Say why the file cannot be merged."""
        self._add("refused", rule, case, place, facts(**values))

    def refuse_as_checked(self, problem: Problem, place: Place) -> None:
        """Say what the check of the record says of a cell that it would refuse."""
        self._add("refused", problem.rule, problem.case, place, problem.facts)

    def refuse_choice(self, problem: Problem, *, table: str, key: str) -> None:
        """Say that a choice would make a row of the record wrong, and what the check says of it."""
        cause = facts(chosen_in=table, chosen_key=key, cause=problem.rule, cause_case=problem.case)
        self._add("refused", "TK-R56", "row", Place(column=problem.column), (*cause, *problem.facts))

    def ask(self, rule: str, place: Place, case: str = "", **values: FactValue | None) -> bool:
        """Propose a reading; true if it has been accepted, and is noted then."""
        accepted = rule in self.answers.accepted
        verdict: Verdict = "repaired" if accepted else "question"
        self._add(verdict, rule, case, place, facts(**values), (f"--accept {rule}",))
        return accepted

    def ask_option(
        self, rule: str, place: Place, answers: tuple[str, ...], case: str = "", **values: FactValue
    ) -> None:
        """Ask for a choice that has options of its own."""
        self._add("question", rule, case, place, facts(**values), answers)

    def give_up(self, rule: str, case: str = "", **values: FactValue) -> "UnreadableReturn":
        """Refuse the file as a whole; the caller raises what is returned."""
        self._add("refused", rule, case, Place(), facts(**values))
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
        case: str,
        place: Place,
        known: tuple[Fact, ...],
        answers: tuple[str, ...] = (),
    ) -> None:
        column = None if place.column is None else shown(place.column)
        self.findings.append(
            ReturnFinding(verdict, rule, case, place.sheet, place.row, column, self.file, known, answers)
        )
