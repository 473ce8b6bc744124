"""Run ``trialkit`` as a user does: in this process, or, where that is what is tested, in one of its own.

In this process the whole program runs, from its arguments to its exit status, on streams and an environment of its
own; an error that would be a traceback fails the test that meets it.
"""

import gc
import io
import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout, suppress
from typing import Any
from unittest.mock import patch

from trialkit.cli import main
from trialkit.cli.main import STOPS

DONE, DATA_ERROR, WRONG_CALL, NOT_COMPUTED = 0, 1, 2, 3
"""Exit statuses."""


class Terminal(io.TextIOWrapper):
    """A stream that says that it is one."""

    def isatty(self) -> bool:
        """Say so."""
        return True


def run(
    *arguments: Any, typed: str = "", piped: bytes = b"", watched: bool = False
) -> subprocess.CompletedProcess[str]:
    """Run ``trialkit`` in this process, with arguments and something typed at a terminal, or piped into it.

    What it says on standard error may be `watched` on a terminal.
    """
    words = [str(argument) for argument in arguments]
    given = (Terminal if typed else io.TextIOWrapper)(io.BytesIO(typed.encode("utf-8") or piped), encoding="utf-8")
    out, err = (
        kind(io.BytesIO(), encoding="utf-8", write_through=True)
        for kind in (io.TextIOWrapper, Terminal if watched else io.TextIOWrapper)
    )
    with patch.object(sys, "stdin", given), _as_before(), redirect_stdout(out), redirect_stderr(err):
        try:
            main(words)
        except SystemExit as ended:
            status = int(ended.code or 0)
    said, told = (stream.buffer.getvalue().decode("utf-8") for stream in (out, err))
    return subprocess.CompletedProcess(["trialkit", *words], status, said, told)


def answered(*arguments: Any) -> Any:
    """Run ``trialkit`` and return what it answers a program."""
    return json.loads(run(*arguments, "--json").stdout)["answer"]


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


def at_terminal(*arguments: Any, typed: str = "", **environment: str) -> tuple[int, str]:
    """Start the interpreter anew and run ``trialkit`` in it at a terminal; return its status and all that is shown."""
    import pty

    ours, theirs = pty.openpty()
    try:
        process = subprocess.Popen(
            [sys.executable, "-m", "trialkit", *map(str, arguments)],
            stdin=theirs, stdout=theirs, stderr=theirs, env={**os.environ, **environment},
        )  # fmt: skip
        os.close(theirs)
        os.write(ours, typed.encode("utf-8"))
        shown = b""
        with suppress(OSError):  # which is how the end of a terminal is told
            while more := os.read(ours, 4096):
                shown += more
        return process.wait(), shown.decode("utf-8").replace("\r\n", "\n")
    finally:
        os.close(ours)


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
