"""``trialkit report``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import CallFailure, DataFailure, speaks_plainly
from trialkit.cli.named_choice import NamedChoice
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import answer, tell
from trialkit.steps.trial_steps import differences, second_engine, write_report
from trialkit.words.phrases import count


@click.command("report", cls=Command)
@trial_folder
@click.option("--verify", is_flag=True, help="Write nothing. Analyse again and name what differs.")
@click.option(
    "--with",
    "engine",
    type=NamedChoice(["statsmodels"]),
    help="With --verify: fit the weights by this library too, and compare.",
)
@speaks_plainly
def command(folder: Path, verify: bool, engine: str | None) -> None:
    """Write results/report.html for the trial in DIR, as one page that needs no network.

    Run trialkit analyse first. With --verify, the records are analysed again and compared with the results and the
    report. The exit status is then 1 if anything differs.

    Example: trialkit report autumn_dose --verify --with statsmodels
    """
    if not verify:
        if engine:
            raise CallFailure("Give --with together with --verify: it compares and writes nothing.")
        tell(write_report(folder))
        return
    from trialkit.documents.answers import VerifyAnswer
    from trialkit.words.second_engine_words import second_engine_words

    changed = differences(folder)
    compared = second_engine(folder) if engine else ()
    apart = sum(not figure.agrees for one in compared for figure in one.figures)
    lines = [] if changed else ["The results and the report are what the records give."]
    lines += map(second_engine_words, compared)
    answer(VerifyAnswer(not changed and not apart, tuple(changed), compared), *lines)
    if apart:
        changed.append(f"{count(apart, 'figure')} of {engine} differ beyond the bound")
    if changed:
        raise DataFailure("; ".join(changed))
