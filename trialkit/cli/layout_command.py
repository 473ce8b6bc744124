"""``trialkit layout``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.failures import speaks_plainly
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import tell
from trialkit.cli.steps import lay_out


@click.command("layout")
@trial_folder
@speaks_plainly
def command(folder: Path) -> None:
    """Randomise the trial in DIR and write layout.csv.

    The seed in trial.toml decides every draw, so the same protocol gives the same layout. With lots = "garden" under
    [layout], which trialkit new writes, a garden's lots and labels are its own: until forms are printed gardens may be
    written into sites.csv or taken out, and the command run again. Once forms are printed or anything is recorded the
    layout is frozen, and the command refuses to write another; trialkit site lets a garden join or withdraw then.

    Example: trialkit layout autumn_dose
    """
    tell(f"{lay_out(folder)}\nNext: trialkit forms {folder}")
