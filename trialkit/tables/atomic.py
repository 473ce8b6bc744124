"""Writing files whole or not at all, and tables as CSV that no spreadsheet will run."""

from __future__ import annotations

import contextlib
import glob
import os
import secrets
import sys
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import IO, TYPE_CHECKING

import numpy as np

from trialkit.domain.errors import WrongCall
from trialkit.domain.written import note_file
from trialkit.languages import Saying, translatable
from trialkit.tables.formula_text import defused

if sys.platform != "win32":
    import fcntl

if TYPE_CHECKING:
    import pandas as pd

TOKEN_BYTES = 8
"""Of the name under which a file is written until it is whole."""


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file so that it is either the old one or the whole new one, even if the power fails.

    Its folder must exist. What an earlier write of the same file left that was killed is cleared away.

    Raises
    ------
    OSError
        If it cannot be written, with its name; nothing is left behind.
    """
    _clear_left_over(path)
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(TOKEN_BYTES)}.tmp")
    try:
        with temporary.open("xb") as stream:
            if not _is_held(stream):
                return write_bytes(path, data)
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
            with contextlib.suppress(FileNotFoundError):  # keep the permissions of a file that is replaced
                temporary.chmod(path.stat().st_mode & 0o777)
            if sys.platform != "win32":  # while it is held: nobody takes it for left over
                temporary.replace(path)
        if sys.platform == "win32":  # where an open file cannot be moved
            temporary.replace(path)
        note_file(path)
    except BaseException as error:  # an interrupt by the keyboard too must leave nothing behind
        with contextlib.suppress(OSError):
            temporary.unlink()
        if isinstance(error, OSError) and error.errno is not None:
            raise OSError(error.errno, error.strerror, str(path)) from error
        raise


def _clear_left_over(path: Path) -> None:
    """Remove what writes of a file left that were killed; one that is under way holds its own."""
    for left in path.parent.glob(f".{glob.escape(path.name)}.{'[0-9a-f]' * 2 * TOKEN_BYTES}.tmp"):
        with contextlib.suppress(OSError):
            if sys.platform == "win32":  # which refuses while another has it open
                left.unlink()
            elif left.is_file() and not left.is_symlink():
                with left.open("rb") as stream:
                    fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
                    left.unlink()


def _is_held(stream: IO[bytes]) -> bool:
    """Mark a new file as being written, for as long as it is open; false where it was cleared away before."""
    if sys.platform != "win32":
        with contextlib.suppress(OSError):  # some network file systems cannot
            fcntl.flock(stream, fcntl.LOCK_EX)
    return sys.platform == "win32" or os.fstat(stream.fileno()).st_nlink > 0


def write_text(path: Path, text: str) -> None:
    """Write a text file, as `write_bytes`, in UTF-8 and with its line ends as they are."""
    write_bytes(path, text.encode("utf-8"))


@contextlib.contextmanager
def locked(lock: Path, timeout_s: float, busy: Saying) -> Iterator[None]:
    """Let one process at a time do what a lock file guards; others wait.

    Raises
    ------
    WrongCall
        With what is `busy`, if another process does not end in time; or if the lock is a link, since what it leads to
        would be emptied.
    OSError
        If the lock cannot be had, with the name of its folder.
    """
    from filelock import FileLock, Timeout

    if lock.is_symlink():
        raise WrongCall(translatable("{committed} is a link: take it away."), committed=lock)
    guard = FileLock(lock)
    try:
        guard.acquire(timeout=timeout_s)
    except Timeout:
        raise WrongCall(busy) from None
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(lock.parent)) from error
    try:
        yield
    finally:
        guard.release()


def csv_text(frame: pd.DataFrame) -> str:
    r"""Return a table as CSV: a header, ``\n`` line ends, numbers in their shortest form, dates year-month-day.

    Text that a spreadsheet would take for a formula gets a single quote in front; numbers never do.

    The index is left out; missing values become empty cells, booleans yes or no.

    Examples
    --------
    >>> import pandas as pd
    >>> print(csv_text(pd.DataFrame({"note": ["=1+1", "fine"], "change_g": [-3.0, 2.5]})), end="")
    note,change_g
    '=1+1,-3
    fine,2.5
    """
    columns = (defused_texts(frame[name]) for name in frame.columns)
    return csv_of_texts([[defused(str(name)) for name in frame.columns], *zip(*columns, strict=True)])


def csv_of_texts(rows: Iterable[Sequence[str]]) -> str:
    """Return rows of texts as CSV, as they are: what a spreadsheet would run must have been defused."""
    return "".join(",".join(map(_field, row)) + "\n" for row in rows)


def _field(text: str) -> str:
    """Quote where RFC 4180 asks for it (the standard library leaves a lone carriage return bare)."""
    return '"' + text.replace('"', '""') + '"' if any(mark in text for mark in ',"\r\n') else text


def defused_texts(column: pd.Series) -> list[str]:
    """Return a typed column as the texts of its cells, each text that a spreadsheet would run with a quote in front."""
    pairs = zip(column, cell_texts(column), strict=True)
    return [defused(text) if isinstance(value, str) else text for value, text in pairs]


def cell_texts(column: pd.Series) -> list[str]:
    """Return a typed column as the texts of its cells, formulas not defused; missing ones are empty."""
    missing = column.isna()
    return ["" if absent else _cell(value) for value, absent in zip(column, missing, strict=True)]


def _cell(value: object) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, float):
        return repr(int(value)) if value.is_integer() and abs(value) < 2**53 else repr(float(value))
    return value.date().isoformat() if isinstance(value, datetime) else str(value)
