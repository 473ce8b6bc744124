"""What is wrong with a trial.toml, with the line it stands in."""

import re
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache, partial
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from trialkit.documents.problems import FactValue, Problem
from trialkit.domain.quoting import shown
from trialkit.domain.table_names import COUNTY_FILE
from trialkit.tables.nearest import nearest_name
from trialkit.tables.problem import problem

RULE_ERROR = "trialkit_rule"
"""Type of the validation errors that carry rules of ours in their context."""

LEVEL_KINDS = ("a text", "a number")
"""Tags of the two kinds of level in the model; pydantic puts them into the place of an error."""

TOML_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
TOO_LONG, TOO_LONG_SAID = "a number of thousands of figures", "integer string conversion"
"""A number that Python does not read, and a part of what it says of it."""
MOST_FAULTS = 50
"""So many are told at once: whoever has more has another file there, or something that was made to do harm."""
QUOTED_KEY = re.compile(r"""\s*(["'])(.*?)\1\s*=""")
BARE_KEY = re.compile(r"\s*()([\w\-]+)(?:\s*\.\s*[\w\-]+)*\s*=")
PATTERN_CASES = {"id": "id", "title": "plain text", "question": "plain text"}
"""Cases of a text that is made of something else than it may be, by its key."""


def problems_of_toml(file: str, error: Exception) -> list[Problem]:
    """Tell where a file stops being TOML, and what its reader says."""
    text = TOO_LONG if TOO_LONG_SAID in str(error) else str(error)
    place = TOML_PLACE.search(text)
    row = int(place[1]) if place and place[1] else None
    character = int(place[2]) if place and place[2] else None
    return [
        problem(
            "TK-P01",
            file,
            "county" if file == COUNTY_FILE else "",
            row=row,
            said=TOML_PLACE.sub("", text),
            character=character,
        )
    ]


def problems_of_validation(file: str, text: str, error: ValidationError, model: type[BaseModel]) -> list[Problem]:
    """Turn validation errors into problems, by line; the model's keys are suggested for misspelt ones."""
    details = error.errors(include_url=False)
    found = [p for detail in details[:MOST_FAULTS] for p in _problems(file, text, detail, model)]
    told = sorted(dict.fromkeys(found), key=lambda item: item.row or 0)
    more = len(details) - MOST_FAULTS
    return [*told, problem("TK-P02", file, "more", count=more)] if more > 0 else told


def _problems(file: str, text: str, detail: Any, model: type[BaseModel]) -> Iterator[Problem]:
    kind, context = detail["type"], detail.get("ctx", {})
    path = _key_path(detail["loc"])
    if kind == RULE_ERROR:
        for broken in context.get("several", (context,)):
            at_key = _at_key(text, (*path, *broken["path"]))
            yield at_key(broken["rule"], file, broken["case"], **broken["facts"])
        return
    at_key = _at_key(text, path)
    if kind == "extra_forbidden" or detail["loc"][-1:] == ("[key]",):
        known = _known_keys(model, path[:-1])
        near = nearest_name(path[-1], known)
        yield at_key("TK-P02", file, key=path[-1], near=near, known=None if near else tuple(known))
    elif kind == "missing":
        yield at_key("TK-P03", file, "section" if len(path) == 1 else "key", key=path[-1])
    else:
        case = PATTERN_CASES.get(path[-1], "one line") if kind == "string_pattern_mismatch" else kind
        value = detail["input"]
        found = {"text": value} if isinstance(value, str) else {"written": shown(value)}
        yield at_key("TK-P04", file, case, said=detail["msg"], **found, **_limits(context))


def _at_key(text: str, path: Sequence[str]) -> Callable[..., Problem]:
    """Make problems that stand at a key: its line and its path are filled in."""
    return partial(problem, row=line_of_key(text, path), column=".".join(path))


def _limits(context: dict[str, Any]) -> dict[str, FactValue]:
    """Take what a value is held to from a validation error: pydantic's names, a list of words as a tuple."""
    return {
        name: tuple(limit.split(", "))
        if name == "expected"
        else limit
        if isinstance(limit, int | float)
        else str(limit)
        for name, limit in context.items()
    }


def _key_path(location: Sequence[str | int]) -> tuple[str, ...]:
    """Drop what pydantic adds for keys and kinds of level; count the places of a list from 1."""
    kept = [part for part in location if part not in ("[key]", *LEVEL_KINDS)]
    return tuple(f"{part + 1}" if isinstance(part, int) else part for part in kept)


def _known_keys(model: type[BaseModel], path: Sequence[str]) -> list[str]:
    """List the keys that may stand at a path of the model."""
    keys, current = list(model.model_fields), model
    for part in path:
        field = current.model_fields.get(part)
        if field is None:
            return keys
        inner = [field.annotation, *get_args(field.annotation)]
        nested = [kind for kind in inner if isinstance(kind, type) and issubclass(kind, BaseModel)]
        names = [str(name) for kind in inner for name in get_args(kind) if isinstance(name, str)]
        keys = names or list(nested[0].model_fields)
        current = nested[0] if nested else current
        if names and nested:
            return keys if part == path[-1] else list(nested[0].model_fields)
    return keys


def line_of_key(text: str, path: Sequence[str]) -> int | None:
    r"""Find the line of trial.toml that sets a key, or that begins its section.

    Lines are counted from 1; None if neither is there.

    Examples
    --------
    >>> line_of_key("[layout]\nblocks = 3\nseed = -1\n", ("layout", "seed"))
    3
    """
    lines = _lines_of_keys(text)
    parts = (lines.get(tuple(path[:depth])) for depth in range(len(path), 0, -1))
    return next((line for line in parts if line is not None), None)


@lru_cache(maxsize=4)
def _lines_of_keys(text: str) -> dict[tuple[str, ...], int]:
    """Map the path of each key and section of a file to the line in which it stands first."""
    section: tuple[str, ...] = ()
    found: dict[tuple[str, ...], int] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        if header := re.match(r"\s*\[+\s*([\w.\- \"']+?)\s*\]+", line):
            section = tuple(part.strip(" \"'") for part in header[1].split("."))
            found.setdefault(section, number)
        elif key := QUOTED_KEY.match(line) or BARE_KEY.match(line):
            found.setdefault((*section, key[2]), number)
    return found
