"""A second process for an analysis: half of its time goes on loading libraries, which two cores do in half of that."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from functools import partial
from importlib import import_module
from multiprocessing import active_children, get_context
from typing import TYPE_CHECKING, ParamSpec, TypeVar

if TYPE_CHECKING:
    from trialkit.analysis.beside import Beside

P = ParamSpec("P")
T = TypeVar("T")

SLOW_TO_LOAD = ("trialkit.analysis", "scipy.stats", "statsmodels.stats.proportion", "pingouin")
"""In the order in which the second process is asked for them."""


@contextmanager
def second_process() -> Iterator[Beside]:
    """Start a process that loads the slow libraries and takes work meanwhile; it ends with the context.

    Where the libraries are loaded already, where there is one core, or where no process can be started or it is
    killed, the work is done in this one.
    """
    if "scipy.stats" in sys.modules or (os.cpu_count() or 1) < 2:
        yield partial
        return
    pool = ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_load)
    try:
        with _no_interrupt():
            pool.submit(int)
    except OSError:
        yield partial
        return

    def beside(work: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Callable[[], T]:
        try:
            future = pool.submit(work, *args, **kwargs)
        except BrokenProcessPool:
            return partial(work, *args, **kwargs)

        def result() -> T:
            try:
                return future.result()
            except BrokenProcessPool:
                return work(*args, **kwargs)

        return result

    try:
        yield beside
    finally:
        for process in active_children():
            process.kill()  # nothing that it does is wanted any more
        pool.shutdown(cancel_futures=True)


@contextmanager
def _no_interrupt() -> Iterator[None]:
    """Let a process that is started here ignore Ctrl-C, which is for the one that started it."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _load() -> None:
    gc.set_threshold(100_000, 10, 10)
    for name in SLOW_TO_LOAD:
        import_module(name)
