"""``trialkit pack``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.failures import speaks_plainly
from trialkit.cli.pack_steps import pack_folder
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import tell


@click.command("pack")
@trial_folder
@click.option("--into", metavar="ZIP", type=click.Path(dir_okay=False, path_type=Path), help="The file to write.")
@click.option(
    "--licence",
    type=click.Choice(["CC-BY-4.0", "CC0-1.0"]),
    default="CC-BY-4.0",
    show_default=True,
    help="Under which others may use the data.",
)
@speaks_plainly
def command(folder: Path, into: Path | None, licence: str) -> None:
    """Pack the checked trial in DIR as open data: a Frictionless Data Package, which others can analyse again.

    Names of gardens and notes go in as they stand: look at them before you publish.

    Example: trialkit pack autumn_dose
    """
    tell(pack_folder(folder, into, licence))
