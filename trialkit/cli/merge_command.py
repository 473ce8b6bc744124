"""``trialkit merge``."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from trialkit.cli.failures import CallFailure, speaks_plainly
from trialkit.cli.main import DATA_ERROR, DONE
from trialkit.cli.shared_options import as_json, by_whom, trial_folder
from trialkit.cli.speaking import answer

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
@click.option(
    "--heading", metavar="TEXT=COLUMN", multiple=True, help="Say which column a heading stands for; none: left out."
)
@click.option("--choose", metavar="ID=kept|returned", multiple=True, help="Settle a conflict (repeat).")
@click.option(
    "--answers",
    "answers_file",
    metavar="FILE",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Take answers from this file, in TOML, with the names of the options above.",
)
@click.option("--why", metavar="TEXT", help="Take what FILE says otherwise as corrections, for this reason.")
@by_whom
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
    heading: tuple[str, ...],
    choose: tuple[str, ...],
    answers_file: Path | None,
    why: str | None,
    by: str,
    as_json: bool,
) -> int:
    """Merge returned files into the record of the trial in DIR.

    A FILE is a record workbook, a CSV file, or what a phone form saved (also its text, pasted into a file). What can be
    read in one way only is repaired, and each repair is told; what can be read in two ways is asked about, all of it at
    once, and the file waits until options or --answers answer. What headings stand for is remembered for the next file
    with the same ones. A file is merged as a whole or not at all; nothing in the record is ever
    overwritten, unless --why gives the reason: the cells filled in in one FILE are then corrections, as by trialkit
    correct. A form of another trial or layout is refused, and so are rows that say so: by the codes of labels, or in
    columns trial and layout_version of a CSV file. Originals are kept in DIR/returned. Without FILE, an interrupted
    merge is finished and open conflicts are listed.

    Exit status 1 if a file was not merged or a conflict is open.

    Example: trialkit merge autumn_dose fern.xlsx mill.csv
    """
    from trialkit.returns.answering import Given, given, read_answers
    from trialkit.returns.journal import Reason
    from trialkit.returns.merge_files import merge_files
    from trialkit.words.merge_words import merge_lines
    from trialkit.words.repair_words import told_merge

    options = {"dates": dates, "decimals": decimals, "serials": serials, "weights": weights}
    told = {name: value for name, value in options.items() if value is not None}
    told |= {"accept": accept, "headings": _pairs("--heading", heading), "choose": _pairs("--choose", choose)}
    answered = given(told, "options").or_else(read_answers(answers_file) if answers_file else Given())
    reason = None if why is None else Reason(why, by, date.today())
    outcome = merge_files(folder, files, answered, reason=reason)
    if as_json:
        answer(told_merge(outcome), "", as_json=True)
    else:
        for line in merge_lines(outcome, str(folder)):
            label = f"{click.style(line.verdict, fg=COLOURS[line.verdict], bold=True)}: " if line.verdict else ""
            click.echo(f"{label}{line.text}")
    return DONE if outcome.ok else DATA_ERROR


def _pairs(option: str, pairs: tuple[str, ...]) -> dict[str, str]:
    """Part names from what they are given; a name may hold an equals sign itself."""
    found: dict[str, str] = {}
    for text in pairs:
        name, equals, value = text.rpartition("=")
        if not equals:
            wanted = (
                "the conflict's ID, then =kept or =returned" if option == "--choose" else "the heading, then =COLUMN"
            )
            raise CallFailure(f"{option} {text}: write {wanted}.")
        if found.get(name, value) != value:
            raise CallFailure(f"{option} {name}: {found[name]} and {value} cannot both be meant.")
        found[name] = value
    return found
