"""Setting keys of a trial.toml as a hand would: remarks, order and all other keys stay as they are."""

import re
import tomllib
import types
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from trialkit.domain.errors import WrongCall
from trialkit.domain.quoting import shown
from trialkit.domain.reading_budget import OverBudget
from trialkit.languages import translatable
from trialkit.protocol.trial_protocol import Protocol
from trialkit.tables.toml_text import toml_data

Path = tuple[str, ...]
LONGEST_KEY = 200
AS_REMARK = re.compile(r"^#[ \t]*(?P<setting>(?P<key>[\w\-]+)[ \t]*=.*)$")
HEADER = re.compile(r"^\s*\[\s*(?P<name>[^\[\]]+?)\s*\]\s*(#.*)?$")


def path_of(key: str) -> Path:
    """Part a key as trial.toml writes it, dots between its parts.

    Raises
    ------
    WrongCall
        If it names no key of a section.

    Examples
    --------
    >>> path_of('factors.dose.parts."calcium nitrate 15.5-0-0"')
    ('factors', 'dose', 'parts', 'calcium nitrate 15.5-0-0')
    """
    parts: list[str] = []
    try:
        inner: Any = tomllib.loads(f"{key} = 0") if len(key) <= LONGEST_KEY and key.isprintable() else {}
    except ValueError:
        inner = {}
    while isinstance(inner, dict) and len(inner) == 1:
        ((name, inner),) = inner.items()
        parts.append(name)
    if len(parts) < 2:
        raise WrongCall(
            translatable(
                "{key} is no key of trial.toml: write section and key, such as layout.blocks or trial.season."
            ),
            key=shown(key),
        )
    return tuple(parts)


def value_from(path: Path, text: str) -> object:
    """Read a value as somebody types it: as TOML, or as it stands where a text is wanted; None where nothing is left.

    Examples
    --------
    >>> value_from(("layout", "blocks"), "2"), value_from(("trial", "season"), "2028")
    (2, '2028')
    >>> value_from(("factors", "dose", "levels"), "[2, 4]"), value_from(("trial", "season"), " ")
    ([2, 4], None)
    """
    text = text.strip()
    if not text:
        return None
    if _is_text(path) and text[0] not in "\"'":
        return text
    try:
        data = toml_data(f"value = {text}")
    except (ValueError, OverBudget):
        return text
    return data["value"] if len(data) == 1 else text


def as_typed(path: Path, value: object) -> str:
    """Write a value so that `value_from` reads it again.

    Examples
    --------
    >>> as_typed(("trial", "season"), "spring 2028"), as_typed(("factors", "cultivar", "levels"), ["Fenleaf"])
    ('spring 2028', '["Fenleaf"]')
    """
    if value is None:
        return ""
    if isinstance(value, str) and value_from(path, value) == value:
        return value
    return str(_item(value).as_string())


def with_keys(text: str, changes: Mapping[Path, object]) -> str:
    r"""Return the text of a trial.toml with other values of some keys; None takes a key away.

    A key that stands there as a remark, as an example of itself, comes to stand in that place.

    Raises
    ------
    WrongCall
        If a key leads through a value.

    Examples
    --------
    >>> print(with_keys('[trial]\n# season = "autumn"   # when\n', {("trial", "season"): "spring"}), end="")
    [trial]
    season = "spring"   # when
    """
    ends = "\r\n" if "\r\n" in text else "\n"
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    for path, value in changes.items():
        text = _with_key(text, path, value)
    return text.replace("\n", ends)


def _with_key(text: str, path: Path, value: object) -> str:
    import tomlkit
    from tomlkit.items import InlineTable, Table

    document = tomlkit.parse(text if value is None else _without_mark(text, path))
    table: Any = document
    for part in path[:-1]:
        if part not in table:
            if value is None:
                return text
            is_inline = isinstance(table, InlineTable)
            if table is document and document.body:
                document.add(tomlkit.nl())
            table[part] = tomlkit.inline_table() if is_inline else tomlkit.table(is_super_table=part != path[-2])
        table = table[part]
        if not isinstance(table, Mapping):
            raise WrongCall(
                translatable("{key} is no key of trial.toml: {part} has a value of its own."),
                key=".".join(path),
                part=part,
            )
    if value is None:
        if path[-1] in table:
            del table[path[-1]]
    elif path[-1] not in table and isinstance(table, Table):
        _add_before_the_gap(table, path[-1], _item(value))
    else:
        table[path[-1]] = _item(value)
    return tomlkit.dumps(document)


def _add_before_the_gap(table: Any, key: str, item: Any) -> None:
    """Put a new key below the last one of its section, not below the blank lines and remarks that follow."""
    last = next((known for known, _ in reversed(table.value.body) if known is not None), None)
    if last is None or isinstance(table.value[last], Mapping):
        table.append(key, item)
    else:
        table.value._insert_after(last, key, item)


def _item(value: object) -> Any:
    import tomlkit

    if isinstance(value, Mapping):
        inner = tomlkit.inline_table()
        inner.update({name: _item(one) for name, one in value.items()})
        return inner
    return tomlkit.item(list(value) if isinstance(value, tuple) else value)


def _without_mark(text: str, path: Path) -> str:
    """Take the # off a remark that is the setting of a key, where the key itself is not set."""
    lines, section = text.split("\n"), ""
    for number, line in enumerate(lines):
        if header := HEADER.match(line):
            section = header["name"]
        remark = AS_REMARK.match(line)
        if remark and (section, remark["key"]) == (".".join(path[:-1]), path[-1]):
            changed = "\n".join([*lines[:number], remark["setting"], *lines[number + 1 :]])
            if _differs_by(text, changed, path):
                return changed
    return text


def _differs_by(text: str, changed: str, path: Path) -> bool:
    """Whether another text of a protocol sets one key more, and is the same else."""
    try:
        before, after = dict(_values(tomllib.loads(text))), dict(_values(tomllib.loads(changed)))
    except ValueError:
        return False
    return before == {key: value for key, value in after.items() if key[: len(path)] != path} and before != after


def _values(data: Mapping[str, Any], path: Path = ()) -> Iterator[tuple[Path, Any]]:
    for key, value in data.items():
        if isinstance(value, dict):
            yield from _values(value, (*path, key))
        else:
            yield (*path, key), value


def _is_text(path: Path) -> bool:
    """Whether a key takes nothing but text; what trial.toml does not know may be anything."""
    kind: Any = Protocol
    for part in path:
        kinds = [one for one in kinds_of(kind) if isinstance(one, type) and issubclass(one, BaseModel)]
        inner = [get_args(one)[1] for one in kinds_of(kind) if get_origin(one) is dict]
        if kinds and part in kinds[0].model_fields:
            kind = kinds[0].model_fields[part].annotation
        elif inner:
            kind = inner[0]
        else:
            return False
    found = [one for one in kinds_of(kind) if one is not type(None)]
    return all(one is str or isinstance(one, str) for one in found)


def kinds_of(annotation: Any) -> Iterator[Any]:
    """Yield what a key may be by its annotation, without its limits; of a choice, each word."""
    if get_origin(annotation) is Annotated:
        yield from kinds_of(get_args(annotation)[0])
    elif get_origin(annotation) in (Union, types.UnionType, Literal):
        for one in get_args(annotation):
            yield from kinds_of(one)
    else:
        yield annotation


MAY_STILL_CHANGE = (
    "trial.title",
    "trial.season",
    "trial.started_on",
    "trial.contact_role",
    "trial.measures",
    "trial.language",
    "schedule",
    "variation",
    "limits",
    "publication",
    "decision.price_per_kg",
    "decision.cost_per_bucket",
    "decision.delay_cost_per_day",
    "decision.heads_a_year",
)
"""Keys and sections on which neither the lots nor the rule of the decision rest."""


def is_frozen_key(path: Path) -> bool:
    """Whether a key stays as it is once the layout is frozen."""
    return not {path[0], ".".join(path[:2])} & set(MAY_STILL_CHANGE)
