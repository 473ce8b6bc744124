"""What is wrong with a trial.toml, in an adviser's words and with the line it stands in."""

import re
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from trialkit.documents.problems import Problem
from trialkit.domain.quoting import quoted, shown
from trialkit.tables.nearest import did_you_mean
from trialkit.tables.problem import problem

RULE_ERROR = "trialkit_rule"
"""Type of the validation errors that carry rules of ours in their context."""

LEVEL_KINDS = ("a text", "a number")
"""Tags of the two kinds of level in the model; pydantic puts them into the place of an error."""

# Plain words for what the TOML reader says; the first that occurs in its message counts.
TOML_HINTS = {
    "Expected '=' after a key": "Write each line as key = value.",
    "Invalid value": 'Put text into "double quotes"; write numbers with a point and dates as 2026-08-20.',
    "Invalid date": "Look up the day: it is in no calendar.",
    "Cannot overwrite a value": "The same key stands twice; remove one.",
    "Cannot declare": "The same [section] stands twice; join them.",
    "Unclosed array": "Close the list with ].",
    "Unescaped": "Write a backslash twice, as \\\\.",
    "Illegal character": "Close the quotation marks on the same line; write \\n for a new line in a text.",
    "Unterminated string": "Close the quotation marks.",
    "Expected newline or end of document": "Put one key = value on each line; decimals have a point, not a comma.",
}
TOML_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")

# What each kind of validation error expects; {…} are filled from the error's context.
EXPECTATIONS = {
    "string_type": 'text in "double quotes"',
    "int_type": "a whole number, without quotation marks",
    "int_from_float": "a whole number",
    "float_type": "a number, without quotation marks",
    "bool_type": "true or false",
    "date_type": "a date such as 2026-08-20, without quotation marks",
    "union_tag_not_found": "a text or a number",
    "tuple_type": "a list in [square brackets]",
    "dict_type": "a section of keys",
    "model_type": "a section of keys",
    "greater_than": "more than {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than": "less than {lt}",
    "less_than_equal": "at most {le}",
    "finite_number": "a finite number",
    "literal_error": "{expected}",
    "string_too_short": "some text",
    "string_too_long": "at most {max_length} characters",
    "too_short": "at least {min_length} in the list",
    "too_long": "at most {max_length} in the list",
}
_PLAIN = "text without control characters"
PATTERNS = {"id": "small letters, figures and hyphens, such as autumn-dose", "title": _PLAIN, "question": _PLAIN}


def problems_of_toml(file: str, error: Exception) -> list[Problem]:
    """Say where a file stops being TOML, and what usually helps."""
    text = str(error)
    place = TOML_PLACE.search(text)
    row = int(place[1]) if place and place[1] else None
    where = f" (at character {place[2]} of the line)" if place and place[2] else ""
    said = TOML_PLACE.sub("", text)
    hint = next((hint for key, hint in TOML_HINTS.items() if key in said), None)
    found = f"{shown(said)}{where}"
    return [problem("TK-P01", file, "a protocol in TOML", row=row, found=found, mend=hint)]


def problems_of_validation(file: str, text: str, error: ValidationError, model: type[BaseModel]) -> list[Problem]:
    """Turn every validation error into a problem, by line; the model's keys are suggested for misspelt ones."""
    found = [p for detail in error.errors(include_url=False) for p in _problems(file, text, detail, model)]
    once = dict.fromkeys(found)
    return sorted(once, key=lambda item: item.row or 0)


def _problems(file: str, text: str, detail: Any, model: type[BaseModel]) -> Iterator[Problem]:
    kind, context = detail["type"], detail.get("ctx", {})
    path = _key_path(detail["loc"])
    if kind == RULE_ERROR:
        for broken in context.get("several", (context,)):
            found = shown(broken["found"])
            yield _at_key(text, (*path, *broken["path"]))(broken["rule"], file, broken["expected"], found=found)
        return
    at_key = _at_key(text, path)
    if kind == "extra_forbidden" or detail["loc"][-1:] == ("[key]",):
        known = _known_keys(model, path[:-1])
        mend = (did_you_mean(path[-1], known) or " It can be any of: " + ", ".join(known) + ".").strip()
        yield at_key("TK-P02", file, "a key of the protocol", found=quoted(path[-1]), mend=mend)
    elif kind == "missing":
        wanted = f"a section [{path[-1]}]" if len(path) == 1 else f"the key {path[-1]}"
        yield at_key("TK-P03", file, wanted, found="nothing")
    else:
        expected = _expectation(kind, context, path, detail["msg"])
        yield at_key("TK-P04", file, expected, found=_shown(detail["input"]))


def _at_key(text: str, path: Sequence[str]) -> Callable[..., Problem]:
    """Make problems that stand at a key: its line and its path are filled in."""
    return partial(problem, row=line_of_key(text, path), column=".".join(path))


def _expectation(kind: str, context: dict[str, Any], path: Sequence[str], message: str) -> str:
    if kind == "string_pattern_mismatch":
        return PATTERNS.get(path[-1], "one line of text without control characters")
    return EXPECTATIONS[kind].format(**context) if kind in EXPECTATIONS else message


def _shown(value: object) -> str:
    return quoted(value) if isinstance(value, str) else shown(value)


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
    section: tuple[str, ...] = ()
    best, best_depth = None, 0
    for number, line in enumerate(text.splitlines(), start=1):
        if header := re.match(r"\s*\[+\s*([\w.\- \"']+?)\s*\]+", line):
            section = here = tuple(part.strip(" \"'") for part in header[1].split("."))
        elif key := re.match(r"\s*[\"']?([\w\-]+)[\"']?(?:\s*\.\s*[\w\-]+)*\s*=", line):
            here = (*section, key[1])
        else:
            continue
        if len(here) > best_depth and tuple(path[: len(here)]) == here:
            best, best_depth = number, len(here)
    return best
