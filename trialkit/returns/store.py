"""Writing what a merge changes, all of it or nothing, whenever the power fails; and one merge at a time.

New versions are written into a staging folder. Renaming that folder is the one instant at which they begin to count.
From then on they are only moved into place, which the next merge does if this one cannot.
"""

import hashlib
import os
import shutil
from collections.abc import Mapping
from contextlib import AbstractContextManager, suppress
from pathlib import Path, PurePosixPath

from trialkit.documents.document import as_text, from_text
from trialkit.documents.returns import StagedFile, StagedFiles
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.table_names import RECORD_TABLES
from trialkit.rules.unfinished import COMMITTED, STAGING
from trialkit.tables import atomic

RETURNED = "returned"
MANIFEST = "manifest.json"
LOCK, LOCK_TIMEOUT_S = ".merge.lock", 30.0
ALLOWED = frozenset(f"{name}.csv" for name in (*RECORD_TABLES, "layout", "sites", "amendments"))


def locked(folder: Path, timeout_s: float = LOCK_TIMEOUT_S) -> AbstractContextManager[None]:
    """Let one merge at a time work on a folder; others wait, and give up with a `WrongCall`."""
    return atomic.locked(folder / LOCK, timeout_s, f"Another merge is at work on {folder}")


def safe_returned(folder: Path) -> Path:
    """Return the folder of originals, which must not lead out of the trial folder.

    Raises
    ------
    WrongCall
        If it is a link or no folder.
    """
    path = folder / RETURNED
    if path.is_symlink() or (path.exists() and not path.is_dir()):
        raise WrongCall(f"{path} must be an ordinary folder, not a link: originals are kept in it.")
    return path


def commit(folder: Path, files: Mapping[str, bytes]) -> None:
    """Put new versions of files, by path within the trial folder, in place, all of them or none.

    Raises
    ------
    OSError
        If they cannot be written; nothing has changed then, unless the new versions count already and the next merge
        puts them in place.
    """
    if not files:
        return
    staging = folder / STAGING
    _discard(staging)
    staging.mkdir()
    entries = []
    for number, (name, data) in enumerate(files.items()):
        _checked_name(name)
        part = f"{number}.part"
        _write(staging / part, data)
        target = folder / name
        if target.is_file() and not target.is_symlink():
            (staging / part).chmod(target.stat().st_mode & 0o777)
        entries.append(StagedFile(name, part, hashlib.sha256(data).hexdigest()))
    _write(staging / MANIFEST, as_text(StagedFiles(tuple(entries))).encode("utf-8"))
    _sync_folder(staging)
    staging.rename(folder / COMMITTED)  # from here on the new versions count
    _sync_folder(folder)
    finish(folder)


def finish(folder: Path) -> bool:
    """Put in place what a merge had committed, if anything, and clear away what one had only begun.

    True where there was anything to put in place.

    Raises
    ------
    NotComputed
        If what was committed is not what it should be.
    """
    if (folder / STAGING).exists():
        _discard(folder / STAGING)
    committed = folder / COMMITTED
    if not committed.exists():
        return False
    if committed.is_symlink():
        raise WrongCall(f"{committed} is a link: take it away.")
    if (committed / MANIFEST).exists():
        for entry in _manifest(committed):
            _put_in_place(folder, committed, entry)
        _sync_folder(folder)
        _sync_folder(safe_returned(folder))
        (committed / MANIFEST).unlink()
    committed.rmdir()
    _sync_folder(folder)
    return True


def _manifest(committed: Path) -> tuple[StagedFile, ...]:
    try:
        return from_text(StagedFiles, (committed / MANIFEST).read_text("utf-8")).files
    except ValueError as error:  # no such document, or no text at all
        raise NotComputed(f"{committed} is damaged: keep it, and restore the tables from a copy.") from error


def _put_in_place(folder: Path, committed: Path, entry: StagedFile) -> None:
    name = _checked_name(entry.name)
    part, target = committed / PurePosixPath(entry.part).name, folder / name
    if part.is_file():
        if name not in ALLOWED:
            safe_returned(folder).mkdir(exist_ok=True)
        part.replace(target)
    elif not target.is_file() or hashlib.sha256(target.read_bytes()).hexdigest() != entry.sha256:
        raise NotComputed(f"{target} was changed while a merge was unfinished: restore it from a copy.")


def _checked_name(name: str) -> str:
    """Refuse a path that a merge would never write."""
    path = PurePosixPath(name)
    in_returned = len(path.parts) == 2 and path.parts[0] == RETURNED and path.name not in (".", "..")
    if name not in ALLOWED and not (in_returned and "\\" not in name):
        raise NotComputed(f"{name!r} is no file that a merge writes.")
    return name


def _write(path: Path, data: bytes) -> None:
    with path.open("xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _sync_folder(path: Path) -> None:
    """Make renames in a folder last; where folders cannot be opened (Windows) the system does so itself."""
    if not path.is_dir():
        return
    with suppress(PermissionError, IsADirectoryError):
        handle = os.open(path, os.O_RDONLY)
        try:
            with suppress(OSError):  # some network file systems refuse to sync a folder
                os.fsync(handle)
        finally:
            os.close(handle)


def _discard(path: Path) -> None:
    """Remove what was staged but never counted."""
    if path.is_symlink():
        path.unlink()
    elif path.exists():
        shutil.rmtree(path)
