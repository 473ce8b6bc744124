"""What was found in a returned file: repaired with a note, asked about, or refused."""

from collections.abc import Iterable
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from trialkit.tables.problem import quoted, shown
from trialkit.tables.rule_book import RULES

Verdict = Literal["repaired", "question", "refused"]
DateOrder = Literal["day-first", "month-first", "year-first"]
DecimalMark = Literal["comma", "point"]
DayCount = Literal["1900", "1904"]
WeightUnit = Literal["g", "kg", "oz"]


@dataclass(frozen=True)
class Answers:
    """The choices that a person has made: how to read what can be read in several ways.

    Attributes
    ----------
    dates : {"day-first", "month-first", "year-first"} or None
    decimals : {"comma", "point"} or None
        What parts decimals; the other mark then parts thousands.
    serials : {"1900", "1904"} or None
        Where day counts begin.
    weights : {"g", "kg", "oz"} or None
        Unit of the weights that look like another unit.
    accepted : frozenset of str
        Rules whose proposals are taken.
    """

    dates: DateOrder | None = None
    decimals: DecimalMark | None = None
    serials: DayCount | None = None
    weights: WeightUnit | None = None
    accepted: frozenset[str] = frozenset()

    def or_else(self, earlier: "Answers") -> "Answers":
        """Fill in what was not answered this time from what was answered before."""
        return Answers(
            self.dates or earlier.dates,
            self.decimals or earlier.decimals,
            self.serials or earlier.serials,
            self.weights or earlier.weights,
            self.accepted | earlier.accepted,
        )


@dataclass(frozen=True)
class Place:
    """Where in a returned file: sheet (None in a CSV or phone file), row as a spreadsheet shows it, column."""

    sheet: str | None = None
    row: int | None = None
    column: str | None = None


@dataclass(frozen=True)
class Finding:
    """One thing found in a returned file.

    Attributes
    ----------
    verdict : {"repaired", "question", "refused"}
    rule : str
        `trialkit.tables.rule_book.RULES` explains each.
    file : str
        Name of the file as it was given.
    place : Place
    found, became : str
        What stands there, and what it was read as or (question) would be read as; either may be empty.
    why : str
        Repaired: what allows it. Question: what is doubtful. Refused: what was expected.
    mend : str
        How to answer or to put it right; empty for a repair.
    answers : tuple of str
        Options of ``trialkit collect`` that answer a question, any one of them; empty for the others.
    """

    verdict: Verdict
    rule: str
    file: str
    place: Place
    found: str
    became: str
    why: str
    mend: str
    answers: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return the finding as plain data, ready for JSON."""
        plain = asdict(self)
        return {"verdict": plain.pop("verdict"), "rule": plain.pop("rule"), **plain.pop("place"), **plain}

    def __str__(self) -> str:
        return f"{self._where()}: {self._what()} [{self.rule}]"

    def _where(self) -> str:
        place = [shown(self.file)]
        if self.place.sheet is not None:
            place.append(f"sheet {quoted(self.place.sheet)}")
        if self.place.row is not None:
            place.append(f"row {self.place.row}")
        if self.place.column is not None:
            place.append(f"column {shown(self.place.column)}")
        return ", ".join(place)

    def _what(self) -> str:
        if self.verdict == "repaired":
            return f"{self.found} was read as {self.became}: {self.why}." if self.became else f"{self.why}."
        if self.verdict == "question":
            return f"{self.found}: {self.why} {self.mend}" if self.found else f"{self.why} {self.mend}"
        return f"found {self.found}; expected {self.why}. {self.mend}" if self.found else f"{self.why}. {self.mend}"


class UnreadableReturn(Exception):
    """Nothing at all of a returned file can be read; its log says why."""


@dataclass
class Log:
    """Collects what is found in one returned file, under the answers that were given."""

    file: str
    answers: Answers = Answers()
    findings: list[Finding] = field(default_factory=list)

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

    def of(self, verdict: Verdict) -> tuple[Finding, ...]:
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
        place = Place(place.sheet, place.row, None if place.column is None else shown(place.column))
        self.findings.append(Finding(verdict, rule, self.file, place, found, became, why, mend, answers))


def _quoted(text: str) -> str:
    return quoted(text) if text else ""


def grouped(findings: Iterable[Finding]) -> list[list[Finding]]:
    """Group findings by file, verdict, rule, sheet and column, in the order in which each first appears."""
    groups: dict[tuple[Any, ...], list[Finding]] = {}
    for finding in findings:
        key = (finding.file, finding.verdict, finding.rule, finding.place.sheet, finding.place.column)
        groups.setdefault(key, []).append(finding)
    return list(groups.values())
