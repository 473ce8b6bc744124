"""Work that nothing waits for yet: done when its result is asked for, or meanwhile somewhere else."""

from __future__ import annotations

from collections.abc import Callable
from typing import ParamSpec, Protocol, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


class Beside(Protocol):
    """Takes a function of a module and its arguments, and returns what gives the result when called.

    `functools.partial` is one, which does the work then; the command line's second process is another.
    """

    def __call__(self, work: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Callable[[], T]:
        """Take the work."""
