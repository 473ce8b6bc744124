"""Something is done at each call by which a process changes files: to see what a kill would leave, or to fail there."""

import io
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

CALLS = ("fsync", "rename", "replace", "mkdir", "unlink", "rmdir", "chmod", "open", "close")
WRITING = ("fsync", "rename", "replace", "mkdir", "write", "create")
"""Calls that a full or read-only disk refuses."""


class Watch:
    """Does something at each call, told its name; calls that it makes itself are not watched."""

    def __init__(self, each: Callable[[str], None]) -> None:
        self.each, self.busy = each, False

    def strike(self, name: str) -> None:
        """One call is about to be made, or half made."""
        if not self.busy:
            self.busy = True
            try:
                self.each(name)
            finally:
                self.busy = False

    def watching(self, name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        """Watch a function."""

        def watched(*arguments: Any, **options: Any) -> Any:
            self.strike(name)
            return call(*arguments, **options)

        return watched

    def watching_files(self, call: Callable[..., Any]) -> Callable[..., Any]:
        """Watch what is written into files, too."""

        def watched(file: Any, mode: str = "r", *arguments: Any, **options: Any) -> Any:
            if mode.startswith("r"):
                return call(file, mode, *arguments, **options)
            self.strike("create")
            return Halved(call(file, mode, *arguments, **options), self)

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
        self.watch.strike("write")
        return half + int(self.stream.write(data[half:]))

    def __enter__(self) -> "Halved":
        return self

    def __exit__(self, *error: object) -> None:
        self.stream.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


@contextmanager
def at_every_call(each: Callable[[str], None]) -> Iterator[None]:
    """Do something at each call that changes files, in this process."""
    watch = Watch(each)
    before = {name: getattr(os, name) for name in CALLS}
    watched = {name: watch.watching(name, call) for name, call in before.items()}
    with patch.multiple(os, **watched), patch.object(io, "open", watch.watching_files(io.open)):
        yield
