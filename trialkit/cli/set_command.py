"""``trialkit set``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from trialkit.cli.conversation import Command
from trialkit.cli.failures import CallFailure, speaks_plainly
from trialkit.cli.shared_options import trial_folder
from trialkit.cli.speaking import answer, tell

if TYPE_CHECKING:
    from trialkit.tables.typed_lists import PlanTable


@click.command("set", cls=Command)
@trial_folder
@click.argument("words", metavar="[KEY=VALUE]...", nargs=-1)
@click.option(
    "--table",
    "tables",
    metavar="NAME=FILE",
    multiple=True,
    help="Set sites, products or people (of the publication) from a file: CSV, or cells copied from a spreadsheet.",
)
@speaks_plainly
def command(folder: Path, words: tuple[str, ...], tables: tuple[str, ...]) -> None:
    """Set what the plan of the trial in DIR says, until its layout is frozen.

    A KEY is written as in trial.toml, with its section in front: layout.blocks=2. Texts need no marks of their own.
    Write nothing after the equals sign to take a key away. Remarks in trial.toml stay, and so does the order of its
    keys. The headings of a FILE may be in any language that trialkit speaks; without headings, it lists names.
    Either all is set or, where anything is wrong, nothing.

    Example: trialkit set spring layout.blocks=2 trial.season="spring 2028"

    Example: trialkit set spring --table sites=gardens.csv
    """
    from trialkit.steps.setting_steps import Settings, set_plan
    from trialkit.words.problem_words import problem_sentence
    from trialkit.words.setting_words import set_lines

    if not words and not tables:
        raise CallFailure("Say what to set: KEY=VALUE, such as layout.blocks=2, or --table sites=FILE.")
    made = set_plan(folder, Settings(_values(words), _tables(tables)))
    answer(made)
    tell("\n".join([*set_lines(made, str(folder)), *map(problem_sentence, made.warnings)]))


def _values(words: tuple[str, ...]) -> dict[str, object]:
    from trialkit.protocol.setting import path_of, value_from

    values: dict[str, object] = {}
    for word in words:
        key, equals, text = word.partition("=")
        if not equals:
            raise CallFailure(f"{word} is not KEY=VALUE: write a key and its value, such as layout.blocks=2.")
        if key.strip() in values:
            raise CallFailure(f"{key.strip()} is given twice: give it once.")
        values[key.strip()] = value_from(path_of(key.strip()), text)
    return values


def _tables(given: tuple[str, ...]) -> dict[PlanTable, str]:
    from trialkit.documents.problems import Problem
    from trialkit.tables.problem import TrialError
    from trialkit.tables.source_file import read_source
    from trialkit.tables.typed_lists import PlanTable

    known: tuple[PlanTable, ...] = get_args(PlanTable)
    tables: dict[PlanTable, str] = {}
    for word in given:
        told, _, file = word.partition("=")
        name = next((one for one in known if one == told), None)
        if name is None or not file or name in tables:
            raise CallFailure(f"--table {word}: write {' or '.join(f'{one}=FILE' for one in known)}, each once.")
        source = read_source(Path(file).parent, Path(file).name)
        if isinstance(source, Problem):
            raise TrialError([source])
        tables[name] = source.text
    return tables
