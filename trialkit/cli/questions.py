"""The few questions that start a trial, asked only where an option did not answer them."""

from __future__ import annotations

import secrets
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import click

from trialkit.cli.conversation import conversation
from trialkit.cli.failures import CallFailure
from trialkit.protocol.starting import LARGEST_SEED, NewTrial, dose_from, fault_of_sites, toml_value
from trialkit.tables.nearest import meant
from trialkit.words.factor_words import LEVELS_QUESTIONS
from trialkit.words.phrases import listed

NOTHING_VARIES = "Nothing varies, so there is nothing to compare: give two or more cultivars, doses or acids."


class Levels(NamedTuple):
    """What is tried of each factor, in the protocol's names and order."""

    cultivar: tuple[str, ...]
    dose: tuple[float, ...]
    acidifier: tuple[str, ...]


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
    """Complete the options by asking, in the order in which an adviser thinks of them.

    What does not fit is asked again, unless it came as an option: then the call is wrong. So it is where nobody can be
    asked and options are missing.
    """
    if not conversation().may_ask:
        _refuse_what_is_open(options)
    question = options.question or _asked("What should the trial find out?")
    levels = _levels(options)
    cultivars, doses, acidifiers = levels
    nutrient = options.nutrient or (_asked("Nutrient, as its bag names it") if doses else "")
    sites = _sites(options.sites)
    return NewTrial(
        question=question,
        cultivars=cultivars,
        doses=doses,
        acidifiers=acidifiers,
        sites=sites,
        current_practice=_practice(levels, options.current),
        seed=secrets.randbelow(LARGEST_SEED) if options.seed is None else options.seed,
        blocks=options.blocks,
        nutrient=nutrient,
    )


def _refuse_what_is_open(options: Options) -> None:
    """Refuse options that do not fit, then say which are missing."""
    levels = _levels(options) if any((options.cultivars, options.doses, options.acidifiers)) else None
    if options.sites:
        _sites(options.sites)
    if levels and options.current:
        _practice(levels, options.current)
    if missing := tuple(_missing(options)):
        raise CallFailure(
            f"Nobody can be asked here, so give these options, too: {listed(missing)}. "
            "To be asked, run the command in a terminal, without --no-input and --json."
        )


def _missing(options: Options) -> Iterator[str]:
    """Name the options that would have to be asked for."""
    levels = Levels(options.cultivars, options.doses, options.acidifiers)
    if not options.question:
        yield "--question"
    if not any(levels):
        yield "two or more of --cultivar, --dose or --acidifier"
    if options.doses and not options.nutrient:
        yield "--nutrient"
    if not options.sites:
        yield "--site"
    if not options.current:
        varied = [name for name, levels in _each_once(levels)._asdict().items() if len(levels) > 1]
        yield f"--current for {listed(varied)}" if varied else "--current"


def _levels(options: Options) -> Levels:
    """What is tried, each level once, doses increasing; at least one factor has two."""
    given = Levels(options.cultivars, options.doses, options.acidifiers)
    levels = _each_once(given if any(given) else _ask_levels())
    while not any(len(factor) > 1 for factor in levels):
        if any(given):
            raise click.UsageError(NOTHING_VARIES)
        click.echo(NOTHING_VARIES, err=True)
        levels = _each_once(_ask_levels())
    return levels


def _ask_levels() -> Levels:
    return Levels(
        _list(LEVELS_QUESTIONS["cultivar"]),
        _numbers(LEVELS_QUESTIONS["dose"]),
        _list(LEVELS_QUESTIONS["acidifier"]),
    )


def _each_once(levels: Levels) -> Levels:
    cultivars, acidifiers = (tuple(dict.fromkeys(names)) for names in (levels.cultivar, levels.acidifier))
    return Levels(cultivars, tuple(sorted(set(levels.dose))), acidifiers)


def _sites(given: tuple[str, ...]) -> tuple[str, ...]:
    """Names of the gardens, as sites.csv takes them."""
    while True:
        sites = given or _list("Gardens, a short name for each, such as FERN, MILL (separated by commas)")
        fault = fault_of_sites(sites)
        if not fault:
            return sites
        if given:
            raise click.UsageError(str(fault))
        click.echo(str(fault), err=True)


def _practice(levels: Levels, given: Sequence[str]) -> dict[str, str | float]:
    """Which level of each varied factor gardeners use now."""
    varied = {name: factor for name, factor in levels._asdict().items() if len(factor) > 1}
    if given and len(given) != len(varied):
        raise click.UsageError(f"Give --current once for each of: {', '.join(varied)}.")
    practice: dict[str, str | float] = {}
    left = list(given)
    for name, factor in varied.items():
        names = {toml_value(level) if isinstance(level, float) else level: level for level in factor}
        by_name = {text.casefold(): text for text in names}
        if not given:
            choice = click.prompt(f"Current {name}", type=click.Choice(list(names), case_sensitive=False))
        else:
            found = next((text for text in left if text.casefold() in by_name), None)
            if found is None:
                hint = "".join(dict.fromkeys(meant(text, names) for text in left))
                raise click.UsageError(
                    f"--current names no {name} of the trial. Choose one of: {', '.join(names)}.{hint}"
                )
            left.remove(found)
            choice = by_name[found.casefold()]
        practice[name] = names[choice]
    return practice


def _asked(prompt: str) -> str:
    """Ask until there is an answer."""
    while not (answer := str(click.prompt(prompt, default="", show_default=False)).strip()):
        click.echo("Please write an answer.", err=True)
    return answer


def _list(prompt: str) -> tuple[str, ...]:
    answer = click.prompt(prompt, default="", show_default=False)
    return tuple(part.strip() for part in answer.split(",") if part.strip())


def _numbers(prompt: str) -> tuple[float, ...]:
    while True:
        try:
            return tuple(dose_from(part) for part in _list(prompt))
        except ValueError:
            click.echo("Write plain numbers with commas between them, such as 2, 4.5, 6.", err=True)
