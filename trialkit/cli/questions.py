"""The few questions that start a trial, asked only where an option did not answer them."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass

import click

from trialkit.trial.new import NewTrial

LARGEST_SEED = 10**8

Levels = dict[str, Sequence[str] | Sequence[float]]


@dataclass(frozen=True)
class Options:
    """What the command line said; None or empty where it said nothing."""

    question: str | None
    cultivars: tuple[str, ...]
    doses: tuple[float, ...]
    acidifiers: tuple[str, ...]
    sites: tuple[str, ...]
    current: tuple[str, ...]
    nutrient: str | None
    blocks: int
    seed: int | None


def ask(options: Options) -> NewTrial:
    """Complete the options by asking, in the order in which an adviser thinks of them."""
    question = options.question or click.prompt("What should the trial find out?")
    tried = (*options.cultivars, *options.doses, *options.acidifiers)
    cultivars = options.cultivars if tried else _list("Cultivars to try, separated by commas (empty for none)")
    doses = options.doses if tried else _numbers("Doses to try, teaspoons a bucket, such as 2, 4, 6 (empty for none)")
    acidifiers = (
        options.acidifiers if tried else _list("Acids to try, such as white vinegar 5 %, none (empty for none)")
    )
    doses = tuple(sorted(set(doses)))
    cultivars, acidifiers = (tuple(dict.fromkeys(levels)) for levels in (cultivars, acidifiers))
    nutrient = options.nutrient or (click.prompt("Nutrient that the doses are of") if doses else "")
    sites = options.sites or _list("Gardens, a short name for each, separated by commas")
    repeated = sorted({site for site in sites if sites.count(site) > 1})
    if repeated or not sites:
        raise click.UsageError(f"Each garden needs a name of its own: {', '.join(repeated) or 'none was given'}.")
    varied: Levels = {"cultivar": cultivars, "dose": doses, "acidifier": acidifiers}
    practice = _practice(varied, options.current)
    return NewTrial(
        question=question,
        cultivars=cultivars,
        doses=doses,
        acidifiers=acidifiers,
        sites=sites,
        current_practice=practice,
        seed=secrets.randbelow(LARGEST_SEED) if options.seed is None else options.seed,
        blocks=options.blocks,
        nutrient=nutrient,
    )


def _practice(levels_by_factor: Levels, given: Sequence[str]) -> dict[str, str | float]:
    """Which level of each varied factor gardeners use now."""
    varied = {name: levels for name, levels in levels_by_factor.items() if len(levels) > 1}
    if not varied:
        raise click.UsageError("Nothing varies: give two or more cultivars, doses or acids to compare.")
    if given and len(given) != len(varied):
        raise click.UsageError(f"Give --current once for each of: {', '.join(varied)}.")
    practice: dict[str, str | float] = {}
    for position, (name, levels) in enumerate(varied.items()):
        names = {f"{level:g}" if isinstance(level, float) else level: level for level in levels}
        choice = given[position] if given else click.prompt(f"Current {name}", type=click.Choice(list(names)))
        if choice not in names:
            raise click.UsageError(f"--current {choice} is not a {name} of the trial: {', '.join(names)}.")
        practice[name] = names[choice]
    return practice


def _list(prompt: str) -> tuple[str, ...]:
    answer = click.prompt(prompt, default="", show_default=False)
    return tuple(part.strip() for part in answer.split(",") if part.strip())


def _numbers(prompt: str) -> tuple[float, ...]:
    while True:
        try:
            return tuple(float(part) for part in _list(prompt))
        except ValueError:
            click.echo("Write numbers with a point before decimals, separated by commas.", err=True)
