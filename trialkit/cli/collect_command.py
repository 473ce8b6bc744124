"""``trialkit collect``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trialkit.cli.failures import MOST_ALIKE, CallFailure, speaks_plainly
from trialkit.cli.main import DATA_ERROR, DONE
from trialkit.cli.shared_options import as_json, trial_folder
from trialkit.cli.speaking import answer

if TYPE_CHECKING:
    from trialkit.documents.returns import Choice, Collected, Conflict, FileOutcome, ReturnFinding

COLOURS = {"repaired": "green", "question": "yellow", "refused": "red"}
WORDS = {"new": "new", "filled_in": "filled in", "same": "the same as before", "conflicting": "in conflict"}


@click.command("collect")
@trial_folder
@click.argument("files", metavar="[FILE]...", nargs=-1, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--dates", type=click.Choice(["day-first", "month-first", "year-first"]), help="Order in dates such as 03/04/26."
)
@click.option("--decimals", type=click.Choice(["comma", "point"]), help="What parts decimals in numbers such as 1,152.")
@click.option("--serials", type=click.Choice(["1900", "1904"]), help="Where day counts such as 46254 begin.")
@click.option("--weights", type=click.Choice(["g", "kg", "oz"]), help="Unit of weights that look like another unit.")
@click.option("--accept", metavar="RULE", multiple=True, help="Take what the questions of this rule propose (repeat).")
@click.option("--choose", metavar="ID=kept|returned", multiple=True, help="Settle a conflict (repeat).")
@as_json
@speaks_plainly
def command(
    folder: Path,
    files: tuple[Path, ...],
    dates: Any,
    decimals: Any,
    serials: Any,
    weights: Any,
    accept: tuple[str, ...],
    choose: tuple[str, ...],
    as_json: bool,
) -> int:
    """Merge returned files into the record of the trial in DIR.

    A FILE is a record workbook, a CSV file, or what a phone form saved (also its text, pasted into a file). What can be
    read in one way only is repaired, and each repair is told; what can be read in two ways is asked about, and the file
    waits until an option answers. A file is merged as a whole or not at all; nothing in the record is ever
    overwritten. Originals are kept in DIR/returned. Without FILE, an interrupted collect is finished and open
    conflicts are listed.

    Exit status 1 if a file was not merged or a conflict is open.

    Example: trialkit collect autumn_dose fern.xlsx mill.csv
    """
    from trialkit.documents.returns import Answers
    from trialkit.returns.collect import collect

    answers = Answers(dates, decimals, serials, weights, _rules(accept))
    outcome = collect(folder, files, answers=answers, choices=_choices(choose))
    if as_json:
        answer(outcome, "", as_json=True)
    else:
        for line in _lines(outcome, folder):
            click.echo(line)
    return DONE if outcome.ok else DATA_ERROR


def _rules(accepted: tuple[str, ...]) -> tuple[str, ...]:
    from trialkit.tables.rule_book import RULES

    for rule in accepted:
        if rule not in RULES or not rule.startswith("TK-R"):
            raise CallFailure(f"--accept {rule}: there is no such rule; a question names its own, such as TK-R25.")
    return accepted


def _choices(chosen: tuple[str, ...]) -> dict[str, Choice]:
    choices: dict[str, Choice] = {}
    for text in chosen:
        identity, _, choice = text.partition("=")
        if choice not in ("kept", "returned"):
            raise CallFailure(f"--choose {text}: write the conflict's ID, then =kept or =returned.")
        if choices.get(identity, choice) != choice:
            raise CallFailure(f"--choose {identity}: kept and returned cannot both be chosen.")
        choices[identity] = "kept" if choice == "kept" else "returned"
    return choices


def _lines(outcome: Collected, folder: Path) -> Iterator[str]:
    from trialkit.returns.finding_log import grouped

    if outcome.finished_earlier:
        yield "An earlier collect was stopped half-way; it is finished now."
    for file in outcome.files:
        yield from _file_lines(file)
    for group in grouped(outcome.refused_choices):
        yield from _group_lines(group)
    for conflict in outcome.chosen:
        yield f"Settled {conflict.id}: {_cell(conflict)} is {_value(conflict.taken)}."
    if outcome.conflicts:
        yield "Conflicts, nothing overwritten; look at the paper record, then choose:"
    for conflict in outcome.conflicts:
        yield from _conflict_lines(conflict)
    yield _summary(outcome, folder)


def _file_lines(file: FileOutcome) -> Iterator[str]:
    from trialkit.domain.quoting import shown
    from trialkit.returns.finding_log import grouped

    for group in grouped(file.findings):
        yield from _group_lines(group)
    name = shown(file.name)
    if not file.merged:
        questions = sum(finding.verdict == "question" for finding in file.findings)
        refused = sum(finding.verdict == "refused" for finding in file.findings)
        told = [_count(questions, "question") if questions else "", f"{refused} to mend" if refused else ""]
        yield f"{name}: nothing of it was merged ({', '.join(filter(None, told))})."
        return
    again = " (collected before)" if file.collected_before else ""
    for table, counts in file.tables.items():
        told = [f"{number} {words}" for kind, words in WORDS.items() if (number := getattr(counts, kind))]
        blank = f"; {counts.blank} still blank" if counts.blank else ""
        yield f"{name}{again}, {table}: {', '.join(told) or 'no rows'}{blank}."


def _group_lines(group: list[ReturnFinding]) -> Iterator[str]:
    verdict = group[0].verdict
    label = click.style(verdict, fg=COLOURS[verdict], bold=True)
    for finding in group[:MOST_ALIKE]:
        yield f"{label}: {finding}"
    if len(group) > MOST_ALIKE:
        yield f"{label}: ... and {len(group) - MOST_ALIKE} more like these [{group[0].rule}]"


def _conflict_lines(conflict: Conflict) -> Iterator[str]:
    yield f"  {conflict.id}  {_cell(conflict)}"
    yield f"      kept      {_value(conflict.kept)}  from {conflict.kept_by}"
    yield f"      returned  {_value(conflict.returned)}  from {'; '.join(conflict.returned_by)}"
    yield f"      choose: --choose {conflict.id}=kept or --choose {conflict.id}=returned"


def _cell(conflict: Conflict) -> str:
    return f"{conflict.table}.csv, {' '.join(conflict.key)}, {conflict.column}"


def _value(text: str) -> str:
    from trialkit.domain.quoting import quoted

    return quoted(text)


def _summary(outcome: Collected, folder: Path) -> str:
    merged = sum(file.merged for file in outcome.files)
    told = [f"{merged} of {_count(len(outcome.files), 'file')} merged"] if outcome.files else []
    told.append(f"{_count(len(outcome.conflicts), 'conflict')} open" if outcome.conflicts else "no open conflict")
    written = [name for name in outcome.changed if not name.startswith("returned/")]
    told.append(f"wrote {', '.join(written)}" if written else "the tables are as they were")
    after = f" Next: trialkit check {folder}" if outcome.ok and written else _answers_wanted(outcome)
    return f"Collect: {'; '.join(told)}.{after}"


def _answers_wanted(outcome: Collected) -> str:
    """Say what to do about the files that wait."""
    waiting = [finding for file in outcome.files if not file.merged for finding in file.findings]
    asked = dict.fromkeys(" or ".join(finding.answers) for finding in waiting if finding.answers)
    refused = any(finding.verdict == "refused" for finding in waiting)
    mend = "mend what was refused, in a copy or with whoever sent it, then " if refused else ""
    answers = f", with your answers: {', '.join(asked)}" if asked else ""
    return f" Next: {mend}the same command{answers}." if waiting else ""


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
