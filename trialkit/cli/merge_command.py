"""``trialkit merge``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trialkit.cli.failures import CallFailure, speaks_plainly
from trialkit.cli.main import DATA_ERROR, DONE
from trialkit.cli.shared_options import as_json, trial_folder
from trialkit.cli.speaking import answer

if TYPE_CHECKING:
    from trialkit.documents.returns import Choice

COLOURS = {"repaired": "green", "question": "yellow", "refused": "red"}


@click.command("merge")
@trial_folder
@click.argument("files", metavar="[FILE]...", nargs=-1, type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--dates", type=click.Choice(["day-first", "month-first", "year-first"]), help="Order in dates such as 03/04/26."
)
@click.option("--decimals", type=click.Choice(["comma", "point"]), help="Decimal separator in numbers such as 1,152.")
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
    overwritten. A form of another trial or layout is refused, and so are rows that say so: by the codes of labels, or
    in columns trial and layout_version of a CSV file. Originals are kept in DIR/returned. Without FILE, an interrupted
    merge is finished and open conflicts are listed.

    Exit status 1 if a file was not merged or a conflict is open.

    Example: trialkit merge autumn_dose fern.xlsx mill.csv
    """
    from trialkit.documents.returns import Answers
    from trialkit.returns.merge_files import merge_files
    from trialkit.words.merge_words import merge_lines
    from trialkit.words.repair_words import told_merge

    answers = Answers(dates, decimals, serials, weights, _rules(accept))
    outcome = merge_files(folder, files, answers=answers, choices=_choices(choose))
    if as_json:
        answer(told_merge(outcome), "", as_json=True)
    else:
        for line in merge_lines(outcome, str(folder)):
            label = f"{click.style(line.verdict, fg=COLOURS[line.verdict], bold=True)}: " if line.verdict else ""
            click.echo(f"{label}{line.text}")
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
