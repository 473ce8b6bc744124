"""What is trialkit's own, to be written anew, and what is not, and so is never overwritten or taken away: one rule.

A file is known as one of ours by a mark in it: pages have their generator, documents their schema, calendars their
product, PDF files their identifier, and archives a digest of what is in them, which a spreadsheet program that saves a
workbook anew does not know.
"""

import hashlib
import io
import json
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

from trialkit.domain.errors import WrongCall
from trialkit.languages import translatable
from trialkit.tables.table_schema import load_schema

LARGEST_OWN_BYTES = 200_000_000
LARGEST_MARK_BYTES = 20_000_000
PACKAGE_FILE, WORKBOOK_FILE = "datapackage.json", "docProps/core.xml"
"""Where a data package, and a workbook, say what they hold."""
PAGE = re.compile(rb'<meta name="generator" content="(trialkit [a-z ]+)">')
DOCUMENT = re.compile(rb'\s*\{\s*"(?:schema|format)": "(trialkit-[a-z-]+)-\d+"')
PDF_MARK, CALENDAR_MARK = b"/ID [(trialkit ", b"PRODID:-//trialkit//"
DIGEST = re.compile(r"trialkit-([0-9a-f]{64})")


def page_mark(kind: str) -> str:
    """Return the mark of a page of a kind, such as ``check``: it names what made it, as pages do."""
    return f'<meta name="generator" content="trialkit {kind}">'


def archive_mark(archive: zipfile.ZipFile, but: str) -> str:
    """Return the mark of an archive: a digest of names, sizes and checksums of what it holds, but for one file."""
    entries = sorted((one.filename, one.file_size, one.CRC) for one in archive.infolist() if one.filename != but)
    return f"trialkit-{hashlib.sha256(json.dumps(entries).encode()).hexdigest()}"


def kind_of(data: bytes) -> str | None:
    """Name the kind of trialkit's own files that one is of; None for whatever else it is.

    Examples
    --------
    >>> kind_of(b'{"schema": "trialkit-results-5"}'), kind_of(b"my notes")
    ('trialkit-results', None)
    """
    if data.startswith(b"<!DOCTYPE html>"):
        found = PAGE.search(data, 0, 2000)
        return found[1].decode() if found else None
    if found := DOCUMENT.match(data, 0, 200):
        return found[1].decode()
    starts: tuple[tuple[bytes, Callable[[bytes], str | None]], ...] = (
        (b"PK", _kind_of_archive),
        (b"%PDF", lambda data: "handout as PDF" if PDF_MARK in data[-2000:] else None),
        (b"BEGIN:VCALENDAR", lambda data: "calendar" if CALENDAR_MARK in data[:200] else None),
    )
    for start, kind in starts:
        if data.startswith(start):
            return kind(data)
    return "layout" if _is_layout(data) else None


def _kind_of_archive(data: bytes) -> str | None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for name in (PACKAGE_FILE, WORKBOOK_FILE):
                if name in archive.namelist() and archive.getinfo(name).file_size <= LARGEST_MARK_BYTES:
                    mark = DIGEST.search(archive.read(name).decode("utf-8", "replace"))
                    return name if mark and mark[0] == archive_mark(archive, name) else None
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, ValueError, OSError, EOFError):
        pass  # whatever it is, we did not write it
    return None


def _is_layout(data: bytes) -> bool:
    """Tell whether a table has the columns of a layout and no other, however a spreadsheet program parts them."""
    heading = data[:2000].decode("utf-8-sig", "replace").splitlines()[:1]
    columns = {name.strip(' "') for name in re.split(r"[,;\t]", heading[0])} if heading else set()
    return "bucket" in columns and columns <= set(load_schema("layout").columns)


def refuse_strangers(path: Path, data: bytes) -> None:
    """Refuse to write where something stands that is not an earlier version of the same kind.

    Raises
    ------
    WrongCall
        If it is anything but a file of the same kind by trialkit itself, or an empty one.
    """
    if path.is_symlink():
        raise WrongCall(
            translatable("{path} is a link, and trialkit writes through none: name a file, or delete the link."),
            path=path,
        )
    if not path.exists():
        return
    if not path.is_file():
        raise WrongCall(
            translatable("{path} is no ordinary file, so nothing was written: name another, or move it away."),
            path=path,
        )
    kind = kind_of(data)
    assert kind is not None, path
    if not is_own(path, kind):
        raise WrongCall(
            translatable(
                "{path} was not written by trialkit as it is now, so it was left alone and nothing was written. Move "
                "it elsewhere or give it another name, then run the command again."
            ),
            path=path,
        )


def is_own(path: Path, kind: str) -> bool:
    """Tell whether a file is one that trialkit wrote, of a kind; an empty one is anybody's."""
    if path.is_symlink() or not path.is_file() or path.stat().st_size > LARGEST_OWN_BYTES:
        return False
    data = path.read_bytes()
    return not data or kind_of(data) == kind


def ordinary_folder(path: Path) -> Path:
    """Return a folder within a trial or a ledger, there or not yet; it must not lead out of it.

    Raises
    ------
    WrongCall
        If it is a link or no folder.
    """
    if path.is_symlink() or (path.exists() and not path.is_dir()):
        raise WrongCall(
            translatable("{path} must be an ordinary folder, not a link or a file: trialkit keeps its files in it."),
            path=path,
        )
    return path
