"""Of those who wait for an answer, only the newest gets it."""

from __future__ import annotations

import time
from collections.abc import Callable
from threading import Event, Thread

from trialkit.desk.newest import Newest


def _until(is_so: Callable[[], bool]) -> None:
    until = time.monotonic() + 20
    while not is_so():
        assert time.monotonic() < until
        time.sleep(0.001)


def test_only_the_newest_waits_and_one_works_at_a_time() -> None:
    """Three ask while one works: two are told at once that others came after them, the third has its turn."""
    newest, go_on, told = Newest(), Event(), dict[int, bool]()

    def ask(number: int) -> None:
        with newest.turn() as is_my_turn:
            told[number] = is_my_turn
            if number == 0:
                go_on.wait(20)
            else:
                assert not is_my_turn or go_on.is_set()

    threads = [Thread(target=ask, args=(number,)) for number in range(4)]
    threads[0].start()
    _until(lambda: 0 in told)
    for number, thread in enumerate(threads[1:], start=1):
        thread.start()
        _until(lambda number=number: newest._newest == number + 1)  # type: ignore[misc]
    _until(lambda: {1, 2} <= told.keys())
    assert told == {0: True, 1: False, 2: False}
    go_on.set()
    for thread in threads:
        thread.join(20)
    assert told == {0: True, 1: False, 2: False, 3: True}
