"""Processes of our own: fresh ones, that leave Ctrl-C to the one they work for and never outlive it."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from threading import Thread
from typing import ParamSpec, TypeVar

from trialkit._startup import begin_lightly

P = ParamSpec("P")
T = TypeVar("T")


def cores() -> int:
    """Count the cores that this process may use, which can be fewer than the machine has."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


class Processes(ProcessPoolExecutor):
    """A process pool that leaves Ctrl-C to its parent, which cancels what has not begun.

    A terminal sends it to every process. Processes are fresh: forked ones would inherit the locks of the numerical
    libraries' threads.

    Parameters
    ----------
    workers : int, optional
        As many as there are cores for this process by default.
    """

    def __init__(self, workers: int | None) -> None:
        super().__init__(workers or cores(), mp_context=multiprocessing.get_context("spawn"), initializer=_begin)

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Submit work, which may start a process: it must not be interrupted before it can ignore that."""
        with _interrupts_held():
            return super().submit(fn, *args, **kwargs)


def _begin() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=end_with_parent, daemon=True).start()
    begin_lightly()


def end_with_parent() -> None:
    """End when the process that this one works for is gone, were it killed."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Hold Ctrl-C back for a moment; a process started meanwhile never gets it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
