"""``trialkit forms``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import speaks_plainly
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import answer, tell
from trialkit.steps.forms_steps import write_forms


@click.command("forms", cls=Command)
@trial_folder
@speaks_plainly
def command(folder: Path) -> None:
    """Write what the gardens of the trial in DIR need, into DIR/forms.

    Each garden gets three files. pack-SITE.html is to print: cautions, calendar, map, care, bucket cards and record
    sheets. record-SITE.xlsx is to fill in on a computer. phone-SITE.html is a form that works on a phone without a
    network. You get adviser.html with every map and mixing card. From then on the layout is frozen. With blind = true
    under [trial] in trial.toml, only adviser.html names treatments.

    Example: trialkit forms autumn_dose
    """
    from trialkit.documents.answers import FormsAnswer

    written = write_forms(folder)
    answer(FormsAnswer(tuple(path.relative_to(folder).as_posix() for path in written.left_over)))
    tell("\n".join([*written.sentences, f"Next, when records come back: trialkit merge {folder} FILE..."]))
