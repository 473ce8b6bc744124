"""What a merge says: what was repaired, asked and refused, what was merged, and what to do next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from trialkit.documents.returns import (
    Conflict,
    Correction,
    CorrectOutcome,
    FileOutcome,
    Key,
    MergeOutcome,
    ReturnFinding,
    TakeBackOutcome,
    Verdict,
    cells_in,
)
from trialkit.domain.quoting import quoted, shown
from trialkit.words.phrases import count, listed
from trialkit.words.record_check_words import MOST_ALIKE
from trialkit.words.repair_words import finding_sentence
from trialkit.words.taken_back_words import taken_back_words

EARLIER = "An earlier merge was stopped half-way. It is finished now."
BEFORE = "the table itself, before any return"
COUNT_WORDS = {"new": "new", "filled_in": "filled in", "same": "the same as before", "conflicting": "in conflict"}


@dataclass(frozen=True)
class MergeLine:
    """A line, and the verdict that it tells of, if it tells of a finding."""

    text: str
    verdict: Verdict | None = None


def merge_lines(outcome: MergeOutcome, folder: str) -> Iterator[MergeLine]:
    """Say what a merge did with a trial's folder."""
    if outcome.finished_earlier:
        yield MergeLine(EARLIER)
    for name in outcome.taken:
        yield MergeLine(f"{name} was changed by hand after it was written. It is taken as it is.")
    for file in outcome.files:
        yield from _finding_lines(file.findings)
        yield from map(MergeLine, map(_corrected, file.corrections))
        yield from map(MergeLine, _file_lines(file))
    yield from _finding_lines(outcome.refused_choices)
    for conflict in outcome.chosen:
        yield MergeLine(f"Settled {conflict.id}: {_cell(conflict)} is {quoted(conflict.taken)}.")
    yield from map(MergeLine, _waiting_lines(outcome.conflicts))
    yield MergeLine(_summary(outcome, folder))


def take_back_lines(outcome: TakeBackOutcome, folder: str) -> Iterator[str]:
    """Say what became of a file that was taken back from a trial's folder."""
    if outcome.finished_earlier:
        yield EARLIER
    one = outcome.taken_back
    yield f"Took back {one.name}: {'; '.join(taken_back_words(one))}."
    stayed = list(cells_in(one.stayed))
    yield from (f"  stays: {_named(cell)}" for cell in stayed[:MOST_ALIKE])
    if len(stayed) > MOST_ALIKE:
        yield f"  ... and {len(stayed) - MOST_ALIKE} more like these"
    for conflict in outcome.closed:
        yield f"That closes {conflict.id}, on {_cell(conflict)}."
    yield from _waiting_lines(outcome.conflicts)
    written = [name for name in outcome.changed if not name.startswith("returned/")]
    yield (
        f"Its original stays, as returned/{one.file}, and can be merged again. "
        f"{f'Wrote {listed(written)}.' if written else 'The tables are as they were.'} Next: trialkit check {folder}"
    )


def correct_lines(outcome: CorrectOutcome, folder: str) -> Iterator[str]:
    """Say what was put right in a trial's folder, or why nothing was."""
    for finding in outcome.findings:
        if outcome.ok or finding.verdict != "repaired":
            yield f"{finding.verdict}: {finding_sentence(finding)}"
    yield from map(_corrected, outcome.corrections)
    for conflict in outcome.settled:
        yield f"That settles the conflict {conflict.id}, in which {quoted(conflict.returned)} was returned."
    if outcome.ok:
        yield f"Wrote {', '.join(outcome.changed)}. Next: trialkit check {folder}"
    else:
        yield (
            "Nothing was corrected. Next: give the command again, so that it can be read in one way only. Write a date "
            "as year-month-day, and a number in the column's unit with a point before decimals."
        )


def _corrected(one: Correction) -> str:
    return f"Corrected {_cell(one)}: {quoted(one.before)} is now {quoted(one.after)}. Why: {shown(one.why)}"


def _finding_lines(findings: Iterable[ReturnFinding]) -> Iterator[MergeLine]:
    """Tell findings alike together, in the order in which the first of each appears."""
    groups: dict[tuple[Any, ...], list[ReturnFinding]] = {}
    for finding in findings:
        key = (finding.file, finding.verdict, finding.rule, finding.sheet, finding.column)
        groups.setdefault(key, []).append(finding)
    for (_, verdict, rule, *_), group in groups.items():
        yield from (MergeLine(finding_sentence(finding), verdict) for finding in group[:MOST_ALIKE])
        if len(group) > MOST_ALIKE:
            yield MergeLine(f"... and {len(group) - MOST_ALIKE} more like these [{rule}]", verdict)


def _file_lines(file: FileOutcome) -> Iterator[str]:
    name = shown(file.name)
    if not file.merged:
        questions = sum(finding.verdict == "question" for finding in file.findings)
        refused = sum(finding.verdict == "refused" for finding in file.findings)
        told = [count(questions, "question") if questions else "", f"{refused} to fix" if refused else ""]
        yield f"{name}: nothing of it was merged ({', '.join(filter(None, told))})."
        return
    again = " (merged before)" if file.merged_before else ""
    for table, counts in file.tables.items():
        words_of = COUNT_WORDS | ({"conflicting": "corrected"} if file.corrections else {})
        told = [f"{number} {words}" for kind, words in words_of.items() if (number := getattr(counts, kind))]
        blank = f"; {counts.blank} still blank" if counts.blank else ""
        yield f"{name}{again}, {table}: {', '.join(told) or 'no rows'}{blank}."


def _waiting_lines(conflicts: Sequence[Conflict]) -> Iterator[str]:
    if conflicts:
        yield "There are conflicts, and nothing was overwritten. Look at the paper record, then choose:"
    for conflict in conflicts:
        yield from _conflict_lines(conflict)


def _conflict_lines(conflict: Conflict) -> Iterator[str]:
    yield f"  {conflict.id}  {_cell(conflict)}"
    yield f"      kept      {quoted(conflict.kept)}  from {conflict.kept_by or BEFORE}"
    yield f"      returned  {quoted(conflict.returned)}  from {'; '.join(conflict.returned_by)}"
    yield f"      choose: --choose {conflict.id}=kept or --choose {conflict.id}=returned"


def _cell(of: Conflict | Correction) -> str:
    return _named(of.cell)


def _named(cell: tuple[str, Key, str]) -> str:
    table, key, column = cell
    return f"{table}.csv, {' '.join(key)}, {column}"


def _summary(outcome: MergeOutcome, folder: str) -> str:
    merged = sum(file.merged for file in outcome.files)
    told = [f"{merged} of {count(len(outcome.files), 'file')} merged"] if outcome.files else []
    told.append(f"{count(len(outcome.conflicts), 'conflict')} open" if outcome.conflicts else "no open conflict")
    written = [name for name in outcome.changed if not name.startswith("returned/")]
    told.append(f"wrote {', '.join(written)}" if written else "the tables are as they were")
    after = f" Next: trialkit check {folder}" if outcome.ok and written else _answers_wanted(outcome)
    return f"Merge: {'; '.join(told)}.{after}"


def is_for_phone_form(file: FileOutcome) -> bool:
    """Tell whether a file is best put right in the phone form that saved it: it can be opened, and cells are wrong."""
    refused = [finding for finding in file.findings if finding.verdict == "refused"]
    return file.kind == "phone" and bool(refused) and all(finding.row is not None for finding in refused)


def _answers_wanted(outcome: MergeOutcome) -> str:
    """Say what to do about the files that wait."""
    waiting = [finding for file in outcome.files if not file.merged for finding in file.findings]
    asked = dict.fromkeys(" or ".join(finding.answers) for finding in waiting if finding.verdict == "question")
    refused = any(finding.verdict == "refused" for finding in waiting)
    fix = "fix what was refused, in a copy or with whoever sent it. " if refused else ""
    if any(is_for_phone_form(file) for file in outcome.files):
        fix += "Open a phone form's file in the garden's phone form, put it right there, and save it anew. "
    fix += "Then give " if fix else ""
    answers = f", with your answers: {', '.join(asked)}" if asked else ""
    return f" Next: {fix}the same command again{answers}." if waiting else ""
