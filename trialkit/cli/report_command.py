"""``trialkit report``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.failures import DataFailure, speaks_plainly
from trialkit.cli.options import trial_folder
from trialkit.cli.steps import differences, write_report


@click.command("report")
@trial_folder
@click.option("--verify", is_flag=True, help="Write nothing; recompute from the inputs and name what differs.")
@speaks_plainly
def command(folder: Path, verify: bool) -> None:
    """Write results/report.html for the trial in DIR: one page, no network.

    Run trialkit analyse first. With --verify the inputs are analysed again and the files compared; exit status 1 if
    anything differs.

    Example: trialkit report autumn_dose
    """
    if not verify:
        click.echo(write_report(folder))
        return
    changed = differences(folder)
    if changed:
        raise DataFailure("; ".join(changed))
    click.echo("The results and the report are what the inputs give.")
