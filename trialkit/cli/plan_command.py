"""``trialkit plan``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trialkit.cli.failures import speaks_plainly
from trialkit.cli.plan_steps import PAGE_FILE, plan_folder
from trialkit.cli.shared_options import as_json, trial_folder
from trialkit.cli.speaking import answer, tell

if TYPE_CHECKING:
    from trialkit.planning.trial_plan import Progress


@click.command("plan")
@trial_folder
@click.option(
    "--simulations",
    type=click.IntRange(100, 1_000_000),
    default=2000,
    show_default=True,
    help="Trials to simulate where power has no exact formula.",
)
@click.option("--scheduler", metavar="ADDRESS", help="Simulate on a Dask scheduler, such as tcp://office:8786.")
@click.option(
    "--earlier",
    metavar="DIR",
    type=click.Path(exists=True, path_type=Path),
    help="An analysed trial whose variances to plan with; common practice by default.",
)
@as_json
@speaks_plainly
def command(folder: Path, simulations: int, scheduler: str | None, earlier: Path | None, as_json: bool) -> None:
    """Plan the trial in DIR: what it can tell, what it needs and when things are due.

    Writes results/plan.json, results/plan.html and, where trial.toml gives a day of sowing, results/calendar.ics.
    The detectable difference, the power for the protocol's margin and the cost are worked out for the trial asked for
    and for sizes around it.

    Example: trialkit plan autumn_dose
    """
    from trialkit.documents.document import as_data
    from trialkit.words.plan_words import summary

    plan = plan_folder(folder, simulations=simulations, scheduler=scheduler, earlier=earlier, progress=_teller())
    after = f"Plan: {folder / 'results' / PAGE_FILE}", f"Next: trialkit layout {folder}"
    answer(as_data(plan), "\n".join([*summary(plan), *after]), as_json=as_json)


def _teller() -> Progress:
    """Show how far the work is: counted on one line of a terminal for each kind of work, else its name once."""
    last = ""

    def show(what: str, at: int, of: int) -> None:
        nonlocal last
        if what != last:
            tell(f"Working out: {what} ...", err=True)
        if of > 1 and sys.stderr.isatty():
            click.echo(f"\r{at} of {of} ", err=True, nl=at == of)
        last = what

    return show
