"""How far long work is, told where it is done to whoever watches; nobody between needs to hand it on."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

Progress = Callable[[str, int, int], None]
"""Told what is being worked out, which one of them, and of how many."""
Thing = TypeVar("Thing")

_watching: ContextVar[Progress | None] = ContextVar("watching", default=None)


def working_on(what: str, at: int = 1, of: int = 1) -> None:
    """Tell what is being worked out."""
    watcher = _watching.get()
    if watcher is not None:
        watcher(what, at, of)


def each_told(things: Sequence[Thing], what: str) -> Iterable[Thing]:
    """Hand things on one by one, telling of each.

    Examples
    --------
    >>> with watched(lambda *told: print(*told)):
    ...     gardens = list(each_told(["FERN", "MILL"], "forms"))
    forms 1 2
    forms 2 2
    """
    for at, thing in enumerate(things, 1):
        working_on(what, at, len(things))
        yield thing


@contextmanager
def watched(watcher: Progress | None) -> Iterator[None]:
    """Have somebody told meanwhile of what is being worked out."""
    token = _watching.set(watcher)
    try:
        yield
    finally:
        _watching.reset(token)
