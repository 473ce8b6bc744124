"""Where simulations run: all cores of this machine, or a Dask scheduler."""

from __future__ import annotations

import importlib
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from typing import ParamSpec, TypeVar

from trialkit.errors import NotComputed, WrongCall

P = ParamSpec("P")
T = TypeVar("T")

CONNECT_SECONDS = 20
THREAD_SETTINGS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


@contextmanager
def simulation_executor(workers: int | None = None, scheduler: str | None = None) -> Iterator[Executor]:
    """Open somewhere to run simulations, and close it whatever happens.

    Parameters
    ----------
    workers : int, optional
        Processes on this machine; as many as it has cores by default.
    scheduler : str, optional
        Address of a Dask scheduler, such as ``"tcp://office:8786"``; it runs everything instead.

    Yields
    ------
    concurrent.futures.Executor
        On Ctrl-C, or any other way out, nothing more is started and the processes end.

    Raises
    ------
    NotComputed
        If the library for clusters is not installed, or no scheduler answers.
    WrongCall
        If both are given, or the number of workers is below one.
    """
    if scheduler is not None and workers is not None:
        raise WrongCall("Give a number of workers or a scheduler, not both: the scheduler has workers of its own.")
    if scheduler is not None:
        with _dask(scheduler) as executor:
            yield executor
        return
    if workers is not None and workers < 1:
        raise WrongCall(f"{workers} workers cannot work: give 1 or more.")
    pool = _Processes(workers)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


class _Processes(ProcessPoolExecutor):
    """A process pool that leaves Ctrl-C to its parent, which cancels what has not begun.

    A terminal sends it to every process. Processes are fresh: forked ones would inherit the locks of the numerical
    libraries' threads.
    """

    def __init__(self, workers: int | None) -> None:
        context = multiprocessing.get_context("spawn")
        super().__init__(workers, mp_context=context, initializer=_begin_worker)

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        """Submit work, which may start a process: it must not be interrupted before it can ignore that."""
        with _interrupts_held():
            return super().submit(fn, *args, **kwargs)


def _begin_worker() -> None:
    """Ignore Ctrl-C, and keep to one core: as many processes as cores leave none for threads of matrix libraries."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    for name in THREAD_SETTINGS:  # read when the libraries load, which is later
        os.environ.setdefault(name, "1")


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


@contextmanager
def _dask(scheduler: str) -> Iterator[Executor]:
    try:
        distributed = importlib.import_module("distributed")  # only where it is asked for: it is slow, and an extra
    except ImportError as error:
        raise NotComputed(
            "A scheduler needs the extra 'cluster': python -m pip install 'trialkit[cluster]', or leave it out."
        ) from error
    try:
        client = distributed.Client(scheduler, timeout=CONNECT_SECONDS)
    except (OSError, TimeoutError, ValueError) as error:
        raise NotComputed(f"No scheduler answers at {scheduler}: start one there, or leave it out.") from error
    try:
        yield client.get_executor()
    finally:
        client.close()
