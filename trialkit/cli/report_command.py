"""``trialkit report``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.failures import CallFailure, DataFailure, speaks_plainly
from trialkit.cli.shared_options import as_json, trial_folder
from trialkit.cli.speaking import answer, tell
from trialkit.cli.steps import differences, write_report


@click.command("report")
@trial_folder
@click.option("--verify", is_flag=True, help="Write nothing. Analyse again and name what differs.")
@as_json
@speaks_plainly
def command(folder: Path, verify: bool, as_json: bool) -> None:
    """Write results/report.html for the trial in DIR, as one page that needs no network.

    Run trialkit analyse first. With --verify, the records are analysed again and compared with the results and the
    report. The exit status is then 1 if anything differs.

    Example: trialkit report autumn_dose --verify
    """
    if not verify:
        if as_json:
            raise CallFailure(
                "Give --json together with --verify only. The report is a page, and its numbers are in results.json."
            )
        tell(write_report(folder))
        return
    from trialkit.documents.answers import VerifyAnswer

    changed = differences(folder)
    if as_json or not changed:
        answer(
            VerifyAnswer(not changed, tuple(changed)),
            "The results and the report are what the records give.",
            as_json=as_json,
        )
    if changed:
        raise DataFailure("; ".join(changed))
