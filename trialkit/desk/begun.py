"""Where the desk keeps what is begun and not done: a hidden folder beside what it is of, out of every command's way.

A desk that is opened again, were the last one killed, finds there what it showed before. Once it is done it is gone.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from trialkit.documents.document import DamagedDocument, as_text, from_text
from trialkit.domain.errors import NotComputed
from trialkit.languages import Saying, gettext
from trialkit.tables.atomic import locked, write_text
from trialkit.tables.own_files import ordinary_folder

Kind = TypeVar("Kind")

FOLDER, LOCK = ".desk", ".lock"
LOCK_TIMEOUT_S = 30.0
MOST_BYTES = 4 << 20
"""Of one document."""


def begun_in(place: Path) -> Path:
    """Folder of what is begun in a trial, or in the folder of a desk; there or not.

    Raises
    ------
    WrongCall
        If it is a link or no folder.
    """
    return ordinary_folder(place / FOLDER)


@contextmanager
def changing(place: Path) -> Iterator[Path]:
    """Let one window, of this desk or another, change what is begun in a place; gives its folder, which is private.

    Raises
    ------
    WrongCall
        If another does not end in time.
    """
    folder = begun_in(place)
    folder.mkdir(mode=0o700, exist_ok=True)
    busy = Saying("Another window of the desk is at work on {folder}; try again when it has ended.", folder=place)
    with locked(folder / LOCK, LOCK_TIMEOUT_S, busy):
        clear_left_over(folder)
        yield folder


def clear_left_over(folder: Path) -> None:
    """Take away what was left of documents by whoever was killed while writing them; nobody else writes meanwhile."""
    for left in ordinary_folder(folder).glob(".*.tmp"):
        left.unlink(missing_ok=True)


def read_begun(kind: type[Kind], path: Path) -> Kind | None:
    """Read a document of what is begun; None where there is none.

    Raises
    ------
    NotComputed
        If it is damaged.
    """
    if not path.exists() and not path.is_symlink():
        return None
    try:
        if path.is_symlink() or not path.is_file() or path.stat().st_size > MOST_BYTES:
            raise DamagedDocument("")
        return from_text(kind, path.read_text("utf-8"))
    except FileNotFoundError:  # it was done meanwhile
        return None
    except ValueError as error:
        raise damaged(path) from error


def write_begun(path: Path, document: object) -> None:
    """Write one, whole or not at all.

    Raises
    ------
    NotComputed
        If it would be too long to be read again.
    """
    text = as_text(document)
    if len(text.encode("utf-8")) > MOST_BYTES:
        raise NotComputed(gettext("That is too large: at most {most} MB at once.", most=MOST_BYTES >> 20))
    write_text(path, text)


def damaged(path: Path) -> NotComputed:
    """Say that what was begun cannot be read."""
    return NotComputed(
        gettext("The desk cannot read its own file {path}: it is damaged. Move it elsewhere, then go on.", path=path)
    )
