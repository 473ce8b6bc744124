"""Stop each command that writes wherever it may be stopped, and judge what it leaves behind."""

import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from errno import EACCES, EDQUOT, ENOSPC, EROFS
from itertools import count
from pathlib import Path
from typing import Any
from unittest.mock import patch

from filelock import FileLock

from commands import WRONG_CALL, run
from file_calls import WRITING, at_every_call
from writing_commands import State, Writing, is_committed, left_over, made_world, put_back, seen, state_of, words_of

STOPPED = 130
TOLD = {
    ENOSPC: "the disk is full, so no file was left half-written. Free some space, then run trialkit",
    EDQUOT: "you may store no more there",
    EROFS: "nothing can be written",
    EACCES: "may not read or write it",
}
IN_TWO_STEPS = ("add", "recommend")
"""What a ledger keeps is written before the index tells of it, and pages after: each by itself is whole."""


class Sweep:
    """One command in a world of its own, done once as it should be; each stop begins from the same state.

    Attributes
    ----------
    calls : list of str
        Every call by which it changes files.
    """

    def __init__(self, one: Writing, words: Sequence[str]) -> None:
        self.one, self.words, self.calls = one, words, list[str]()
        self.before = state_of(one.changes)
        self.states: list[State] = []
        with at_every_call(self._look):
            self.done = run(*words)
        assert self.done.returncode < WRONG_CALL, self.done.stderr
        self.after = state_of(one.changes)
        assert seen(self.after) != seen(self.before)
        assert not left_over(self.after), left_over(self.after)

    def _look(self, name: str) -> None:
        self.calls.append(name)
        state = state_of(self.one.changes)
        if not self.states or state != self.states[-1]:
            self.states.append(state)

    def judge(self, state: State) -> str:
        """Tell whether a state is old or new, or between them with what the next run needs to end it; then run it."""
        old, new, now = seen(self.before), seen(self.after), seen(state)
        half = [name for name in now if now[name] not in (old.get(name, b"none"), new.get(name, b"none"))]
        assert not half, half
        found = "old" if now == old else "new" if now == new else "between"
        assert found != "between" or is_committed(state) or self.one.name in IN_TWO_STEPS, sorted({*now} ^ {*old})
        put_back(state, self.one.changes)
        again = run(*self.words)
        told = again.stdout + again.stderr
        assert again.returncode == self.done.returncode or (self.one.again and self.one.again in told), told
        final = state_of(self.one.changes)
        assert seen(final) == new, (found, {name for name, _ in seen(final).items() ^ new.items()})
        assert not left_over(final), left_over(final)
        return found

    def killed(self, every: int = 1) -> Counter[str]:
        """Judge every state, or one of several, that a kill would leave."""
        return Counter(map(self.judge, self.states[::every]))

    def interrupted(self, every: int = 1) -> Counter[str]:
        """Judge what Ctrl-C leaves, but for calls at which this process, which goes on, would keep a lock open."""
        found: Counter[str] = Counter()
        for number in [number for number, name in enumerate(self.calls) if name not in ("open", "close")][::every]:
            put_back(self.before, self.one.changes)
            numbers = count()
            with at_every_call(lambda _: _interrupt() if next(numbers) == number else None):  # noqa: B023
                done = run(*self.words)
            state = state_of(self.one.changes)
            assert done.returncode in (STOPPED, self.done.returncode), done.stderr
            assert done.returncode != STOPPED or "Stopped. No file is left half-written." in done.stderr
            found[self.judge(state)] += 1
        return found

    def refused(self, reason: int, every: int = 1) -> Counter[str]:
        """Judge what is left where the disk refuses every call that writes from one call on."""
        found: Counter[str] = Counter()
        writing = [number for number, name in enumerate(self.calls) if name in WRITING]
        for number in writing[::every]:
            put_back(self.before, self.one.changes)
            with at_every_call(_refusing(number, reason)):
                done = run(*self.words)
            state = state_of(self.one.changes)
            if done.returncode != self.done.returncode:  # what could not be synced may be whole nevertheless
                assert done.returncode == WRONG_CALL, done.stderr
                assert TOLD[reason] in done.stderr or "cannot be made" in done.stderr, done.stderr
                assert "Errno" not in done.stderr
            found[self.judge(state)] += 1
        return found


def _interrupt() -> None:
    raise KeyboardInterrupt


def _refusing(number: int, reason: int) -> Callable[[str], None]:
    numbers = count()

    def refuse(name: str) -> None:
        if next(numbers) >= number and name in WRITING:
            raise OSError(reason, os.strerror(reason))

    return refuse


@contextmanager
def sweep_of(base: Path, one: Writing) -> Iterator[Sweep]:
    """Give the sweep of a command, in its own world."""
    with made_world(base, one) as (_, words):
        yield Sweep(one, words)


BUSY = "try again when it has ended"


class Impatient(FileLock):
    """A lock for which nobody waits."""

    def acquire(self, timeout: float | None = None, **options: Any) -> Any:  # noqa: ARG002
        """Take it, or say at once that it is taken."""
        return super().acquire(timeout=0, **options)


def interleaved(base: Path, first: Writing, second: Writing, parts: int) -> Counter[str]:
    """Run one command wholly within another, at several of its calls; what comes of it must be as if in turn.

    Returns
    -------
    Counter
        How often both were done, and how often one was told that the other is at work.
    """
    found: Counter[str] = Counter()
    folders = tuple({*first.changes, *second.changes})
    with made_world(base, first) as (place, words), patch("filelock.FileLock", Impatient):
        second.prepare(place)
        other = words_of(second)
        before = state_of(folders)
        calls = count()
        with at_every_call(lambda _: (next(calls), None)[1]):
            run(*words)
        outcomes = [seen(state_of(folders))]
        run(*other)
        outcomes.append(seen(state_of(folders)))
        for order in ((other,), (other, words)):
            put_back(before, folders)
            for one in order:
                run(*one)
            outcomes.append(seen(state_of(folders)))
        number_of_calls = next(calls)
        for part in range(parts):
            put_back(before, folders)
            at, numbers, told = number_of_calls * part // parts, count(), list[str]()

            def meet(_: str, at: int = at, numbers: Iterator[int] = numbers, told: list[str] = told) -> None:
                if next(numbers) == at:
                    done = run(*other)
                    told.append(done.stderr + done.stdout)

            with at_every_call(meet):
                done = run(*words)
            told.append(done.stderr + done.stdout)
            assert seen(state_of(folders)) in outcomes, (words, other, at)
            assert not left_over(state_of(folders)), (words, other, at)
            found["refused" if any(BUSY in text for text in told) else "both"] += 1
    return found
