"""``trialkit demo``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import speaks_plainly
from trialkit.cli.speaking import answer, tell
from trialkit.steps.trial_steps import demo_steps


@click.command("demo", cls=Command)
@click.option(
    "--into",
    "folder",
    metavar="DIR",
    type=click.Path(path_type=Path),
    default="trialkit-demo",
    show_default=True,
    help="A new or empty folder, into which the trial goes.",
)
@speaks_plainly
def command(folder: Path) -> None:
    """Do the whole job on a bundled example, from the protocol to the report.

    The county and its records are invented. It takes about ten seconds.

    Example: trialkit demo --into autumn
    """
    from trialkit.documents.answers import DemoAnswer, DemoStep
    from trialkit.domain.progress import working_on
    from trialkit.protocol.starting import filled_at_once

    with filled_at_once(folder) as aside:
        steps, done = demo_steps(aside), []
        for number, step in enumerate(steps, 1):
            working_on(f"step {number} of {len(steps)}, {step.name}")
            done.append(DemoStep(step.name, step.run().replace(str(aside), str(folder))))
            tell(done[-1].sentences)
    answer(DemoAnswer(tuple(done)))
