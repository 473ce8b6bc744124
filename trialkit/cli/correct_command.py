"""``trialkit correct``."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import CallFailure, speaks_plainly
from trialkit.cli.main import DATA_ERROR, DONE
from trialkit.cli.shared_options import by_whom, trial_folder
from trialkit.cli.speaking import AnswerLine, answer


@click.command("correct", cls=Command)
@trial_folder
@click.argument("bucket")
@click.argument("words", metavar="[HEAD] COLUMN=VALUE...", nargs=-1, required=True)
@click.option("--why", metavar="TEXT", required=True, help="The reason, for whoever asks later.")
@by_whom
@click.option(
    "--on", "measured_on", metavar="DATE", help="Day of the reading, where a bucket has several in solution.csv."
)
@speaks_plainly
def command(folder: Path, bucket: str, words: tuple[str, ...], why: str, by: str, measured_on: str | None) -> int:
    """Put one record of the trial in DIR right, and keep what it said before.

    Who corrected it, when and why are kept, too. With HEAD, the row of that head in heads.csv is corrected. Without
    HEAD, it is the bucket's row in solution.csv. Write a VALUE as in a returned file; write nothing after the equals
    sign to empty the cell. Either every value is corrected or none is. A correction settles a conflict about the same
    cell. To correct many values, or visits.csv, merge a file: trialkit merge DIR FILE --why TEXT.

    The exit status is 1 if a value cannot be read, or contradicts the rest of its row.

    Example: trialkit correct autumn_dose 334X 2 weight_g=142 --why "read 241"
    """
    from trialkit.returns.correcting import Wanted, correct
    from trialkit.returns.journal import Reason
    from trialkit.words.merge_words import correct_lines
    from trialkit.words.repair_words import told_correct

    head, values = _row_and_values(words, measured_on)
    outcome = correct(folder, Wanted(bucket, head, measured_on, values), Reason(why, by, date.today()))
    told = correct_lines(outcome, str(folder))
    answer(told_correct(outcome), *(AnswerLine(text, is_asked=not outcome.ok) for text in told))
    return DONE if outcome.ok else DATA_ERROR


def _row_and_values(words: tuple[str, ...], measured_on: str | None) -> tuple[str | None, dict[str, str]]:
    """Tell the head from the values."""
    head = None if "=" in words[0] else words[0]
    values: dict[str, str] = {}
    for word in words[head is not None :]:
        name, equals, text = word.partition("=")
        if not equals:
            raise CallFailure(f"{word} is not COLUMN=VALUE: write a column and its value, such as weight_g=142.")
        if name in values:
            raise CallFailure(f"{name} is given twice: give it once.")
        values[name] = text
    if not values:
        raise CallFailure("Say what to correct: COLUMN=VALUE, such as weight_g=142.")
    if head is not None and measured_on is not None:
        raise CallFailure("--on is a day of solution.csv, and HEAD a row of heads.csv: leave one of them out.")
    return head, values
