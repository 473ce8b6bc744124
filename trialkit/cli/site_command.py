"""``trialkit site``."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import CallFailure, speaks_plainly
from trialkit.cli.named_choice import NamedChoice
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import answer, tell
from trialkit.domain.thresholds import MOST_BLOCKS
from trialkit.languages import LANGUAGES


@click.command("site", cls=Command)
@trial_folder
@click.argument("name")
@click.option("--add", is_flag=True, help="The garden joins. Its lots are drawn; those of the others stay as they are.")
@click.option("--withdraw", is_flag=True, help="The garden gives up. Its records stay; no more are asked for.")
@click.option("--rejoin", is_flag=True, help="A garden that gave up takes part again. Its lots are as they were.")
@click.option(
    "--blocks",
    type=click.IntRange(1, MOST_BLOCKS),
    help="Blocks of a garden that joins. If not given, as many as the others have.",
)
@click.option(
    "--language",
    type=NamedChoice(LANGUAGES),
    help="Language of what its volunteers get, for sites.csv. If not given, that of the trial.",
)
@click.option("--why", metavar="TEXT", required=True, help="The reason, for whoever asks later.")
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Day of the change. If not given, today.")
@speaks_plainly
def command(
    folder: Path,
    name: str,
    add: bool,
    withdraw: bool,
    rejoin: bool,
    blocks: int | None,
    language: str | None,
    why: str,
    on: datetime | None,
) -> None:
    """Let the garden NAME join the trial in DIR, withdraw from it, or rejoin it.

    Use it once forms are printed or anything is recorded, when the layout is frozen. A garden that joins gets lots of
    its own, at the end of layout.csv, and a row in sites.csv if it has none there. If a garden withdraws, its records
    stay; heads without a record are left out, as if they had no row. One that rejoins is asked for all of them again.
    Each change goes into amendments.csv with its day and reason. It makes a new version of the layout; forms of earlier
    versions can still be merged.

    Example: trialkit site autumn_dose MILL --add --why "a teacher asked to join"

    Example: trialkit site autumn_dose MILL --add --language es --why "a teacher asked to join"

    Example: trialkit site autumn_dose FERN --withdraw --why "moved away"

    Example: trialkit site autumn_dose FERN --rejoin --why "a neighbour took it over"
    """
    from trialkit.returns.amending import add_garden, rejoin_garden, withdraw_garden
    from trialkit.words.layout_words import site_lines

    if add + withdraw + rejoin != 1:
        raise CallFailure("Say what the garden does: give one of --add, --withdraw and --rejoin.")
    if not add and blocks:
        raise CallFailure("--blocks is for a garden that joins: leave it out.")
    if not add and language:
        raise CallFailure("--language is for a garden that joins: leave it out.")
    day = on.date() if on else date.today()
    if add:
        made = add_garden(folder, name, blocks=blocks, language=language, why=why, on=day)
    else:
        made = (rejoin_garden if rejoin else withdraw_garden)(folder, name, why=why, on=day)
    answer(made)
    tell("\n".join(site_lines(made, str(folder))))
