"""``trialkit plan``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import speaks_plainly
from trialkit.cli.shared_options import trial_folder, without_links
from trialkit.cli.speaking import answer, notice, tell
from trialkit.steps.plan_steps import PAGE_FILE, plan_folder


@click.command("plan", cls=Command)
@trial_folder
@click.option(
    "--ledger",
    metavar="DIR",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    callback=without_links,
    help="Ledger, or one analysed trial, to plan from. If not given, plan by common practice.",
)
@click.option(
    "--earlier",
    metavar="DIR",
    type=click.Path(exists=True, path_type=Path),
    callback=without_links,
    help="An analysed trial whose variances (how much heads, buckets and gardens vary) to plan with.",
)
@click.option(
    "--simulations",
    type=click.IntRange(100, 10_000_000),
    help="Trials to simulate for the power, where no exact formula is known. If not given, a formula comes near.",
)
@click.option("--scheduler", metavar="ADDRESS", help="Simulate on this Dask scheduler, such as tcp://office:8786.")
@speaks_plainly
def command(
    folder: Path,
    ledger: Path | None,
    earlier: Path | None,
    simulations: int | None,
    scheduler: str | None,
) -> None:
    """Plan the trial in DIR: what it is worth, what it needs and when things are due.

    It tells what the next handout should gain by the trial you ask for, and by designs near it. It tells the cost and
    the power of each, too. It writes results/plan.html and results/plan.json. Where trial.toml gives a day of sowing,
    it writes results/calendar.ics, a file for your calendar.

    Example: trialkit plan autumn_dose
    """
    plan = plan_folder(
        folder,
        simulations=simulations,
        scheduler=scheduler,
        earlier=earlier,
        ledger=ledger,
        told=notice,
    )

    from trialkit.words.plan_words import summary

    answer(plan, *summary(plan))
    tell(f"Plan: {folder / 'results' / PAGE_FILE}\nNext: trialkit layout {folder}")
