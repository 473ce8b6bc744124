"""What the post room shows of a returned file: what was read, repaired, asked and refused, and the answers to give."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated
from urllib.parse import quote

from trialkit.domain.table_names import RECORD_TABLES
from trialkit.languages import gettext, ngettext
from trialkit.returns.answering import CHOICES
from trialkit.tables.headings import plain_heading
from trialkit.tables.table_schema import load_schema
from trialkit.words.cell_words import column_title, row_words, value_words
from trialkit.words.merge_words import is_for_phone_form
from trialkit.words.phrases import date_words
from trialkit.words.record_check_words import MOST_ALIKE
from trialkit.words.repair_words import said_of_finding, told_finding, what_was_found

if TYPE_CHECKING:
    from trialkit.desk.tray import Waiting
    from trialkit.documents.returns import Conflict, FileOutcome, JournalEntry, ReturnFinding, TableCounts
    from trialkit.domain.table_names import TableName
    from trialkit.returns.excerpts import Excerpt, ReadFile

LEFT_OUT = "-"
"""Says in a form that a heading is left out; a form that says nothing of it does not answer."""
OF_HEADINGS = ("TK-R21", "TK-R22")
MOST_WITH_CELLS = 2
"""Of findings alike so many have the sheet's cells beside them."""


@dataclass(frozen=True)
class ToldLine:
    """A finding, and where it is."""

    where: str
    text: str
    rule: str
    excerpt: Annotated[Excerpt | None, "The sheet's own cells; None where none are shown."] = None


@dataclass(frozen=True)
class FindingGroup:
    """Findings alike, and how many more there are."""

    told: tuple[ToldLine, ...]
    more: int


@dataclass(frozen=True)
class Offered:
    """An answer that can be given."""

    value: str
    label: str
    example: str = ""


@dataclass(frozen=True)
class FileQuestion:
    """What is asked of a file, and how it was answered so far."""

    kind: Annotated[str, "option: one of several; accept: a yes; heading: a column from a list."]
    field: Annotated[str, "Of the form."]
    asked: str
    groups: tuple[FindingGroup, ...]
    choices: tuple[Offered, ...]
    chosen: str
    is_open: Annotated[bool, "Whether the file waits for it."]


@dataclass(frozen=True)
class ReturnedFile:
    """One file of the tray."""

    id: str
    name: str
    state: Annotated[str, "ready, asked, refused or before: all of it is in the record already."]
    kind: str
    sheets: Annotated[tuple[str, ...], "What was read."]
    counts: Annotated[tuple[str, ...], "What would become of its rows."]
    repaired: tuple[FindingGroup, ...]
    refused: tuple[FindingGroup, ...]
    questions: tuple[FileQuestion, ...]
    corrected: Annotated[tuple[str, ...], "What it would put right, for the reason given."]
    why: str
    for_phone_form: Annotated[bool, "Whether it is best put right in the phone form that saved it."] = False


@dataclass(frozen=True)
class TwoValues:
    """A conflict, side by side."""

    id: str
    where: str
    column: str
    kept: str
    kept_by: str
    returned: str
    returned_by: tuple[str, ...]
    chosen: str


def returned_file(waiting: Waiting, outcome: FileOutcome, read: ReadFile | None) -> ReturnedFile:
    """Say what a look at a file found."""
    findings = outcome.findings
    questions = tuple(_questions(waiting, findings, read))
    refused = [one for one in findings if one.verdict == "refused"]
    asked = any(one.verdict == "question" for one in findings)
    # Until it is known how cells are read, nobody can tell what is wrong in them.
    unread = any(one.is_open and one.kind == "option" for one in questions)
    settled = "before" if _says_nothing_new(outcome) else "ready"
    state = "refused" if refused and not unread else "asked" if asked else settled
    return ReturnedFile(
        waiting.id,
        waiting.name,
        state,
        _kind(read),
        tuple(_sheets(read)),
        tuple(counts_words(outcome.tables, is_corrected=bool(outcome.corrections))),
        _groups([one for one in findings if one.verdict == "repaired"], read, with_cells=False),
        _groups(refused, read, with_cells=True),
        questions,
        tuple(
            gettext(
                "{where}, {column}: {before} becomes {after}",
                where=row_words(one.table, one.key),
                column=column_title(one.table, one.column),
                before=value_words(one.table, one.column, one.before),
                after=value_words(one.table, one.column, one.after),
            )
            for one in outcome.corrections
        ),
        waiting.answered.why,
        is_for_phone_form(outcome),
    )


def two_values(conflict: Conflict, saved: Mapping[str, str], chosen: str) -> TwoValues:
    """Put a conflict side by side; `saved` tells when the returns were saved."""

    def who(name: str) -> str:
        day = date_words(saved.get(name, "")[:10])
        return f"{name}, {day}" if day else name

    table, column = conflict.table, conflict.column
    return TwoValues(
        conflict.id,
        row_words(table, conflict.key),
        column_title(table, column),
        value_words(table, column, conflict.kept),
        who(conflict.kept_by) if conflict.kept_by else gettext("the table, before any file came"),
        value_words(table, column, conflict.returned),
        tuple(map(who, conflict.returned_by)),
        chosen,
    )


def saved_at(entries: Sequence[JournalEntry]) -> dict[str, str]:
    """When each return was saved, as its form says, by what it is called."""
    return {str(entry): entry.saved_at for entry in entries}


def counts_words(tables: Mapping[TableName, TableCounts], *, is_corrected: bool = False) -> Iterator[str]:
    """Say what becomes of the rows of a file, table by table."""
    for name, counts in tables.items():
        differs = gettext("{number} corrected") if is_corrected else gettext("{number} in conflict")
        told = [
            words.format(number=number)
            for number, words in (
                (counts.new, gettext("{number} new")),
                (counts.filled_in, gettext("{number} filled in")),
                (counts.same, gettext("{number} the same as before")),
                (counts.conflicting, differs),
                (counts.blank, gettext("{number} still blank")),
            )
            if number
        ]
        nothing = gettext("no rows")  # not inside the text below: before Python 3.12 nobody finds it there to translate
        yield f"{gettext(load_schema(name).title)}: {', '.join(told) or nothing}"


def _says_nothing_new(outcome: FileOutcome) -> bool:
    return outcome.merged_before and not any(
        counts.new or counts.filled_in or counts.conflicting for counts in outcome.tables.values()
    )


def _kind(read: ReadFile | None) -> str:
    if read is None:
        return ""
    return {"workbook": gettext("workbook"), "csv": gettext("text table (CSV)"), "phone": gettext("phone form")}[
        read.kind
    ]


def _sheets(read: ReadFile | None) -> Iterator[str]:
    for sheet in read.sheets if read else ():
        if sheet.table in RECORD_TABLES:
            rows = ngettext("{number} row", "{number} rows", sheet.records)
            yield f"{gettext(load_schema(sheet.table).title)}: {rows}"


def _questions(waiting: Waiting, findings: Sequence[ReturnFinding], read: ReadFile | None) -> Iterator[FileQuestion]:
    answered = waiting.answered
    by_field: dict[tuple[str, str], list[ReturnFinding]] = {}
    for one in findings:
        if one.verdict != "refused" and (key := _asked_by(one, answered.headings, read)):
            by_field.setdefault(key, []).append(one)
    for (kind, name), group in by_field.items():
        is_open = any(one.verdict == "question" for one in group)
        most = MOST_WITH_CELLS if kind == "option" else MOST_ALIKE  # each choice has an example of its own
        field, groups = f"{waiting.id}.{kind}.{quote(name)}", _groups(group, read, with_cells=True, most=most)
        match kind:
            case "option":
                yield FileQuestion(
                    kind,
                    field,
                    _option_asked(name),
                    groups,
                    tuple(_option_choices(name, group)),
                    answered.options.get(name, ""),
                    is_open,
                )
            case "heading":
                asked = gettext("What does the column “{heading}” hold?", heading=group[0].column)
                chosen = answered.headings.get(name)
                said = "" if chosen is None else chosen or LEFT_OUT
                choices = tuple(_columns(group[0], read))
                yield FileQuestion(kind, field, asked, groups, choices, said, is_open)
            case _:
                from trialkit.tables.rule_book import RULES

                said = name if name in answered.accept else ""
                yield FileQuestion(kind, field, gettext(RULES[name].title), groups, (), said, is_open)


def _asked_by(finding: ReturnFinding, headings: Mapping[str, str], read: ReadFile | None) -> tuple[str, str] | None:
    """Tell which answer a finding asks for, or was read by; None of a repair that needed none."""
    heading = plain_heading(read.heading(finding)) if read and finding.rule in OF_HEADINGS else ""
    if heading and (finding.verdict == "question" or heading in headings):
        return "heading", heading
    if not finding.answers:
        return None
    option, _, value = finding.answers[0].partition(" ")
    name = option.removeprefix("--")
    return ("option", name) if name in CHOICES else ("accept", value) if name == "accept" else None


def _option_asked(name: str) -> str:
    return {
        "dates": gettext("What comes first in the dates?"),
        "decimals": gettext("Which mark stands before the decimals?"),
        "serials": gettext("From which year are the days counted?"),
        "weights": gettext("What did the scale show?"),
    }[name]


def _option_choices(name: str, group: Sequence[ReturnFinding]) -> Iterator[Offered]:
    labels = {
        "day-first": gettext("the day"),
        "month-first": gettext("the month"),
        "year-first": gettext("the year"),
        "comma": gettext("a comma"),
        "point": gettext("a point"),
        "1900": gettext("1900, as usual"),
        "1904": gettext("1904, as some older programs do"),
        "g": gettext("grams"),
        "kg": gettext("kilograms"),
        "oz": gettext("ounces"),
    }
    open_ones = [one for one in group if one.verdict == "question"]
    offered = {answer.partition(" ")[2] for one in open_ones for answer in one.answers} or set(CHOICES[name])
    for value in CHOICES[name]:
        if value in offered:
            examples = (_example(name, value, one) for one in open_ones)
            yield Offered(value, labels[value], next(filter(None, examples), ""))


def _example(name: str, value: str, finding: ReturnFinding) -> str:
    """Say how a cell of the sheet would be read."""
    facts = {fact.name: fact.value for fact in finding.facts}
    readings = facts.get("readings", ())
    text = str(facts.get("text", ""))
    read: object = None
    match name:
        case "dates" if isinstance(readings, tuple):
            days = {str(one).partition(" ")[2].strip("()"): str(one).partition(" ")[0] for one in readings}
            read = date_words(days.get(value, ""))
        case "decimals":
            read = {facts.get("mark"): facts.get("decimal"), facts.get("other"): facts.get("whole")}.get(value)
        case "serials":
            read = date_words(facts.get(f"from_{value}", ""))
        case "weights":
            grams = text if value == "g" else facts.get("weight_g") if finding.case == value else None
            read = f"{grams} g" if grams else None
    return gettext("“{cell}” is then {value}", cell=text, value=read) if read else ""


def _columns(finding: ReturnFinding, read: ReadFile | None) -> Iterator[Offered]:
    """List what a heading may stand for: every column of its table, or of all where the table is not known."""
    table = read.table_of(finding) if read else None
    tables: Sequence[TableName] = (table,) if table in RECORD_TABLES else RECORD_TABLES
    headings: dict[str, str] = {}
    for one in tables:
        for column in load_schema(one).columns:
            headings.setdefault(column, load_schema(one).field(column).heading)
    yield from (Offered(column, heading) for column, heading in headings.items())


def _groups(
    findings: Sequence[ReturnFinding], read: ReadFile | None, *, with_cells: bool, most: int = MOST_ALIKE
) -> tuple[FindingGroup, ...]:
    alike: dict[tuple[str, str | None, str | None], list[ReturnFinding]] = {}
    for one in findings:
        alike.setdefault((one.rule, one.sheet, one.column), []).append(one)
    return tuple(
        FindingGroup(
            tuple(
                _told(one, read, with_cells=with_cells and number < MOST_WITH_CELLS)
                for number, one in enumerate(group[:most])
            ),
            max(len(group) - most, 0),
        )
        for group in alike.values()
    )


def _told(finding: ReturnFinding, read: ReadFile | None, *, with_cells: bool) -> ToldLine:
    place = [
        gettext("sheet {sheet}", sheet=finding.sheet) if finding.sheet is not None else "",
        gettext("row {row}", row=finding.row) if finding.row is not None else "",
        column_title(read.table_of(finding) if read else None, finding.column) if finding.column else "",
    ]
    return ToldLine(
        ", ".join(filter(None, place)),
        _asked_words(finding) if finding.verdict == "question" else what_was_found(told_finding(finding, at_desk=True)),
        finding.rule,
        read.excerpt(finding) if read and with_cells else None,
    )


def _asked_words(finding: ReturnFinding) -> str:
    """Say what is doubtful; how to answer is what the form is for, so that options of the command are left out."""
    said = said_of_finding(finding, at_desk=True)
    proposed = " → ".join(filter(None, (said.found, said.became)))
    fix = said.how_to_fix if finding.answers[0].startswith("--accept") and finding.rule not in OF_HEADINGS else ""
    return " ".join(filter(None, (f"{proposed}:" if proposed else "", said.expected, fix)))
