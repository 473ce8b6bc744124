"""``trialkit analyse``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import ComputationFailure, speaks_plainly
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import answer, tell
from trialkit.steps.trial_steps import analyse_folder, reason_for_none


@click.command("analyse", cls=Command)
@trial_folder
@click.option(
    "--all-pairs", is_flag=True, help="Compare every pair of treatments, not only each with the current practice."
)
@speaks_plainly
def command(folder: Path, all_pairs: bool) -> None:
    """Analyse the checked trial in DIR and write results/results.json.

    Head weight and days to harvest are compared with the current practice. The answer says what to recommend and how
    sure that is. Buckets count, not heads: the model follows from how the treatments were given to buckets.

    Example: trialkit analyse autumn_dose
    """
    step = analyse_folder(folder, all_pairs=all_pairs)
    from trialkit.steps.summary import summary  # loads the analysis

    if step.results.decision is None:
        answer(step.results)
        raise ComputationFailure(f"{reason_for_none(step.results)} What could be said is in {step.path}.")
    answer(step.results, summary(step.results))
    tell(f"Written to {step.path}. Next: trialkit report {folder}")
