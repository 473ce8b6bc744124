"""``trialkit plan``."""

from __future__ import annotations

from functools import partial
from pathlib import Path

import click

from trialkit.cli.failures import speaks_plainly
from trialkit.cli.plan_steps import PAGE_FILE, plan_folder
from trialkit.cli.shared_options import as_json, trial_folder, without_links
from trialkit.cli.speaking import answer, progress_told, tell


@click.command("plan")
@trial_folder
@click.option(
    "--ledger",
    metavar="DIR",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    callback=without_links,
    help="Ledger, or one analysed trial, that this one goes on from; common practice by default.",
)
@click.option(
    "--earlier",
    metavar="DIR",
    type=click.Path(exists=True, path_type=Path),
    callback=without_links,
    help="An analysed trial whose variances to plan with.",
)
@click.option(
    "--simulations",
    type=click.IntRange(100, 10_000_000),
    help="Trials to simulate for the power, where it has no exact formula; by an approximate one otherwise.",
)
@click.option("--scheduler", metavar="ADDRESS", help="Simulate on a Dask scheduler, such as tcp://office:8786.")
@as_json
@speaks_plainly
def command(
    folder: Path,
    ledger: Path | None,
    earlier: Path | None,
    simulations: int | None,
    scheduler: str | None,
    as_json: bool,
) -> None:
    """Plan the trial in DIR: what it is worth, what it needs and when things are due.

    Writes results/plan.json, results/plan.html and, where trial.toml gives a day of sowing, results/calendar.ics.
    The expected gain of the next handout, the cost and the power are worked out for the trial asked for and for
    designs around it.

    Example: trialkit plan autumn_dose
    """
    plan = plan_folder(
        folder,
        simulations=simulations,
        scheduler=scheduler,
        earlier=earlier,
        ledger=ledger,
        told=partial(tell, err=True),
        progress=progress_told(),
    )

    from trialkit.documents.document import as_data
    from trialkit.words.plan_words import summary

    after = f"Plan: {folder / 'results' / PAGE_FILE}", f"Next: trialkit layout {folder}"
    answer(as_data(plan), "\n".join([*summary(plan), *after]), as_json=as_json)
