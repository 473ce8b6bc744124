"""Where simulations run: all cores of this machine, or a Dask scheduler."""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager

from trialkit._processes import Processes
from trialkit.domain.errors import NotComputed

CONNECT_SECONDS = 20


@contextmanager
def simulation_executor(scheduler: str | None = None) -> Iterator[Executor]:
    """Open as many processes on this machine as it has cores, or a Dask scheduler, to run simulations in.

    On Ctrl-C, or any other way out, nothing more is started and the processes end. A scheduler goes by its address,
    such as ``"tcp://office:8786"``.

    Raises
    ------
    NotComputed
        If the library for clusters is not installed, or no scheduler answers.
    """
    if scheduler is not None:
        with _dask(scheduler) as executor:
            yield executor
        return
    pool = Processes(None)
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


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
