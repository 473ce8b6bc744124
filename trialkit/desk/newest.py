"""Work that only the newest of those who ask waits for, such as an answer to what is typed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Condition


@dataclass
class Newest:
    """Lets one at a time work, and of those that wait only the newest.

    Examples
    --------
    >>> with Newest().turn() as is_my_turn:
    ...     is_my_turn
    True
    """

    _changed: Condition = field(default_factory=Condition)
    _newest: int = 0
    _is_busy: bool = False

    @contextmanager
    def turn(self) -> Iterator[bool]:
        """Wait for one's turn: false at once where somebody newer asks meanwhile."""
        with self._changed:
            self._newest += 1
            mine = self._newest
            self._changed.notify_all()
            self._changed.wait_for(lambda: mine != self._newest or not self._is_busy)
            if is_mine := mine == self._newest:
                self._is_busy = True
        try:
            yield is_mine
        finally:
            if is_mine:
                with self._changed:
                    self._is_busy = False
                    self._changed.notify_all()
