"""``trialkit county``."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import speaks_plainly
from trialkit.cli.named_choice import NamedChoice
from trialkit.cli.speaking import AnswerLine, answer
from trialkit.domain.units import Measures
from trialkit.languages import LANGUAGES


@click.command("county", cls=Command)
@click.argument(
    "folder", metavar="[FOLDER]", default=".", type=click.Path(exists=True, file_okay=False, path_type=Path)
)
@click.option("--name", metavar="TEXT", help="Name of the county.")
@click.option("--programme", metavar="TEXT", help="Name of the programme that gives out the handout.")
@click.option("--contact", metavar="TEXT", help="Whom gardeners can ask, and how.")
@click.option("--sowing", metavar="TEXT", help="When to sow here, in a sentence in the county's language.")
@click.option("--logo", metavar="FILE.png", help="Logo, a PNG picture. It is copied into FOLDER.")
@click.option("--language", type=NamedChoice(LANGUAGES), help="Language of the handout.")
@click.option("--measures", type=NamedChoice(get_args(Measures)), help="Measures that new trials are told in.")
@click.option("--publisher", metavar="TEXT", help="Who makes data of its trials public.")
@click.option("--licence", metavar="TEXT", help="Licence of the data: CC-BY-4.0 or CC0-1.0.")
@click.option("--licence-holder", metavar="TEXT", help="Whose the data are.")
@click.option("--country", metavar="XX", help="Where the gardens are: the two letters of ISO 3166-1.")
@click.option("--people", metavar="FILE", help="List of who had a part in the trials: CSV, or cells copied.")
@speaks_plainly
def command(folder: Path, **changes: str | None) -> None:
    """Set the county that the handout names, or show what is set.

    It writes FOLDER/county.toml and, with --logo, FOLDER/county-logo.png. FOLDER is the current folder if you name
    none. What you set holds for a ledger or trial in FOLDER, and for those in the folders right below it. One that has
    a county.toml of its own goes by that. An option that you leave out changes nothing; an empty text takes away what
    was set. Without county.toml, pages name no county.

    From --publisher to --people it is what data packages (trialkit pack) tell where a trial.toml says nothing. The list
    of people has columns name, roles, orcid, affiliation and organisation; an empty file takes them all away.

    Example: trialkit county --name "Larkmoor County" --programme "Garden Advice" --contact "Horticulture desk"

    Example: trialkit county --sowing "Sow in mid March or in late August." --logo emblem.png
    """
    from trialkit.steps.county_steps import set_county, show_county

    given = {key: value for key, value in changes.items() if value is not None}
    document, text = set_county(folder, given) if given else show_county(folder)
    answer(document, AnswerLine(text, is_asked=not given))
