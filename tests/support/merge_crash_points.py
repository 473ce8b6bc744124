"""Leave behind what a merge would if it were killed at each of the calls by which it writes; run as a program.

Usage: python merge_crash_points.py TRIAL INTO FILE [WHY], or TRIAL INTO BUCKET HEAD COLUMN VALUE for a correction, or
TRIAL INTO joins GARDEN for a garden that joins. FILE is merged into a copy of the trial folder, and INTO/0, INTO/1, ...
are that copy as it stood at each call: before it is made, or, if it writes, half-way. At every eighth call the merge is
really killed, in a folder of its own. The last one is of the merge that came to its end; its number is printed.
"""

import io
import os
import shutil
import sys
from collections.abc import Callable
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any

from trialkit.returns.amending import add_garden
from trialkit.returns.correcting import Wanted, correct
from trialkit.returns.journal import Reason
from trialkit.returns.merge_files import merge_files

CALLS = ("fsync", "rename", "replace", "mkdir", "unlink", "rmdir", "chmod", "open", "close")
KILLED = 9
REALLY = 8


class Watch:
    """Does something at each call, whose own calls are not watched."""

    def __init__(self, each: Callable[[], None]) -> None:
        self.each, self.busy = each, False

    def strike(self) -> None:
        """One call is about to be made, or half made."""
        if not self.busy:
            self.busy = True
            self.each()
            self.busy = False

    def watching(self, call: Callable[..., Any]) -> Callable[..., Any]:
        """Watch a function."""

        def watched(*arguments: Any, **options: Any) -> Any:
            self.strike()
            return call(*arguments, **options)

        return watched

    def watching_files(self, call: Callable[..., Any]) -> Callable[..., Any]:
        """Watch what is written into files, too."""

        def watched(file: Any, mode: str = "r", *arguments: Any, **options: Any) -> Any:
            stream = call(file, mode, *arguments, **options)
            return stream if mode.startswith("r") else Halved(stream, self)

        return watched


class Halved:
    """A stream each of whose writes is seen when it is half made."""

    def __init__(self, stream: Any, watch: Watch) -> None:
        self.stream, self.watch = stream, watch

    def write(self, data: bytes) -> int:
        """Write half, let that be seen, and write the rest."""
        half = len(data) // 2
        self.stream.write(data[:half])
        self.stream.flush()
        self.watch.strike()
        return half + int(self.stream.write(data[half:]))

    def __enter__(self) -> "Halved":
        return self

    def __exit__(self, *error: object) -> None:
        self.stream.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


def changed(folder: Path, words: list[str]) -> None:
    """Merge a file, let a garden join, or correct a head."""
    if words[0] == "joins":
        add_garden(folder, words[1], blocks=None, why="asked to", on=date(2026, 9, 1))
        return
    if len(words) <= 2:
        reason = Reason(words[1], "adviser", date(2026, 10, 2)) if len(words) == 2 else None
        merge_files(folder, [Path(words[0])], reason=reason)
        return
    bucket, head, column, value = words
    wanted = Wanted(bucket, head, None, {column: value})
    correct(folder, wanted, Reason("read 241", "adviser", date(2026, 10, 2)))


def change_in_a_child(folder: Path, words: list[str], each: Callable[[], None]) -> int:
    """Merge, add or correct in a process of its own that does something at each call; return its exit status."""
    child = os.fork()
    if child == 0:
        watch = Watch(each)
        for name in CALLS:
            setattr(os, name, watch.watching(getattr(os, name)))
        io.open = watch.watching_files(io.open)  # type: ignore[assignment]
        changed(folder, words)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status)


def copying(folder: Path, into: Path) -> Callable[[], None]:
    """Return what copies the folder to the next number at each call."""
    numbers = count()
    return lambda: (shutil.copytree(folder, into / str(next(numbers))), None)[1]


def dying(number: int) -> Callable[[], None]:
    """Return what ends the process at once at its N-th call."""
    left = iter(range(number))
    return lambda: None if next(left, None) is not None else os._exit(KILLED)


def main() -> None:
    """Copy at every call, kill at some, and keep the end."""
    trial, into = map(Path, sys.argv[1:3])
    words = sys.argv[3:]
    work = Path(shutil.copytree(trial, into.with_name("work")))
    if change_in_a_child(work, words, copying(work, into)):
        raise SystemExit("The merge failed by itself.")
    calls = len(list(into.iterdir()))
    for number in range(0, calls, REALLY):
        shutil.rmtree(into / str(number))
        copy = Path(shutil.copytree(trial, into / str(number)))
        if change_in_a_child(copy, words, dying(number)) != KILLED:
            raise SystemExit(f"The merge failed by itself at call {number}.")
    work.rename(into / str(calls))
    print(calls)


if __name__ == "__main__":
    main()
