"""Run ``trialkit`` as a user does: in this process, or, where that is what is tested, in one of its own.

In this process the whole program runs, from its arguments to its exit status, on streams and an environment of its
own; an error that would be a traceback fails the test that meets it.
"""

import gc
import io
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from typing import Any
from unittest.mock import patch

from trialkit.cli import main
from trialkit.cli.main import STOPS

DONE, DATA_ERROR, WRONG_CALL, NOT_COMPUTED = 0, 1, 2, 3
"""Exit statuses."""


def run(*arguments: Any, typed: str = "") -> subprocess.CompletedProcess[str]:
    """Run ``trialkit`` with arguments and something typed into it, in this process."""
    words = [str(argument) for argument in arguments]
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    with _typed(typed), _as_before(), redirect_stdout(out), redirect_stderr(err):
        try:
            main(words)
        except SystemExit as ended:
            status = int(ended.code or 0)
    said, told = (stream.buffer.getvalue().decode("utf-8") for stream in (out, err))
    return subprocess.CompletedProcess(["trialkit", *words], status, said, told)


def start(*arguments: Any, **environment: str) -> subprocess.CompletedProcess[str]:
    """Start the interpreter anew and run ``trialkit`` in it, with more in its environment."""
    return subprocess.run(
        [sys.executable, "-m", "trialkit", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
        env={**os.environ, **environment},
    )


@contextmanager
def _typed(text: str) -> Iterator[None]:
    before = sys.stdin
    sys.stdin = io.TextIOWrapper(io.BytesIO(text.encode("utf-8")), encoding="utf-8")
    try:
        yield
    finally:
        sys.stdin = before


@contextmanager
def _as_before() -> Iterator[None]:
    """Leave how signals are taken as it was, and what the search for cycles is spared, which conftest.py settles."""
    before = {number: signal.getsignal(number) for name in STOPS if (number := getattr(signal, name, None))}
    try:
        with patch.object(gc, "freeze"):
            yield
    finally:
        for number, taken in before.items():
            signal.signal(number, taken)
