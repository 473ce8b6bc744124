"""``trialkit desk``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.failures import CallFailure, speaks_plainly
from trialkit.cli.speaking import tell


@click.command("desk")
@click.argument(
    "folder", metavar="[FOLDER]", default=".", type=click.Path(exists=True, file_okay=False, path_type=Path)
)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port to listen at. If not given, a free one.")
@click.option("--no-browser", is_flag=True, help="Only tell the link; open it yourself.")
@click.option(
    "--idle-hours",
    type=click.FloatRange(0.01, 168),
    default=12.0,
    show_default=True,
    help="End by itself when no page was asked for in so many hours.",
)
@speaks_plainly
def command(folder: Path, port: int, no_browser: bool, idle_hours: float) -> None:
    """Do the whole job in your browser: FOLDER holds your trials and their ledger.

    It opens a page on this machine alone. Nothing leaves it, and only who has the link gets in. Whatever you do there
    a command can do too, and the page shows which. End it with the button Close the desk, or with Ctrl-C here.

    Example: trialkit desk trials
    """
    from trialkit.desk.serving import serve

    try:
        serve(
            folder.resolve(),
            port=port,
            idle_hours=idle_hours,
            told=lambda link: tell(f"The desk is open. If no browser comes up, open this link:\n{link}"),
            open_browser=not no_browser,
        )
    except OSError as error:
        raise CallFailure(f"The desk cannot listen at port {port}: {error.strerror}. Give another --port.") from error
