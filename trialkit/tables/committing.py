"""Changing several files of a trial or a ledger, all of them or none, whenever the power fails; one command at a time.

New versions are written into a staging folder. Renaming that folder is the one instant at which they begin to count.
From then on they are only moved into place, which the next command does if this one cannot. What somebody changed
meanwhile is never moved over.
"""

import hashlib
import os
import shutil
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath

from trialkit.documents.document import as_text, from_text
from trialkit.documents.returns import StagedFile, StagedFiles
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.table_names import PROTOCOL_FILE
from trialkit.domain.written import note_file
from trialkit.languages import Saying, translatable
from trialkit.tables.atomic import locked
from trialkit.tables.own_files import ordinary_folder, refuse_strangers

STAGING, COMMITTED, ASIDE = ".merging", ".merged", ".trialkit-work"
"""Folders in a trial folder or ledger: versions being written, versions that count but are not in place yet, and what
is made step by step."""
LOCK, LOCK_TIMEOUT_S = ".trialkit.lock", 30.0
MANIFEST = "manifest.json"
DEEPEST = 3


@contextmanager
def at_work(folder: Path, timeout_s: float = LOCK_TIMEOUT_S) -> Iterator[bool]:
    """Let one command at a time change a trial folder, once what a stopped one had committed is in place.

    Others wait. Tells whether there was anything to put in place. A folder that holds no trial keeps no lock.

    Raises
    ------
    WrongCall
        If another command does not end in time.
    """
    with locked(
        folder / LOCK,
        timeout_s,
        Saying("Another trialkit command is at work on {folder}; try again when it has ended.", folder=folder),
    ):
        try:
            yield finish(folder)
        finally:
            if not (folder / PROTOCOL_FILE).exists():
                with suppress(OSError):
                    (folder / LOCK).unlink()


def write_outputs(folder: Path, files: Mapping[str, bytes], gone: Collection[str] = ()) -> None:
    """Write anew what trialkit makes, by path within the folder, and take away what it made before: all of it or none.

    Raises
    ------
    WrongCall
        If something stands in the way that trialkit did not write; nothing has changed then.
    OSError
        As `commit`.
    """
    for name, data in files.items():
        if (folder / name).parent != folder:
            ordinary_folder((folder / name).parent)
        refuse_strangers(folder / name, data)
    commit(folder, files, gone)


def commit(folder: Path, files: Mapping[str, bytes], gone: Collection[str] = ()) -> None:
    """Put new versions of files, by path within the folder, in place, and take others away, all of them or none.

    Raises
    ------
    OSError
        If they cannot be written; nothing has changed then, unless the new versions count already and the next command
        puts them in place.
    """
    if not files and not gone:
        return
    staging = folder / STAGING
    _discard(staging)
    try:
        staging.mkdir()
        entries = []
        for number, (name, data) in enumerate(files.items()):
            part, target = f"{number}.part", folder / _checked_name(name)
            _write(staging / part, data)
            if target.is_file() and not target.is_symlink():
                (staging / part).chmod(target.stat().st_mode & 0o777)
            entries.append(StagedFile(name, part, hashlib.sha256(data).hexdigest(), _digest(target)))
        entries += [StagedFile(_checked_name(name), None, None, _digest(folder / name)) for name in gone]
        _write(staging / MANIFEST, as_text(StagedFiles(tuple(entries))).encode("utf-8"))
        sync_folder(staging)
        staging.rename(folder / COMMITTED)  # from here on the new versions count
        sync_folder(folder)
        finish(folder)
    except BaseException:  # a full disk, an interrupt: what counts by now is ended, what does not is undone
        with suppress(OSError, NotComputed, WrongCall):
            finish(folder)
        raise


def finish(folder: Path) -> bool:
    """Put in place what a command had committed, if anything, and clear away what one had only begun.

    True where there was anything to put in place.

    Raises
    ------
    NotComputed
        If what was committed is not what it should be.
    WrongCall
        If a file that it would replace was changed since.
    """
    for begun in (STAGING, ASIDE):
        _discard(folder / begun)
    committed = folder / COMMITTED
    if committed.is_symlink():
        raise WrongCall(translatable("{committed} is a link: take it away."), committed=committed)
    if not committed.exists():
        return False
    if (committed / MANIFEST).exists():
        entries = _manifest(committed)
        _refuse_changed(folder, [entry for entry in entries if _is_waiting(folder, committed, entry)])
        for entry in entries:
            _put_in_place(folder, committed, entry)
        for place in sorted({(folder / entry.name).parent for entry in entries}):
            sync_folder(place)
        (committed / MANIFEST).unlink()
    committed.rmdir()
    sync_folder(folder)
    return True


def _manifest(committed: Path) -> tuple[StagedFile, ...]:
    try:
        return from_text(StagedFiles, (committed / MANIFEST).read_text("utf-8")).files
    except ValueError as error:  # no such document, or no text at all
        raise NotComputed(
            translatable("{committed} is damaged: keep it, and restore the files beside it from a copy."),
            committed=committed,
        ) from error


def _is_waiting(folder: Path, committed: Path, entry: StagedFile) -> bool:
    """Tell whether a new version, or a removal, has yet to come into its place."""
    target = folder / _checked_name(entry.name)
    if entry.part is None:
        return os.path.lexists(target)
    part = committed / PurePosixPath(entry.part).name
    if part.is_file():
        if _digest(part) != entry.sha256:
            raise NotComputed(
                translatable("{committed} is damaged: keep it, and restore the files beside it from a copy."),
                committed=committed,
            )
        return True
    if _digest(target) in {None, entry.before} - {entry.sha256}:  # it was moved, so it stood there
        raise NotComputed(
            translatable("{target} is lost, and was being replaced when trialkit was stopped: restore it from a copy."),
            target=target,
        )
    return False


def _refuse_changed(folder: Path, waiting: Collection[StagedFile]) -> None:
    """Refuse to move anything over what was changed since it was committed; what was taken away is no matter."""
    changed = [
        entry.name
        for entry in waiting
        if os.path.lexists(folder / entry.name) and _digest(folder / entry.name) not in (entry.before, entry.sha256)
    ]
    if changed:
        names = ", ".join(str(folder / name) for name in changed)
        raise WrongCall(
            translatable(
                "A trialkit command that was to replace {names} was stopped, and the file was changed after that. So "
                "nothing was overwritten. Move it to another folder and run the command again. Then bring in again "
                "what you typed: records with trialkit merge {folder} FILE."
            ),
            names=names,
            folder=folder,
        )


def _put_in_place(folder: Path, committed: Path, entry: StagedFile) -> None:
    target = folder / entry.name
    if entry.part is None:
        target.unlink(missing_ok=True)
        note_file(target)
        return
    part = committed / PurePosixPath(entry.part).name
    if part.is_file():
        for parent in reversed(target.relative_to(folder).parents[:-1]):
            ordinary_folder(folder / parent).mkdir(exist_ok=True)
        part.replace(target)
        note_file(target)


def _checked_name(name: str) -> str:
    """Refuse a path that leads elsewhere or to what is hidden."""
    path = PurePosixPath(name)
    hidden = any(part.startswith(".") for part in path.parts)
    if hidden or path.is_absolute() or not 0 < len(path.parts) <= DEEPEST or "\\" in name or "\0" in name:
        raise NotComputed(translatable("{name!r} is no file that trialkit writes."), name=name)
    return name


def _digest(path: Path) -> str | None:
    """Return a file's digest; None where there is none."""
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() and not path.is_symlink() else None


def _write(path: Path, data: bytes) -> None:
    with path.open("xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def sync_folder(path: Path) -> None:
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
