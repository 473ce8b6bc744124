"""``trialkit recommend``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import speaks_plainly
from trialkit.cli.named_choice import NamedChoice
from trialkit.cli.speaking import answer, tell
from trialkit.languages import LANGUAGES
from trialkit.steps.evidence_steps import recommend_from


@click.command("recommend", cls=Command)
@click.argument("ledger", metavar="LEDGER", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--language",
    "languages",
    type=NamedChoice(LANGUAGES),
    multiple=True,
    help="Language of the pages for gardeners; several times for several. The county's if not given.",
)
@speaks_plainly
def command(ledger: Path, languages: tuple[str, ...]) -> None:
    """Work out the recommended defaults from all trials in LEDGER, and write the handout for gardeners.

    It writes into LEDGER. handout.html is the handout, and care.html tells how to set up a bucket and look after it.
    What does not fit on the front of the handout stands on its back: print it on both sides. handout_large.html is in
    large print. All three also come as tagged PDF on A4 and Letter, if WeasyPrint is installed (pip install
    weasyprint). They name the county that trialkit county set. A further language has its own files, such as
    handout-es.html. Those of a language that is not asked for again are taken away. recommended.json is for programs.
    Every version is kept in LEDGER/history. There is a new version only when the evidence changed.

    Example: trialkit recommend ledger

    Example: trialkit recommend ledger --language en --language es
    """
    document, asked, done = recommend_from(ledger, languages)
    answer(document, asked)
    tell(done)
