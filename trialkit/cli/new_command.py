"""``trialkit new``."""

from __future__ import annotations

from pathlib import Path

import click

from trialkit.cli.failures import speaks_plainly
from trialkit.cli.speaking import tell
from trialkit.cli.steps import copy_bundled, start_trial


class _Dose(click.ParamType[float]):
    """A number of teaspoons."""

    name = "number"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it, or say how it is written."""
        try:
            return float(value)
        except ValueError:
            wanted = "write --dose once for each, such as --dose 4 --dose 6"
            self.fail(f'"{value}" is not one number: {wanted}.', param, ctx)


DOSE = _Dose()


@click.command("new")
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--example", metavar="NAME", help="Copy a bundled trial, records included, such as autumn_dose.")
@click.option("--question", help="What should the trial find out?")
@click.option("--cultivar", "cultivars", multiple=True, help="A cultivar to try; repeat for each.")
@click.option("--dose", "doses", multiple=True, type=DOSE, help="A dose to try, level teaspoons a bucket; repeat.")
@click.option("--acidifier", "acidifiers", multiple=True, help="An acid to try, or none; repeat.")
@click.option("--nutrient", help="The product that the doses are of.")
@click.option("--site", "sites", multiple=True, help="Short name of a garden; repeat.")
@click.option("--current", multiple=True, help="What gardeners use now: once for each of cultivar, dose, acidifier.")
@click.option("--blocks", type=click.IntRange(1, 50), default=3, show_default=True, help="Blocks in each garden.")
@click.option("--seed", type=click.IntRange(0), help="Where every random draw starts; one is drawn if not given.")
@speaks_plainly
def command(folder: Path, example: str | None, **answers: object) -> None:
    """Start a trial folder DIR with a commented trial.toml and empty tables.

    Asks for whatever the options leave open: the question, what to try, the gardens and the current practice.

    Example: trialkit new practice --example autumn_dose

    Example: trialkit new spring --question "Which cultivar?" --site FERN --cultivar Fenleaf --cultivar Paleheart
    --current Fenleaf
    """
    tell(copy_bundled(folder, example) if example else start_trial(folder, answers))
