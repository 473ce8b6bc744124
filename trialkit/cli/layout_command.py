"""``trialkit layout``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import speaks_plainly
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import answer, tell
from trialkit.steps.trial_steps import lay_out


@click.command("layout", cls=Command)
@trial_folder
@speaks_plainly
def command(folder: Path) -> None:
    """Draw which bucket of the trial in DIR gets which treatment, and write layout.csv.

    The seed in trial.toml decides every draw, so the same protocol gives the same layout. Until forms are printed you
    may add gardens to sites.csv, or take them out, and run the command again. With lots = "garden" under [layout], as
    trialkit new writes it, the other gardens then keep their lots and labels. Once forms are printed or anything is
    recorded, the layout is frozen and the command refuses to write another. After that, trialkit site lets a garden
    join or withdraw.

    Example: trialkit layout autumn_dose
    """
    drawn, sentences = lay_out(folder)
    answer(drawn)
    tell(f"{sentences}\nNext: trialkit forms {folder}")
