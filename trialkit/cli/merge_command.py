"""``trialkit merge``."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import CallFailure, speaks_plainly
from trialkit.cli.main import DATA_ERROR, DONE
from trialkit.cli.named_choice import NamedChoice
from trialkit.cli.shared_options import by_whom, trial_folder
from trialkit.cli.speaking import AnswerLine, answer

if TYPE_CHECKING:
    from trialkit.documents.returns import Verdict
    from trialkit.returns.journal import Reason
    from trialkit.words.merge_words import MergeLine

DASH = Path("-")
COLORS: dict[Verdict, str] = {"repaired": "green", "question": "yellow", "refused": "red"}


@click.command("merge", cls=Command)
@trial_folder
@click.argument(
    "files",
    metavar="[FILE|-]...",
    nargs=-1,
    type=click.Path(exists=True, dir_okay=False, allow_dash=True, path_type=Path),
)
@click.option(
    "--dates",
    type=NamedChoice(["day-first", "month-first", "year-first"]),
    help="What comes first in dates such as 03/04/26.",
)
@click.option("--decimals", type=NamedChoice(["comma", "point"]), help="Decimal separator in numbers such as 1,152.")
@click.option("--serials", type=NamedChoice(["1900", "1904"]), help="The year from which day counts such as 46254 run.")
@click.option(
    "--weights", type=NamedChoice(["g", "kg", "oz"]), help="Unit of the weights, where they do not look like grams."
)
@click.option(
    "--accept", metavar="RULE", multiple=True, help="Take what the questions of this rule propose. May be repeated."
)
@click.option(
    "--heading",
    metavar="TEXT=COLUMN",
    multiple=True,
    help="Say which column a heading stands for, or none to leave it out. May be repeated.",
)
@click.option(
    "--choose",
    metavar="ID=kept|returned",
    multiple=True,
    help="Say which value of a conflict to take. May be repeated.",
)
@click.option(
    "--answers",
    "answers_file",
    metavar="FILE",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Take answers from this TOML file, which names them as the options above do.",
)
@click.option(
    "--why", metavar="TEXT", help="Take values of FILE that differ from the record as corrections, for this reason."
)
@click.option(
    "--take-back",
    "gone",
    metavar="FILE",
    help="Take back a file that was merged, by its name or that of its original in DIR/returned. Say --why.",
)
@by_whom
@speaks_plainly
def command(
    folder: Path,
    files: tuple[Path, ...],
    dates: Any,
    decimals: Any,
    serials: Any,
    weights: Any,
    accept: tuple[str, ...],
    heading: tuple[str, ...],
    choose: tuple[str, ...],
    answers_file: Path | None,
    why: str | None,
    gone: str | None,
    by: str,
) -> int:
    """Merge returned files into the record of the trial in DIR.

    A FILE is a record workbook, a CSV file, or what a phone form saved. The text of a phone form may also be pasted
    into a file. A slip that can be read in one way only is repaired, and you are told of each repair. What can be read
    in two ways is asked about, all at once. Answer with the options below, or with --answers; until then the file
    waits. What you say of a heading is remembered for the next file with the same headings.

    A file is merged as a whole or not at all, and nothing in the record is overwritten. With --why, the cells filled in
    in one FILE are corrections, as with trialkit correct. A form of another trial or another layout is refused. So is a
    row whose label code is of another trial, or whose column trial or layout_version says so. Originals are kept in
    DIR/returned. With - in place of a FILE, standard input is read as one. Questions about it are answered by the same
    call with the same input. Without FILE, the command finishes a merge that was interrupted, and lists open conflicts.

    With --take-back, what only that FILE told goes from the record again, as if it had never been merged. What another
    file told too stays, and so does what was corrected since. The original is kept, and it can be merged again.

    The exit status is 1 if a file was not merged or a conflict is open.

    Example: trialkit merge autumn_dose fern.xlsx mill.csv

    Example: trialkit merge autumn_dose --take-back fern.xlsx --why "it was of last season"
    """
    from trialkit.returns.answering import Given, given, read_answers
    from trialkit.returns.journal import Reason
    from trialkit.returns.merge_files import merge_files
    from trialkit.words.merge_words import merge_lines
    from trialkit.words.repair_words import told_merge

    if gone is not None:
        if files or dates or decimals or serials or weights or accept or heading or choose or answers_file:
            raise CallFailure("--take-back goes with --why and --by alone: leave the rest out.")
        return _taken_back(folder, gone, Reason(why or "", by, date.today()))
    options = {"dates": dates, "decimals": decimals, "serials": serials, "weights": weights}
    told = {name: value for name, value in options.items() if value is not None}
    told |= {"accept": accept, "headings": _pairs("--heading", heading), "choose": _pairs("--choose", choose)}
    answered = given(told, "options").or_else(read_answers(answers_file) if answers_file else Given())
    reason = None if why is None else Reason(why, by, date.today())
    outcome = merge_files(folder, _read_if_dash(files), answered, reason=reason)
    lines = merge_lines(outcome, str(folder))
    answer(told_merge(outcome), *(_line(one, is_asked=not outcome.ok) for one in lines))
    return DONE if outcome.ok else DATA_ERROR


def _taken_back(folder: Path, file: str, reason: Reason) -> int:
    from trialkit.returns.taking_back import take_back
    from trialkit.words.merge_words import take_back_lines

    outcome = take_back(folder, file, reason)
    lines = take_back_lines(outcome, str(folder))
    answer(outcome, *(AnswerLine(line, is_asked=not outcome.ok) for line in lines))
    return DONE if outcome.ok else DATA_ERROR


def _line(line: MergeLine, *, is_asked: bool) -> AnswerLine:
    """Colour a line by its verdict; what was repaired, and merged without a question, is told beside the answer."""
    if line.verdict is None:
        return AnswerLine(line.text, is_asked=is_asked)
    return AnswerLine(line.text, line.verdict, COLORS[line.verdict], is_asked and line.verdict != "repaired")


def _read_if_dash(files: tuple[Path, ...]) -> list[Path | bytes]:
    """Read standard input where it is asked for, before the trial's folder is held for it."""
    from trialkit.domain.reading_budget import RETURNED

    if files.count(DASH) > 1:
        raise CallFailure("- is given twice, and standard input can be read once only.")
    return [sys.stdin.buffer.read(RETURNED.file_bytes + 1) if one == DASH else one for one in files]


def _pairs(option: str, pairs: tuple[str, ...]) -> dict[str, str]:
    """Part names from what they are given; a name may hold an equals sign itself."""
    found: dict[str, str] = {}
    for text in pairs:
        name, equals, value = text.rpartition("=")
        if not equals:
            wanted = (
                "the conflict's ID, then =kept or =returned" if option == "--choose" else "the heading, then =COLUMN"
            )
            raise CallFailure(f"{option} {text} is not complete: write {wanted}.")
        if found.get(name, value) != value:
            raise CallFailure(f"{option} {name} is given as {found[name]} and as {value}: give it once.")
        found[name] = value
    return found
