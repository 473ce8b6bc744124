"""``trialkit new``."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
from click.core import ParameterSource

from trialkit.cli.conversation import Command
from trialkit.cli.failures import speaks_plainly
from trialkit.cli.shared_options import without_links
from trialkit.cli.speaking import answer, tell
from trialkit.domain.thresholds import MOST_BLOCKS
from trialkit.protocol.starting import dose_from
from trialkit.steps.following_steps import start_following
from trialkit.steps.trial_steps import copy_bundled, started
from trialkit.words.phrases import count


class _Dose(click.ParamType[float]):
    """A number of teaspoons."""

    name = "number"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Read it, or say how it is written."""
        try:
            return dose_from(value)
        except ValueError:
            wanted = "write --dose once for each dose, such as --dose 4 --dose 6"
            self.fail(f'"{value}" is not one number: {wanted}.', param, ctx)


DOSE = _Dose()


@click.command("new", cls=Command)
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--example", metavar="NAME", help="Copy a bundled trial with its records, such as autumn_dose.")
@click.option("--question", help="What should the trial find out?")
@click.option("--cultivar", "cultivars", multiple=True, help="A cultivar to try. Give it once for each.")
@click.option(
    "--dose", "doses", multiple=True, type=DOSE, help="A dose to try, level teaspoons a bucket. Give it once for each."
)
@click.option("--acidifier", "acidifiers", multiple=True, help="An acid to try, or none. Give it once for each.")
@click.option("--nutrient", help="The nutrient, as its bag names it.")
@click.option("--site", "sites", multiple=True, help="A garden, by a short name. Give it once for each.")
@click.option(
    "--current",
    multiple=True,
    help="What gardeners use now. Give it once for each of cultivar, dose and acid that you try.",
)
@click.option(
    "--blocks", type=click.IntRange(1, MOST_BLOCKS), default=3, show_default=True, help="Blocks in each garden."
)
@click.option(
    "--from",
    "source",
    metavar="LEDGER|TRIAL",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    callback=without_links,
    help="Start the trial that is worth most after these, with their gardens and products.",
)
@click.option(
    "--seed", type=click.IntRange(0), help="Number that decides every random draw. If not given, one is drawn."
)
@click.pass_context
@speaks_plainly
def command(ctx: click.Context, /, folder: Path, example: str | None, source: Path | None, **answers: Any) -> None:
    """Start a trial folder DIR with a commented trial.toml and empty tables.

    It asks for what the options leave open: the question, what to try, the gardens and the current practice. With
    --from, the trials of LEDGER or the analysed TRIAL answer instead. What to try, in how many gardens and blocks, is
    what is worth most within the limits of the newest trial. The current practice is then what is recommended now.

    Example: trialkit new practice --example autumn_dose

    Example: trialkit new spring --question "Which cultivar?" --site FERN --cultivar Fenleaf --cultivar Paleheart
    --current Fenleaf

    Example: trialkit new spring --from ledger
    """
    if source is not None:
        _refuse_others(ctx)
        sentences = start_following(folder, source, answers["seed"])
    else:
        sentences = copy_bundled(folder, example) if example else _start_trial(folder, answers)
    answer(started(folder))
    tell(sentences)


def _refuse_others(ctx: click.Context) -> None:
    """Refuse options that --from answers itself, by their names."""
    given = [
        max(one.opts, key=len)
        for one in ctx.command.params
        if one.name not in ("folder", "source", "seed")
        and ctx.get_parameter_source(str(one.name)) is not ParameterSource.DEFAULT
    ]
    if given:
        raise click.UsageError(
            f"--from answers what {' and '.join(given)} would. Leave this out, and change trial.toml afterwards."
        )


def _start_trial(folder: Path, answers: Mapping[str, Any]) -> str:
    """Start a trial folder from answers, asking for those that are missing."""
    from trialkit.cli.questions import Options, ask
    from trialkit.protocol import starting as new
    from trialkit.protocol.county import read_county

    new.refuse_if_filled(folder)
    block = read_county(folder)
    asked = ask(Options(**answers))
    measures = block.county.measures if block else asked.measures
    new.start_trial(folder, replace(asked, id=new.id_from(folder.resolve().name), measures=measures))
    treatments = math.prod(len(levels) or 1 for levels in (asked.cultivars, asked.doses, asked.acidifiers))
    blocks = f"{count(asked.blocks, 'block')} in {'it' if len(asked.sites) == 1 else 'each'}"
    return (
        f"Started {folder}: {count(treatments, 'treatment')} at {count(len(asked.sites), 'garden')}, {blocks}. Fill in "
        "the season and the days of sowing and start in trial.toml. Describe the gardens in sites.csv, and nutrient "
        f"and acid in products.csv. Next: trialkit plan {folder}"
    )
