"""A second process for an analysis: much of its time goes on loading libraries, which two cores can share."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from multiprocessing import active_children
from types import ModuleType
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

from trialkit._processes import Processes, cores

if TYPE_CHECKING:
    from trialkit.analysis.beside import Beside

P = ParamSpec("P")
T = TypeVar("T")

NEVER_DRAWN_WITH = "pingouin.plotting"
"""Loads two libraries of pictures: three quarters of the time that pingouin takes to load."""
SLOW_TO_LOAD = ("trialkit.analysis", "scipy.stats", "statsmodels.stats.proportion", "pingouin")
"""In the order in which the second process is asked for them."""


@contextmanager
def second_process(libraries: Sequence[str] = SLOW_TO_LOAD) -> Iterator[Beside]:
    """Start a process that loads slow libraries and takes work meanwhile; it ends with the context.

    Where the libraries are loaded already, where there is one core, or where a process cannot be started or is killed,
    the work is done in this one.

    Parameters
    ----------
    libraries : sequence of str
    """
    if set(libraries) <= set(sys.modules):
        yield partial
        return
    _put_off_pictures()  # here as well: work may have to be done in this process
    if cores() < 2:
        yield partial
        return
    try:
        pool = Processes(1)
        pool.submit(_load, tuple(libraries))
    except (OSError, NotImplementedError):  # no room for a process, or a system without semaphores
        yield partial
        return

    def beside(work: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Callable[[], T]:
        here = partial(work, *args, **kwargs)
        try:
            future = pool.submit(here)
        except BrokenProcessPool:
            return here

        def result() -> T:
            try:
                return future.result()
            except BrokenProcessPool:
                return here()

        return result

    try:
        yield beside
    finally:
        for process in active_children():
            process.kill()  # whatever it is at, nobody wants it any more
        pool.shutdown(cancel_futures=True)


def _put_off_pictures() -> None:
    sys.modules.setdefault(NEVER_DRAWN_WITH, _PutOff(NEVER_DRAWN_WITH))


def _load(libraries: tuple[str, ...]) -> None:
    _put_off_pictures()
    for name in libraries:
        import_module(name)


class _PutOff(ModuleType):
    """A module that is loaded when something of it is first asked for."""

    # Every import of the module asks for its spec and its path, and pingouin for all that it has.
    __spec__ = None
    __all__: Sequence[str] = ()

    def __getattr__(self, name: str) -> Any:
        if name == "__path__":
            raise AttributeError(name)
        if sys.modules.get(self.__name__) is self:
            del sys.modules[self.__name__]
        return getattr(import_module(self.__name__), name)
