"""Starting a trial folder: from a few answers, or from a bundled example."""

import json
import re
import shutil
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import pandas as pd

from trialkit._resources import resource_folder
from trialkit.domain.errors import WrongCall
from trialkit.domain.quoting import quoted
from trialkit.domain.table_names import OPTIONAL_TABLES, PROTOCOL_FILE, TABLE_NAMES
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.domain.units import Measures
from trialkit.languages import LANGUAGES, Saying, translatable
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.tables.atomic import csv_text
from trialkit.tables.committing import ASIDE, COMMITTED, LOCK, STAGING, at_work, commit
from trialkit.tables.nearest import meant
from trialkit.tables.table_schema import load_schema

LARGEST_SEED = 10**8
"""Of those that are drawn for a new trial."""
LONGEST_ID = 60
SPOON_WORDS = re.compile(r"\s*(tsp|teaspoons?|cucharaditas?|cdtas?)\.?$", re.IGNORECASE)
PLAIN_NUMBER = re.compile(r"[+-]?(\d{1,9}(\.\d{0,17})?|\.\d{1,17})", re.ASCII)
PLANNED_FILES = (PROTOCOL_FILE, "sites.csv", "products.csv")
"""What a trial folder holds before it is laid out."""


@dataclass(frozen=True)
class NewTrial:
    """The answers that a trial starts from."""

    question: Annotated[str, "What the trial is to answer."]
    # Levels; empty where a factor plays no part. Doses are level teaspoons a bucket, increasing.
    cultivars: Sequence[str]
    doses: Sequence[float]
    acidifiers: Annotated[Sequence[str], 'May hold ``"none"``.']
    sites: Annotated[Sequence[str], "Short names of the gardens."]
    current_practice: Annotated[
        Mapping[str, str | float], "Level of each factor (cultivar, dose, acidifier) with two or more levels."
    ]
    seed: Annotated[int, "For the randomisation."]
    blocks: Annotated[int, "At each site."] = 3
    nutrient: Annotated[str, "The product that `doses` are doses of; may be empty."] = ""
    measures: Annotated[Measures, "That its pages and cards tell."] = "both"
    id: Annotated[str, "Short name of the trial: lower-case letters, figures and hyphens."] = "trial"


def id_from(name: str) -> str:
    """Make a trial's id from any name.

    Examples
    --------
    >>> id_from("My Spring, 2027"), id_from("春")
    ('my-spring-2027', 'trial')
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower())[:LONGEST_ID].strip("-") or "trial"


def dose_from(text: str) -> float:
    """Read a dose as people write it, in level teaspoons.

    Raises
    ------
    ValueError
        If it is not one number.

    Examples
    --------
    >>> dose_from("4.5 tsp")
    4.5
    """
    figures = SPOON_WORDS.sub("", text).strip()
    if not PLAIN_NUMBER.fullmatch(figures):  # Python takes more for a number: 1_0, inf, 1e3
        raise ValueError(text)
    return float(figures)


def fault_of_sites(sites: Sequence[str]) -> Saying | None:
    """Say what is wrong with short names of gardens, if anything."""
    field = load_schema("sites").field("site")
    folded = [site.casefold() for site in sites]  # each names files, which some systems do not tell apart by capitals
    repeated = [site for site in dict.fromkeys(sites) if folded.count(site.casefold()) > 1]
    odd = [site for site in sites if not re.fullmatch(field.pattern or "", site)]
    if not sites:
        return Saying("Name at least one garden.")
    if repeated:
        twice = ", ".join(map(quoted, repeated))
        return Saying(
            "Each garden needs a name of its own, and capitals make no difference: {twice} is there twice.", twice=twice
        )
    if not odd:
        return None
    return Saying(
        "Not a short name: {names}. {fix}", names=", ".join(map(quoted, odd)), fix=Saying(str(field.how_to_fix))
    )


def new_trial_text(answers: NewTrial) -> str:
    """Return a commented trial.toml that reads back as a protocol with these answers.

    Raises
    ------
    TrialError
        With every answer that does not fit.
    """
    practice = ", ".join(
        f"{toml_value(name)} = {toml_value(level)}" for name, level in answers.current_practice.items()
    )
    text = _TEMPLATE.format(
        id=toml_value(answers.id),
        title=toml_value(answers.question),
        question=toml_value(answers.question),
        factors="".join(_factor_sections(answers)),
        blocks=toml_value(answers.blocks),
        seed=toml_value(answers.seed),
        practice=f"{{ {practice} }}",
        languages=" or ".join(f'"{language}"' for language in LANGUAGES),
        measures=f"{'# ' if answers.measures == 'both' else ''}measures = {toml_value(answers.measures)}",
    )
    parse_protocol(text)
    return text


def new_trial_files(answers: NewTrial) -> dict[str, str]:
    """Return every file of a new trial folder by its name, as `new_trial_text`.

    The tables have their headers; sites.csv and products.csv have a row for each name, to be filled in.

    Raises
    ------
    TrialError
        With every answer that does not fit.
    """
    acids = [name for name in answers.acidifiers if name != NO_PRODUCT]
    products = [(answers.nutrient, "nutrient")] * bool(answers.nutrient) + [(name, "acid") for name in acids]
    rows: dict[str, Sequence[Sequence[str]]] = {"sites": [(name,) for name in answers.sites], "products": products}
    tables = {f"{name}.csv": _table_text(load_schema(name).columns, some) for name, some in rows.items()}
    return {PROTOCOL_FILE: new_trial_text(answers), **tables, **empty_record_tables()}


def empty_record_tables() -> dict[str, str]:
    """Return the tables that a season fills, with their headers alone; layout.csv is made by randomising."""
    names = [name for name in TABLE_NAMES if name not in (*OPTIONAL_TABLES, "sites", "products", "layout")]
    return {f"{name}.csv": _table_text(load_schema(name).columns, []) for name in names}


def start_trial(folder: Path, answers: NewTrial) -> None:
    """Write a new trial folder, which is made if need be and must be empty.

    Raises
    ------
    FileExistsError
        If the folder has anything in it.
    WrongCall
        If it cannot be made.
    TrialError
        With every answer that does not fit; nothing is written then.
    """
    write_folder(folder, {name: text.encode("utf-8") for name, text in new_trial_files(answers).items()})


def write_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write a trial folder, which is made if need be and must be empty, all of it or nothing.

    Raises
    ------
    FileExistsError
        If the folder has anything in it.
    WrongCall
        If it cannot be made, or another command is at work on it.
    """
    with _held_empty(folder):
        commit(folder, files)


@contextmanager
def filled_at_once(folder: Path) -> Iterator[Path]:
    """Give a folder to work in, whose files fill another at the end, all of them or, if the work fails, none.

    Raises
    ------
    FileExistsError, WrongCall
        As `write_folder`.
    """
    with _held_empty(folder):
        aside = folder / ASIDE
        try:
            yield aside
            files = {
                path.relative_to(aside): path
                for path in sorted(aside.rglob("*"))
                if path.is_file() and path.name[0] != "."
            }
            commit(folder, {name.as_posix(): path.read_bytes() for name, path in files.items()})
        finally:
            shutil.rmtree(aside, ignore_errors=True)


@contextmanager
def _held_empty(folder: Path) -> Iterator[None]:
    """Hold a folder that is made or empty, but for what a killed command left; take it away if nothing comes of it."""
    refuse_if_filled(folder)
    was_there = folder.is_dir()
    _make(folder)
    with at_work(folder):
        refuse_if_filled(folder)
        try:
            yield
        except BaseException:
            if not was_there and not is_filled(folder):
                with suppress(OSError):  # what stopped the work is to be told, not what stopped the tidying
                    (folder / LOCK).unlink()
                    folder.rmdir()
            raise


def example_names() -> tuple[str, ...]:
    """Return the names of the bundled example trials."""
    folder = resource_folder("example_trials")
    return tuple(sorted(path.name for path in folder.iterdir() if (path / PROTOCOL_FILE).is_file()))


def example_folder(name: str) -> Path:
    """Find a bundled example trial.

    Raises
    ------
    WrongCall
        If there is no such example.
    """
    if name not in example_names():
        names = example_names()
        raise WrongCall(f"There is no example {name!r}. Choose one of: {', '.join(names)}.{meant(name, names)}")
    return resource_folder("example_trials") / name


def copy_example(name: str, into: Path, *, planned_only: bool = False) -> None:
    """Copy a bundled example trial into a folder, which is made if need be and must be empty.

    If it is planned only, layout and records are left out, as if the trial had yet to be laid out.

    Raises
    ------
    WrongCall
        If there is no such example, or the folder cannot be made.
    FileExistsError
        If the folder has anything in it.
    """
    source = example_folder(name)
    paths = [path for path in sorted(source.rglob("*")) if path.is_file() and not path.is_symlink()]
    files = {path.relative_to(source).as_posix(): path for path in paths}
    wanted = {name: path for name, path in files.items() if not planned_only or name in PLANNED_FILES}
    write_folder(into, {name: path.read_bytes() for name, path in wanted.items()})


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WrongCall(
            translatable("The folder {folder} cannot be made: {why}."), folder=folder, why=error.strerror
        ) from error


def refuse_if_filled(folder: Path) -> None:
    """Refuse a folder that has anything in it, with a `FileExistsError`; what a killed command left is ended first."""
    if any((folder / name).is_dir() for name in (COMMITTED, ASIDE)):
        with at_work(folder):
            pass
    if folder.is_dir() and is_filled(folder):
        raise FileExistsError(f"{folder} is not empty. Name a new folder, so that nothing is overwritten.")


def is_filled(folder: Path) -> bool:
    """Whether a folder has anything in it but what a command left that was killed before its files counted."""
    return any(path.name not in (LOCK, STAGING, COMMITTED, ASIDE) for path in folder.iterdir())


def toml_value(value: str | float) -> str:
    """Write a text or a number as TOML.

    A JSON string is a TOML basic string, once DEL, which only TOML forbids, is escaped.
    """
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return repr(int(value) if isinstance(value, int) or value.is_integer() else value)


def _factor_sections(answers: NewTrial) -> list[str]:
    sections = []
    levels_by_factor: dict[str, Sequence[str | float]] = {
        "cultivar": answers.cultivars,
        "dose": answers.doses,
        "acidifier": answers.acidifiers,
    }
    for name, levels in levels_by_factor.items():
        if levels:
            listed = ", ".join(toml_value(level) for level in levels)
            product = (
                f"product = {toml_value(answers.nutrient)}\n{_PARTS}" if name == "dose" and answers.nutrient else ""
            )
            sections.append(f"[factors.{name}]  # {FACTOR_REMARKS[name]}\nlevels = [{listed}]\n{product}\n")
    return sections


def _table_text(columns: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    filled = [[*row, *[""] * (len(columns) - len(row))] for row in rows]
    return csv_text(pd.DataFrame(filled, columns=list(columns), dtype=object))


FACTOR_REMARKS = {
    "cultivar": "what is grown",
    "dose": "level teaspoons of nutrient a bucket, increasing",
    "acidifier": 'what brings the pH down: a product of products.csv, or "none"',
}

_PARTS = """\
# parts = { "calcium nitrate 15.5-0-0" = 0.5 }   # what goes in, too: level teaspoons for each teaspoon of nutrient
"""

_TEMPLATE = """\
# The protocol of the trial: what is compared, how it is laid out and how it will be decided.
# Lines that begin with # are remarks. Keys that you leave out have their defaults (schemas/protocol.schema.json).

[trial]
id = {id}   # names the trial among others; do not change it later
title = {title}
question = {question}
# started_on = 2026-08-20        # first day of the trial; dates of records are checked against it
# season = "autumn 2026"
{measures:<33}# "kitchen" (US spoons, gallons, pounds, degrees Fahrenheit), "metric" or "both"
# language = "es"                # language of what volunteers and gardeners get: {languages}

[bucket]
volume_l = 16.0                  # litres of water to the fill line, two to three inches (5 to 7.5 cm) below the brim
brim_l = 18.9                    # litres to the brim: 5 US gallons
heads = 4                        # heads of lettuce in each

{factors}\
[layout]
kind = "randomised complete blocks"   # or "completely randomised", or one of these, with its own keys:
# kind = "split-plot"
# whole_plot = "dose"            # the factor that goes to whole benches; the others vary within them
# kind = "volunteer blocks"      # blocks is then the number of volunteers in each garden
# block_size = 3                 # buckets of each volunteer, 2 to 5
blocks = {blocks}                       # blocks in each garden; complete ones hold every treatment once
seed = {seed}                    # decides the lots; do not change it once buckets are labelled
lots = "garden"                  # each garden has lots of its own, which stay when another joins or leaves

[schedule]
# sow_on = 2026-08-06            # day of sowing: with it, trialkit plan writes a calendar
transplant_after_days = 14       # days from sowing to transplanting
harvest_after_days = [28, 56]    # days from transplanting to the first and the last visit
visit_every_days = 3             # days between two visits of the harvest

# [variation]                    # how much heads differ, for trialkit plan: standard deviations, g
# bucket_sd_g = 9.0              # between buckets treated alike
# head_sd_g = 15.0               # between heads of one bucket

[decision]
# What gardeners do now: one level of each factor that has two or more.
current_practice = {practice}
margin_g = 10.0                  # so near to the best is near enough, g a transplanted head
change_cost_g = 3.0              # what a change of the handout must gain, g a transplanted head
adopt_probability = 0.9          # chance of being so near from which the answer is settled
equivalence_margin_g = 10.0      # in the statistician's tables, a difference below this counts as none
# price_per_kg = 8.0             # price of lettuce; without it only weights are compared
"""
