"""``trialkit analyse``."""

from __future__ import annotations

import json
from pathlib import Path

import click

from trialkit.cli.failures import speaks_plainly
from trialkit.cli.options import as_json, trial_folder
from trialkit.cli.steps import analyse_folder


@click.command("analyse")
@trial_folder
@as_json
@speaks_plainly
def command(folder: Path, as_json: bool) -> None:
    """Analyse the checked trial in DIR and write results/results.json.

    The model follows from how the trial was randomised; buckets are the replicates. Head weight and days to harvest
    are compared with the current practice, and a verdict says what to recommend and how sure.

    Example: trialkit analyse autumn_dose
    """
    step = analyse_folder(folder)
    click.echo(json.dumps(step.document, indent=2, ensure_ascii=False) if as_json else step.sentence)
