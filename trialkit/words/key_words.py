"""What the keys of trial.toml are called, mean and choose from: as its schema says it, translated."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, get_args

from pydantic import BaseModel

from trialkit.languages import LANGUAGES, gettext, own_name, pgettext
from trialkit.protocol.publication import Licence, Role
from trialkit.protocol.setting import kinds_of
from trialkit.protocol.trial_protocol import Protocol

if TYPE_CHECKING:
    from pydantic.fields import FieldInfo

CONTEXT = "trial.toml"
"""Of names and values, which are single words; what a key means is a sentence, and needs none."""

KEPT = (*LANGUAGES, *get_args(Licence))
"""Choices that are called alike in every language, or by themselves."""


def sections() -> Iterator[tuple[str, type[BaseModel]]]:
    """Yield the sections of trial.toml that have keys of their own, with their names."""
    for name, entry in Protocol.model_fields.items():
        kind = entry.annotation
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            yield name, kind


def name_of(part: str) -> str:
    """Name a section, or a key within it.

    Examples
    --------
    >>> name_of("sow_on")
    'Sow on'
    """
    return pgettext(CONTEXT, _plain(part))


def meaning_of(field: FieldInfo) -> str:
    """Say what a key means."""
    return gettext(_described(field)) if _described(field) else ""


def choices_of(field: FieldInfo) -> dict[str, str]:
    """Return what a key chooses from, in words; nothing of one that is written freely."""
    kinds = [*kinds_of(field.annotation)]
    if kinds == [bool]:
        return {"true": gettext("yes"), "false": gettext("no")}
    words = [one for one in kinds if isinstance(one, str)]
    return {one: _said(one) for one in words}


def texts() -> Iterator[tuple[str, str | None]]:
    """Yield every text of all this that is translated, with its context."""
    yield from ((role, None) for role in get_args(Role))
    for section, kind in sections():
        yield _plain(section), CONTEXT
        for part, field in kind.model_fields.items():
            yield _plain(part), CONTEXT
            yield _described(field), None
            for one in kinds_of(field.annotation):
                if isinstance(one, str) and one not in KEPT:
                    yield one, CONTEXT


def _plain(part: str) -> str:
    return part.replace("_", " ").capitalize()


def _said(choice: str) -> str:
    if choice in KEPT:
        return own_name(choice) if choice in LANGUAGES else choice
    return pgettext(CONTEXT, choice)


def _described(field: FieldInfo) -> str:
    return " ".join(one for one in field.metadata if isinstance(one, str))
