"""``trialkit correct``."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from trialkit.cli.failures import CallFailure, speaks_plainly
from trialkit.cli.main import DATA_ERROR, DONE
from trialkit.cli.shared_options import as_json, by_whom, trial_folder
from trialkit.cli.speaking import answer


@click.command("correct")
@trial_folder
@click.argument("bucket")
@click.argument("words", metavar="[HEAD] COLUMN=VALUE...", nargs=-1, required=True)
@click.option("--why", metavar="TEXT", required=True, help="The reason, as you would tell it to whoever asks.")
@by_whom
@click.option("--on", "measured_on", metavar="DATE", help="Day of the solution, where a bucket has several.")
@as_json
@speaks_plainly
def command(
    folder: Path, bucket: str, words: tuple[str, ...], why: str, by: str, measured_on: str | None, as_json: bool
) -> int:
    """Put one record of the trial in DIR right, and remember what it said before, who corrected it, when and why.

    With HEAD it is that head's row of heads.csv, else the bucket's row of solution.csv. A VALUE is read as in a
    returned file; nothing after the equals sign empties the cell. All is corrected or nothing. A conflict on the same
    cell is settled by it, and a return that says again what was corrected is no conflict any more. Many values at once,
    and visits.csv, are put right by a file: trialkit merge DIR FILE --why TEXT.

    Exit status 1 if a value was not read, or would contradict the rest of its row.

    Example: trialkit correct autumn_dose 334X 2 weight_g=142 --why "read 241"
    """
    from trialkit.returns.correcting import Wanted, correct
    from trialkit.returns.journal import Reason
    from trialkit.words.merge_words import correct_lines
    from trialkit.words.repair_words import told_correct

    head, values = _row_and_values(words, measured_on)
    outcome = correct(folder, Wanted(bucket, head, measured_on, values), Reason(why, by, date.today()))
    told = "\n".join(correct_lines(outcome, str(folder)))
    answer(told_correct(outcome), told, as_json=as_json)
    return DONE if outcome.ok else DATA_ERROR


def _row_and_values(words: tuple[str, ...], measured_on: str | None) -> tuple[str | None, dict[str, str]]:
    """Tell the head from the values."""
    head = None if "=" in words[0] else words[0]
    values: dict[str, str] = {}
    for word in words[head is not None :]:
        name, equals, text = word.partition("=")
        if not equals:
            raise CallFailure(f"{word}: write COLUMN=VALUE, such as weight_g=142.")
        if name in values:
            raise CallFailure(f"{name} is given twice.")
        values[name] = text
    if not values:
        raise CallFailure("Say what to correct: COLUMN=VALUE, such as weight_g=142.")
    if head is not None and measured_on is not None:
        raise CallFailure("--on is the day of a solution: leave it out, or leave out HEAD.")
    return head, values
