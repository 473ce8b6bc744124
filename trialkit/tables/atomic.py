"""Writing files whole or not at all, and tables as CSV that no spreadsheet will run."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from trialkit.domain.errors import WrongCall
from trialkit.tables.formula_text import defused

if TYPE_CHECKING:
    import pandas as pd


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file so that it is either the old one or the whole new one, even if the power fails.

    Its folder must exist.

    Raises
    ------
    OSError
        If it cannot be written; nothing is left behind.
    """
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(8)}.tmp")
    try:
        with temporary.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        with contextlib.suppress(FileNotFoundError):  # keep the permissions of a file that is replaced
            temporary.chmod(path.stat().st_mode & 0o777)
        temporary.replace(path)
    except BaseException:  # an interrupt by the keyboard too must leave nothing behind
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise


def write_text(path: Path, text: str) -> None:
    """Write a text file, as `write_bytes`, in UTF-8 and with its line ends as they are."""
    write_bytes(path, text.encode("utf-8"))


@contextlib.contextmanager
def locked(lock: Path, timeout_s: float, busy: str) -> Iterator[None]:
    """Let one process at a time do what a lock file guards; others wait.

    Raises
    ------
    WrongCall
        Saying what is `busy`, if another process does not end in time.
    """
    from filelock import FileLock, Timeout

    guard = FileLock(lock)
    try:
        guard.acquire(timeout=timeout_s)
    except Timeout:
        raise WrongCall(f"{busy}; try again when it has ended.") from None
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
    columns = (_defused_texts(frame[name]) for name in frame.columns)
    return csv_of_texts([[defused(str(name)) for name in frame.columns], *zip(*columns, strict=True)])


def csv_of_texts(rows: Iterable[Sequence[str]]) -> str:
    """Return rows of texts as CSV, as they are: what a spreadsheet would run must have been defused."""
    return "".join(",".join(map(_field, row)) + "\n" for row in rows)


def _field(text: str) -> str:
    """Quote where RFC 4180 asks for it (the standard library leaves a lone carriage return bare)."""
    return '"' + text.replace('"', '""') + '"' if any(mark in text for mark in ',"\r\n') else text


def _defused_texts(column: pd.Series) -> list[str]:
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
