"""What ``trialkit set`` does with a folder: keys of trial.toml and whole tables of the plan, set in one commit."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from trialkit.documents.answers import SetAnswer
from trialkit.domain.errors import WrongCall
from trialkit.domain.table_names import PROTOCOL_FILE
from trialkit.protocol.people_list import people_in
from trialkit.protocol.setting import is_frozen_key, path_of, with_keys
from trialkit.protocol.trial_protocol import parse_protocol, protocol_data
from trialkit.rules.trial_folder import check_trial
from trialkit.tables.atomic import csv_text
from trialkit.tables.problem import PlanError, TrialError
from trialkit.tables.raw_table import RawTable, parse_csv
from trialkit.tables.source_file import read_source
from trialkit.tables.table_schema import load_schema
from trialkit.tables.typed_lists import PlanTable, read_list

if TYPE_CHECKING:
    from trialkit.documents.problems import Problem
    from trialkit.protocol.starting import NewTrial

PEOPLE = ("publication", "people")
PLAN_FILES = (PROTOCOL_FILE, "sites.csv", "products.csv")


@dataclass(frozen=True)
class Settings:
    """What to set."""

    keys: Annotated[Mapping[str, object], "Values by the keys of trial.toml; None takes one away."] = field(
        default_factory=dict
    )
    tables: Annotated[Mapping[PlanTable, str], "Whole lists, as `trialkit.tables.typed_lists` reads them."] = field(
        default_factory=dict
    )


def set_plan(folder: Path, settings: Settings, seen: Mapping[str, str] | None = None) -> SetAnswer:
    """Set keys and tables of a trial's plan: all of it or, where anything is wrong with it, nothing.

    Parameters
    ----------
    folder : Path
    settings : Settings
    seen : mapping of str to str, optional
        Digests of files as whoever sets them saw them: nothing is written where one is another by now.

    Raises
    ------
    TrialError
        With every problem that the change would leave or bring.
    WrongCall
        If the layout is frozen and stands on what would change, or a file was changed since it was seen.
    """
    from trialkit.protocol.randomise import why_frozen
    from trialkit.tables.committing import at_work, commit
    from trialkit.words.problem_words import told_problem
    from trialkit.words.setting_words import changed_meanwhile_words

    with at_work(folder):
        if others := [name for name, digest in (seen or {}).items() if digest_of(folder / name) != digest]:
            raise WrongCall(changed_meanwhile_words(others))
        before = _texts(folder)
        wanted = _changed_texts(before, settings)
        if frozen := why_frozen(folder):
            _refuse_frozen(folder, frozen, settings, before, wanted)
        changed = {name: text for name, text in wanted.items() if text != before.get(name)}
        known = {_without_row(one) for one in check_trial(folder, stage="plan").errors if one.file not in changed}
        warnings = _checked(wanted, known)
        commit(folder, {name: text.encode("utf-8") for name, text in changed.items()})
        again = bool(changed) and _would_be_drawn_otherwise(folder)
    return SetAnswer(tuple(changed), again, tuple(map(told_problem, warnings)))


def start_with(folder: Path, answers: NewTrial, settings: Settings) -> None:
    """Start a trial folder and set its plan, as ``trialkit new`` and then ``trialkit set`` would, in one commit.

    Raises
    ------
    FileExistsError
        If the folder has anything in it.
    TrialError
        With every problem; nothing is written then.
    """
    from trialkit.protocol.starting import refuse_if_filled, write_folder

    refuse_if_filled(folder)
    write_folder(folder, {name: text.encode("utf-8") for name, text in files_to_start(answers, settings).items()})


def files_to_start(answers: NewTrial, settings: Settings) -> dict[str, str]:
    """Return every file of a new trial folder by its name, with its plan set and checked.

    Raises
    ------
    TrialError
        With every problem.
    """
    from trialkit.protocol.starting import new_trial_files

    files = new_trial_files(answers)
    plan = _changed_texts({name: files[name] for name in PLAN_FILES}, settings)
    _checked(plan, set())
    return {**files, **plan}


def digest_of(path: Path) -> str:
    """Digest of a file; empty where there is none."""
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else ""


def _texts(folder: Path) -> dict[str, str]:
    """Read the files of a plan; of trial.toml there must be one."""
    found, problems = {}, []
    for name in PLAN_FILES:
        source = read_source(folder, name)
        if not hasattr(source, "text"):
            problems += [source] if name == PROTOCOL_FILE else []
        else:
            found[name] = source.text
    if problems:
        raise PlanError(problems)
    return found


def _changed_texts(before: Mapping[str, str], settings: Settings) -> dict[str, str]:
    """Return the files as they should be, or tell all that is wrong with what was asked for."""
    changed, problems = dict(before), []
    paths = {path_of(key): value for key, value in settings.keys.items()}
    if "people" in settings.tables:
        people, wrong = people_in(settings.tables["people"])
        problems += [one for one in wrong if one.severity == "error"]
        paths[PEOPLE] = people or None
    if paths:
        protocol_data(before[PROTOCOL_FILE])  # what is no TOML has no keys to set
    if paths and not problems:
        text = with_keys(before[PROTOCOL_FILE], paths)
        try:
            parse_protocol(text)
        except TrialError as error:
            problems += [replace(one, row=None) for one in error.problems]  # its lines are of a text nobody has
        changed[PROTOCOL_FILE] = text
    for table, text in _of_files(settings.tables):
        schema = load_schema(table)
        found = read_list(schema, text)
        problems += [one for one in found.problems if one.severity == "error"]
        changed[schema.file] = csv_text(found.reading.frame[list(schema.columns)])
    if problems:
        raise PlanError(problems)
    return changed


def _checked(files: Mapping[str, str], known: set[Problem]) -> tuple[Problem, ...]:
    """Check a plan aside; refuse errors that are not known already, and return its warnings."""
    with tempfile.TemporaryDirectory(prefix="trialkit-") as aside:
        for name, text in files.items():
            Path(aside, name).write_text(text, encoding="utf-8", newline="")
        result = check_trial(Path(aside), stage="plan")
    if errors := [one for one in map(_without_row_of_keys, result.errors) if _without_row(one) not in known]:
        raise PlanError(errors)
    return result.warnings


def _without_row(one: Problem) -> Problem:
    return replace(one, row=None)


def _without_row_of_keys(one: Problem) -> Problem:
    return _without_row(one) if one.file == PROTOCOL_FILE else one


def _refuse_frozen(
    folder: Path, reason: str, settings: Settings, before: Mapping[str, str], wanted: Mapping[str, str]
) -> None:
    """Refuse what a layout that stands forbids: what it was drawn from, and names that labels and records carry."""
    from trialkit.words.setting_words import frozen_keys_words, frozen_names_words

    told = []
    if keys := [key for key in settings.keys if is_frozen_key(path_of(key)) and _differs(key, before, wanted)]:
        told.append(frozen_keys_words(reason, str(folder), keys))
    for table, _ in _of_files(settings.tables):
        file = load_schema(table).file
        names = _names(table, before.get(file, ""))
        if set(names) != set(_names(table, wanted[file])):
            told.append(frozen_names_words(reason, str(folder), file, names))
    if told:
        raise WrongCall(*told)


def _of_files(tables: Mapping[PlanTable, str]) -> list[tuple[PlanTable, str]]:
    """Tables that are files of the plan."""
    return [(name, text) for name, text in tables.items() if name != "people"]


def _differs(key: str, before: Mapping[str, str], wanted: Mapping[str, str]) -> bool:
    found = []
    for texts in (before, wanted):
        value: object = parse_protocol(texts[PROTOCOL_FILE]).model_dump()
        for part in path_of(key):
            value = value.get(part) if isinstance(value, dict) else None
        found.append(value)
    return found[0] != found[1]


def _names(table: PlanTable, text: str) -> list[str]:
    schema = load_schema(table)
    raw = parse_csv(schema.file, text)
    return raw.cells.get(schema.primary_key[0], []) if isinstance(raw, RawTable) else []


def _would_be_drawn_otherwise(folder: Path) -> bool:
    """Whether the layout that stands is not what the plan gives now."""
    from trialkit.protocol.randomise import randomise, why_frozen
    from trialkit.rules.trial_folder import read_trial

    path = folder / "layout.csv"
    if not path.is_file() or why_frozen(folder):
        return False
    trial = read_trial(folder, stage="plan")
    try:
        drawn = csv_text(randomise(trial.protocol, trial.sites))
    except WrongCall:
        return True
    return path.read_text("utf-8-sig", errors="replace").splitlines() != drawn.splitlines()
