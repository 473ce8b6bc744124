"""``trialkit check``."""

from __future__ import annotations

import json
from pathlib import Path

import click

from trialkit.cli.failures import show_problems, speaks_plainly
from trialkit.cli.main import DATA_ERROR, DONE
from trialkit.cli.options import as_json, trial_folder
from trialkit.cli.steps import check_sentence


@click.command("check")
@trial_folder
@as_json
@speaks_plainly
def command(folder: Path, as_json: bool) -> int:
    """Find every problem in the trial folder DIR at once.

    Each problem names the file, the row as a spreadsheet shows it, the column, what was found, what was expected and
    how to mend it. Nothing is changed. Exit status 1 if any is an error; warnings alone leave it 0.

    Example: trialkit check autumn_dose
    """
    from trialkit.trial.check import check_trial

    result = check_trial(folder)
    if as_json:
        document = {"ok": result.ok, "problems": [problem.as_dict() for problem in result.problems]}
        click.echo(json.dumps(document, indent=2, ensure_ascii=False))
    else:
        show_problems(result.problems, err=False)
        click.echo(check_sentence(result))
    return DONE if result.ok else DATA_ERROR
