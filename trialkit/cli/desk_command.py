"""``trialkit desk``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Command, conversation
from trialkit.cli.failures import CallFailure, speaks_plainly
from trialkit.cli.speaking import answer, notice


@click.command("desk", cls=Command)
@click.argument("folder", metavar="[FOLDER]", default=".", type=click.Path(file_okay=False, path_type=Path))
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
    """Do the whole job in your browser: FOLDER holds your trials and their ledger, and is made if need be.

    It opens a page on this machine alone. Nothing leaves it, and only who has the link gets in. Whatever you do there
    a command can do too, and the page shows which. End it with the button Close the desk, or with Ctrl-C here.

    Example: trialkit desk trials
    """
    from trialkit.desk.serving import listen, serve

    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise CallFailure(f"The folder {folder} is not there and cannot be made: {error.strerror}.") from error
    conversation().folder = folder
    try:
        listening = listen(port)
    except OSError as error:
        raise CallFailure(f"The desk cannot listen at port {port}: {error.strerror}. Give another --port.") from error
    serve(folder.resolve(), listening, idle_hours=idle_hours, told=_tell_link, with_browser=not no_browser)


def _tell_link(link: str) -> None:
    """Tell the link at once; a program gets its document when all is done, so it is told beside that."""
    from trialkit.documents.answers import DeskAnswer

    words = "The desk is open. If no browser comes up, open this link:", link
    if conversation().as_json:
        notice("\n".join(words))
    answer(DeskAnswer(link.partition("/open")[0]), *words)
