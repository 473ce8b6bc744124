"""What is found in one returned file, merged: repaired with a note, asked about, or refused."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field

from trialkit.documents.problems import Fact, FactValue, Problem, facts
from trialkit.documents.returns import Answers, ReturnFinding, Verdict
from trialkit.domain.quoting import shown
from trialkit.domain.reading_budget import RETURNED, OverBudget
from trialkit.tables.headings import plain_heading


@dataclass(frozen=True)
class Place:
    """Where in a returned file: sheet (None in a CSV or phone file), row as a spreadsheet shows it, column."""

    sheet: str | None = None
    row: int | None = None
    column: str | None = None


@dataclass
class HeadingsKnown:
    """What headings stand for that the record does not have, folded: a column, or empty if they are left out.

    Attributes
    ----------
    given : mapping of str to str
        As answered now.
    remembered : mapping of frozenset of str to mapping of str to str
        As answered before, by all headings of the sheet.
    used : dict
        What is to be remembered of the file, in the same form.
    """

    given: Mapping[str, str] = field(default_factory=dict)
    remembered: Mapping[frozenset[str], Mapping[str, str]] = field(default_factory=dict)
    used: dict[frozenset[str], dict[str, str]] = field(default_factory=dict)

    def of(self, cells: tuple[str, ...]) -> Mapping[str, str]:
        """Return what is known of a row of headings."""
        return {**self.remembered.get(heading_set(cells), {}), **self.given}

    def use(self, cells: tuple[str, ...], heading: str, column: str) -> None:
        """Remember what a heading of a row stands for."""
        self.used.setdefault(heading_set(cells), {})[plain_heading(heading)] = column


def heading_set(cells: tuple[str, ...]) -> frozenset[str]:
    """Return the headings of a row, by which it is known again."""
    return frozenset(filter(None, map(plain_heading, cells)))


class UnreadableReturn(Exception):
    """Nothing at all of a returned file can be read; its log says why."""


@dataclass
class Log:
    """Collects what is found in one returned file, under the answers that were given."""

    file: str
    answers: Answers = field(default_factory=Answers)
    headings: HeadingsKnown = field(default_factory=HeadingsKnown)
    findings: list[ReturnFinding] = field(default_factory=list)
    _doubts: int = field(default=0, init=False)

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

    def ask(self, rule: str, place: Place, case: str = "", *, option: str = "", **values: FactValue | None) -> None:
        """Propose a reading; noted only, if it has been accepted. `option` answers it otherwise.

        The file is read on as proposed, so that everything else is told at once; it is not merged without the answer.
        """
        verdict: Verdict = "repaired" if rule in self.answers.accepted else "question"
        answers = (f"--accept {rule}", option) if option and verdict == "question" else (f"--accept {rule}",)
        self._add(verdict, rule, case, place, facts(**values), answers)

    def ask_option(
        self, rule: str, place: Place, answers: tuple[str, ...], case: str = "", **values: FactValue
    ) -> None:
        """Ask for a choice that has options of its own."""
        self._add("question", rule, case, place, facts(**values), answers)

    def give_up(self, rule: str, case: str = "", **values: FactValue | None) -> "UnreadableReturn":
        """Refuse the file as a whole; the caller raises what is returned."""
        self._add("refused", rule, case, Place(), facts(**values))
        return UnreadableReturn()

    @contextmanager
    def within_budget(self) -> Iterator[None]:
        """Refuse the file as a whole if more is in it than is read."""
        try:
            yield
        except OverBudget as over:
            raise self.give_up("TK-R07", measure=over.measure, most=over.most, amount=over.found) from None

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
        self.add(ReturnFinding(verdict, rule, case, place.sheet, place.row, column, self.file, known, answers))

    def add(self, finding: ReturnFinding) -> None:
        """Add a finding; give up where there are more than anybody reads."""
        self.findings.append(finding)
        self._doubts += finding.verdict != "repaired"
        if self._doubts == RETURNED.findings + 1:
            with self.within_budget():
                RETURNED.hold("findings", self._doubts)
