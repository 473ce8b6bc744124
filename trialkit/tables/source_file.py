"""Reading a text file that a stranger may have sent: bounded, within its folder, UTF-8 or a clear refusal."""

import hashlib
import stat
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from trialkit.documents.problems import Problem
from trialkit.domain.reading_budget import TABLE, OverBudget, ReadingBudget
from trialkit.tables.encodings import readings_of_bytes
from trialkit.tables.problem import problem, too_large


@dataclass(frozen=True)
class SourceText:
    """The text of one file and the SHA-256 digest of its bytes."""

    name: str
    text: str
    sha256: str


def read_source(
    folder: Path, name: str, *, severity: Literal["error", "warning"] = "error", budget: ReadingBudget = TABLE
) -> SourceText | Problem:
    """Read one file of a trial folder, as large as its budget at most; the text has no byte-order mark.

    The severity tells how much it matters if the file is missing.
    """
    data = read_bytes(folder, name, severity=severity, budget=budget)
    if isinstance(data, Problem):
        return data
    text = _decode(name, data)
    return text if isinstance(text, Problem) else SourceText(name, text, hashlib.sha256(data).hexdigest())


def read_bytes(
    folder: Path, name: str, *, severity: Literal["error", "warning"] = "error", budget: ReadingBudget = TABLE
) -> bytes | Problem:
    """Read the bytes of one file, as `read_source` reads its text."""
    path = folder / name
    try:
        if not path.resolve().is_relative_to(folder.resolve()):
            return problem("TK-F02", name, "link")
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            return problem("TK-F02", name, "folder")
        with path.open("rb") as stream:
            data = stream.read(budget.file_bytes + 1)
    except FileNotFoundError:
        return replace(problem("TK-F01", name), severity=severity)
    except (OSError, RuntimeError) as error:  # RuntimeError: a loop of links, on some systems
        return problem("TK-F02", name, "unreadable", said=str(error))
    try:
        budget.hold("file_bytes", max(len(data), status.st_size), counted=True)
    except OverBudget as over:
        return too_large(name, over)
    return data


def _decode(name: str, data: bytes) -> str | Problem:
    if data.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        return problem("TK-F10", name)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return problem("TK-F04", name, "UTF-16")
    nul = data.find(b"\0")
    if nul >= 0:
        return problem("TK-F05", name, row=_line_of(data, nul))
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # The codec counts from after the byte-order mark.
        start = error.start + 3 * data.startswith(b"\xef\xbb\xbf")
        likely, *_ = readings_of_bytes(data)
        spoiled = data[max(0, start - 12) : start + 12].decode(likely.encoding, errors="replace")
        return problem("TK-F04", name, row=_line_of(data, start), encoding=likely.name, near=spoiled)


def _line_of(data: bytes, offset: int) -> int:
    return data.count(b"\n", 0, offset) + 1
