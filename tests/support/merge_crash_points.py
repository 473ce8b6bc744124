"""Leave behind what a merge would if it were killed at each of the calls by which it writes; run as a program.

Usage: python merge_crash_points.py TRIAL INTO FILE [WHY], or TRIAL INTO BUCKET HEAD COLUMN VALUE for a correction, or
TRIAL INTO joins GARDEN for a garden that joins. FILE is merged into a copy of the trial folder, and INTO/0, INTO/1, ...
are that copy as it stood at each call: before it is made, or, if it writes, half-way. At every eighth call the merge is
really killed, in a folder of its own. The last one is of the merge that came to its end; its number is printed.
"""

import os
import shutil
import sys
from collections.abc import Callable
from datetime import date
from itertools import count
from pathlib import Path

from file_calls import at_every_call
from trialkit.returns.amending import add_garden
from trialkit.returns.correcting import Wanted, correct
from trialkit.returns.journal import Reason
from trialkit.returns.merge_files import merge_files

KILLED = 9
REALLY = 8


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
        with at_every_call(lambda _: each()):
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
