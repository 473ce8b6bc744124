"""Which files a command wrote and took away, told where that is done: nobody above needs to keep a list."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

_listening: ContextVar[dict[Path, bool] | None] = ContextVar("listening", default=None)


def note_file(path: Path) -> None:
    """Tell that a file, or a folder with all that is in it, was put in its place or taken away."""
    files = _listening.get()
    if files is None:
        return
    place = path.absolute()
    if place.is_dir():
        files.update({inner: True for inner in place.rglob("*") if inner.is_file()})
    else:
        files[place] = place.exists()


@contextmanager
def noted_files() -> Iterator[dict[Path, bool]]:
    """Give what is told meanwhile: each file by its whole path, and whether it is there.

    Examples
    --------
    >>> with noted_files() as files:
    ...     note_file(Path("/nowhere/heads.csv"))
    >>> list(files.values())
    [False]
    """
    files: dict[Path, bool] = {}
    token = _listening.set(files)
    try:
        yield files
    finally:
        _listening.reset(token)
