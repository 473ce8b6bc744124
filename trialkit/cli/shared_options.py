"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.failures import CallFailure
from trialkit.tables.links import link_words, links_inside

KEPT_FOLDERS = ("forms", "results", "returned")
"""In a trial's folder, what trialkit reads and writes besides the files in it."""


def without_links(_: click.Context, __: click.Parameter, folder: Path | None) -> Path | None:
    """Refuse a trial's folder in which links stand: what a command reads and writes is to lie in it."""
    if folder and (links := links_inside(folder, KEPT_FOLDERS)):
        raise CallFailure("\n".join(map(link_words, links)))
    return folder


trial_folder = click.argument(
    "folder",
    metavar="DIR",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    callback=without_links,
)
by_whom = click.option(
    "--by", metavar="WHO", default="adviser", show_default=True, help="Who corrects: a role, not a name."
)
