"""Run one collect many times, each time killed at another of the calls by which it writes; run as a program.

Usage: python collect_crash_points.py TRIAL FILE INTO. The trial folder is copied to INTO/0, INTO/1, ... and the collect
of FILE is killed in copy N at its N-th call: before it is made, or, if it writes, half-way. In the last copy it was not
killed. Prints the number of that copy.
"""

import io
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from trialkit.returns.collect import collect

CALLS = ("fsync", "rename", "replace", "mkdir", "unlink", "rmdir", "chmod", "open", "close")
KILLED = 9


class Switch:
    """Counts calls, and pulls the plug at one of them."""

    def __init__(self, last: int) -> None:
        self.left = last

    def spent(self) -> bool:
        """Count one call; true if it is the one at which the plug is pulled."""
        self.left -= 1
        return self.left < 0

    def watching(self, call: Callable[..., Any]) -> Callable[..., Any]:
        """Watch a function."""

        def watched(*arguments: Any, **options: Any) -> Any:
            if self.spent():
                os._exit(KILLED)
            return call(*arguments, **options)

        return watched

    def watching_files(self, call: Callable[..., Any]) -> Callable[..., Any]:
        """Watch what is written into files, too."""

        def watched(file: Any, mode: str = "r", *arguments: Any, **options: Any) -> Any:
            stream = call(file, mode, *arguments, **options)
            return stream if mode.startswith("r") else Halved(stream, self)

        return watched


class Halved:
    """A stream whose last write is only half made."""

    def __init__(self, stream: Any, switch: Switch) -> None:
        self.stream, self.switch = stream, switch

    def write(self, data: bytes) -> int:
        """Write, or write half and pull the plug."""
        if self.switch.spent():
            self.stream.write(data[: len(data) // 2])
            self.stream.flush()
            os._exit(KILLED)
        return int(self.stream.write(data))

    def __enter__(self) -> "Halved":
        return self

    def __exit__(self, *error: object) -> None:
        self.stream.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


def killed_at(number: int, folder: Path, file: Path) -> bool:
    """Collect in a process of its own that ends at once at its N-th call; tell whether it got so far."""
    child = os.fork()
    if child == 0:
        switch = Switch(number)
        for name in CALLS:
            setattr(os, name, switch.watching(getattr(os, name)))
        io.open = switch.watching_files(io.open)  # type: ignore[assignment]
        collect(folder, [file])
        os._exit(0)
    _, status = os.waitpid(child, 0)
    code = os.waitstatus_to_exitcode(status)
    if code not in (0, KILLED):
        raise SystemExit(f"The collect failed by itself at call {number}.")
    return code == KILLED


def main() -> None:
    """Kill at every call, until none is left."""
    trial, file, into = map(Path, sys.argv[1:])
    number = 0
    while killed_at(number, Path(shutil.copytree(trial, into / str(number))), file):
        number += 1
    print(number)


if __name__ == "__main__":
    main()
