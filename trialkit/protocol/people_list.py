"""The people of a publication as a list that somebody types or copies from a spreadsheet."""

import re
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import Any, get_args

from trialkit.documents.problems import Problem
from trialkit.languages import gettext, in_every_language
from trialkit.protocol.publication import Role
from trialkit.tables.nearest import plain_name
from trialkit.tables.table_schema import load_schema
from trialkit.tables.typed_lists import TypedList, read_list

NO_ROWS = "TK-F08"
"""A trial may have nobody to tell of."""


def people_in(text: str) -> tuple[list[dict[str, Any]], tuple[Problem, ...]]:
    r"""Read people as trial.toml holds them, and what is wrong with the list; roles may be in any language.

    Examples
    --------
    >>> people_in("name\troles\nThe desk\tContact; data manager")[0]
    [{'name': 'The desk', 'roles': ['contact', 'data manager']}]
    """
    found = read_list(load_schema("people"), text)
    return [*_people(found)], tuple(one for one in found.problems if one.rule != NO_ROWS)


def people_list(people: Sequence[Mapping[str, Any]]) -> list[list[str]]:
    """Write people as rows below the headings of such a list, in the language that is spoken, without empty columns."""
    fields = load_schema("people").fields
    rows = [[_cell(person.get(field.name)) for field in fields] for person in people]
    kept = [at for at, field in enumerate(fields) if field.required or any(row[at] for row in rows)]
    return [[fields[at].heading for at in kept], *([row[at] for at in kept] for row in rows)]


def _people(found: TypedList) -> Iterator[dict[str, Any]]:
    for row in found.reading.frame.to_dict("records"):
        told = {name: row[name] for name in found.columns if isinstance(row[name], str) and row[name]}
        roles = [part for one in re.split("[;,]", told.pop("roles", "")) if (part := one.strip())]
        person = {**told, "roles": [_roles().get(plain_name(one), one) for one in roles]}
        yield {**person, "organisation": True} if row.get("organisation") is True else person


def _cell(value: Any) -> str:
    if isinstance(value, list | tuple):
        return "; ".join(gettext(one) for one in value if isinstance(one, str) and one)
    if isinstance(value, bool):
        return gettext("yes") if value else ""
    return "" if value is None else str(value)


@cache
def _roles() -> dict[str, str]:
    return {plain_name(told): role for role in get_args(Role) for told in in_every_language(role)}
