"""The ledger: a plain folder of accepted trials, each under the digest of what it holds, and an index that only grows.

::

    ledger/index.jsonl            one line for each thing that happened: added, withdrawn
    ledger/entries/DIGEST/        entry.json and the files that it lists, never touched again
    ledger/recommended.json       the newest defaults, and every earlier version in history/

An entry's name is the first half of the SHA-256 digest of its ``entry.json``, which holds the digests of its files: a
changed byte anywhere is found. Entries are written aside and renamed whole; an index line is added last, and only one
process at a time adds. A withdrawn entry stays, with the reason; what was withdrawn in error can be added again, and
the index tells both.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import shutil
from collections.abc import Mapping
from contextlib import AbstractContextManager
from dataclasses import asdict, dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from trialkit.documents.document import DamagedDocument, as_text, as_written, from_text
from trialkit.documents.ledger_entry import EntryKind, Listed, Manifest, SummaryFacts, TrialFacts
from trialkit.domain.errors import WrongCall
from trialkit.tables import atomic
from trialkit.tables.atomic import write_bytes, write_text

INDEX, ENTRIES, MANIFEST = "index.jsonl", "entries", "entry.json"
FORMAT = "trialkit-ledger-1"
LOCK, LOCK_TIMEOUT_S = ".ledger.lock", 60.0
DIGITS = 32
"""Of the digest in an entry's name: half of it, which nobody meets twice by chance."""
FEWEST_DIGITS = 6
ID = re.compile(f"[0-9a-f]{{{DIGITS}}}")
FILE_NAME = re.compile(r"[A-Za-z0-9_]+(\.[A-Za-z0-9]+)*")
LARGEST_INDEX_BYTES, LARGEST_FILE_BYTES = 50_000_000, 50_000_000


@dataclass(frozen=True)
class NewEntry:
    """What is put in the ledger: what is told of it, and its files by name."""

    kind: EntryKind
    trial: str
    title: str
    season: str
    started_on: str
    buckets: int
    heads: int
    gardens: int
    inputs: Mapping[str, bytes]
    made: Mapping[str, bytes]
    facts: TrialFacts | SummaryFacts


class LedgerDamaged(WrongCall):
    """The index of a ledger cannot be read."""


def read_index(ledger: Path) -> tuple[Listed, ...]:
    """Read the index alone, in the order in which entries came, withdrawn ones too.

    Raises
    ------
    WrongCall
        If there is no ledger there.
    LedgerDamaged
        Where a line of the index is not as it was written; names it.
    """
    path = ledger / INDEX
    if not path.is_file():
        raise WrongCall(f"{ledger} is no ledger: it has no {INDEX}. trialkit evidence add begins one.")
    if path.stat().st_size > LARGEST_INDEX_BYTES:
        raise LedgerDamaged(f"{path} is larger than {LARGEST_INDEX_BYTES // 10**6} MB: it is no index of a ledger.")
    found: dict[str, Listed] = {}
    for number, line in enumerate(path.read_bytes().split(b"\n"), 1):
        if not line:
            continue
        try:
            happened = json.loads(line)
            if happened.pop("line_sha256") != _line_digest(happened):
                raise ValueError
            _apply(found, happened)
        except (ValueError, KeyError, TypeError, AttributeError):
            raise LedgerDamaged(
                f"{path}, line {number}: it is not as trialkit wrote it. Bring the file back from version control."
            ) from None
    return tuple(found.values())


def _apply(found: dict[str, Listed], happened: dict[str, Any]) -> None:
    """Take one line of the index into account."""
    event = happened.pop("event")
    if "id" in happened and not ID.fullmatch(happened["id"]):  # it becomes the name of a folder
        raise ValueError(event)
    if event == "began":
        if happened != {"format": FORMAT}:
            raise ValueError(event)
    elif event == "added":
        found[happened["id"]] = as_written(Listed(**happened))
    elif event == "withdrawn":
        found[happened["id"]] = replace(found[happened["id"]], withdrawn_on=happened["on"], why=happened["why"])
    else:
        raise ValueError(event)


def _line(happened: Mapping[str, Any]) -> bytes:
    whole = {**happened, "line_sha256": _line_digest(happened)}
    return json.dumps(whole, ensure_ascii=False).encode("utf-8") + b"\n"


def _line_digest(happened: Mapping[str, Any]) -> str:
    plain = json.dumps(happened, ensure_ascii=False, sort_keys=True)
    return hashlib.sha256(plain.encode("utf-8")).hexdigest()[:DIGITS]


def locked(ledger: Path, timeout_s: float = LOCK_TIMEOUT_S) -> AbstractContextManager[None]:
    """Let one process at a time change a ledger; others wait, and give up with a `WrongCall`."""
    return atomic.locked(ledger / LOCK, timeout_s, f"Another process is at work on {ledger}")


def add(ledger: Path, entry: NewEntry, on: date) -> Listed:
    """Put an entry in a ledger, which is begun if there is none.

    Raises
    ------
    WrongCall
        If the same records are in it already, or other records of the same trial that count; nothing has changed then.
    """
    if ledger.is_symlink() or (ledger.exists() and not ledger.is_dir()):
        raise WrongCall(f"{ledger} must be an ordinary folder.")
    if ledger.is_dir() and not (ledger / INDEX).exists() and any(path.name[0] != "." for path in ledger.iterdir()):
        raise WrongCall(f"{ledger} holds something else already: a ledger needs a folder of its own.")
    ledger.mkdir(parents=True, exist_ok=True)
    with locked(ledger):
        if not (ledger / INDEX).exists():
            write_text(ledger / ".gitignore", f"{LOCK}\n")
            write_bytes(ledger / INDEX, _line({"event": "began", "format": FORMAT}))
        listed = _listed(entry, on)
        _refuse_again(read_index(ledger), listed)
        folder = ledger / ENTRIES / listed.id
        if not folder.exists():
            _write_entry(ledger, folder, entry)
        _append(ledger, {"event": "added", **{k: v for k, v in asdict(listed).items() if v is not None}})
    return listed


def _listed(entry: NewEntry, on: date) -> Listed:
    return Listed(
        id=_digest(_manifest(entry))[:DIGITS],
        kind=entry.kind,
        trial=entry.trial,
        title=entry.title,
        season=entry.season,
        started_on=entry.started_on,
        added_on=on.isoformat(),
        inputs_sha256=_digest(json.dumps(_digests(entry.inputs), sort_keys=True).encode()),
        buckets=entry.buckets,
        heads=entry.heads,
        gardens=entry.gardens,
    )


def _refuse_again(index: tuple[Listed, ...], new: Listed) -> None:
    for one in index:
        if one.inputs_sha256 == new.inputs_sha256 and one.counts:
            raise WrongCall(f"These records are in the ledger already, as {one.id}, added on {one.added_on}.")
        if one.counts and one.kind == new.kind == "trial" and one.trial == new.trial:
            raise WrongCall(
                f"Other records of the trial “{new.trial}” are in the ledger already, as {one.id}. If these take their "
                f"place, withdraw those first (trialkit evidence withdraw {one.id[:12]} --why ...); if this is another "
                "trial, give it an id of its own in trial.toml."
            )


def _manifest(entry: NewEntry) -> bytes:
    told = Manifest(
        format="trialkit-entry-1",
        kind=entry.kind,
        trial=entry.trial,
        title=entry.title,
        season=entry.season,
        started_on=entry.started_on,
        files=_digests({**entry.inputs, **entry.made}),
        facts=entry.facts,
    )
    return as_text(told).encode("utf-8")


def _digests(files: Mapping[str, bytes]) -> dict[str, str]:
    return {name: _digest(files[name]) for name in sorted(files)}


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _write_entry(ledger: Path, folder: Path, entry: NewEntry) -> None:
    """Write an entry aside, then give it its name."""
    for left in ledger.glob(f".{folder.name}.{'[0-9a-f]' * 16}.tmp"):  # by one that was killed
        shutil.rmtree(left)
    aside = ledger / f".{folder.name}.{secrets.token_hex(8)}.tmp"
    aside.mkdir()
    try:
        for name, data in {**entry.inputs, **entry.made, MANIFEST: _manifest(entry)}.items():
            write_bytes(aside / name, data)
        folder.parent.mkdir(exist_ok=True)
        aside.rename(folder)
    except BaseException:  # an interrupt by the keyboard too must leave nothing behind
        shutil.rmtree(aside, ignore_errors=True)
        raise
    _settle(folder.parent)


def _append(ledger: Path, happened: Mapping[str, Any]) -> None:
    path = ledger / INDEX
    before = path.read_bytes()
    write_bytes(path, before + (b"" if before.endswith(b"\n") else b"\n") + _line(happened))


def _settle(folder: Path) -> None:
    """Have a folder's new names on the disk before anything speaks of them, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def find(ledger: Path, start: str) -> Listed:
    """Return the entry whose id starts so, or that is the only one of a trial so named.

    Raises
    ------
    WrongCall
        If there is none, or several.
    """
    index = read_index(ledger)
    matching = [one for one in index if len(start) >= FEWEST_DIGITS and one.id.startswith(start)]
    matching = matching or [one for one in index if one.trial == start and one.counts]
    if len(matching) == 1:
        return matching[0]
    what = "No entry is" if not matching else "Several entries are"
    raise WrongCall(
        f"{what} called {start!r} in {ledger}: give the first {FEWEST_DIGITS} figures of an id, or more, or a trial."
    )


def withdraw(ledger: Path, start: str, why: str, on: date) -> Listed:
    """Mark an entry as withdrawn; it stays where it is, with the reason.

    Raises
    ------
    WrongCall
        If there is no such entry, it is withdrawn already, or no reason is given.
    """
    reason = " ".join(why.split())
    if not reason:
        raise WrongCall("Say why, so that later seasons know: --why TEXT.")
    if not (ledger / INDEX).is_file():
        read_index(ledger)
    with locked(ledger):
        one = find(ledger, start)
        if not one.counts:
            raise WrongCall(f"{one.id} was withdrawn already, on {one.withdrawn_on}: {one.why}")
        _append(ledger, {"event": "withdrawn", "id": one.id, "on": on.isoformat(), "why": reason})
    return replace(one, withdrawn_on=on.isoformat(), why=reason)


@dataclass(frozen=True)
class Entry:
    """An entry as it was put there: where the index lists it, its folder and its manifest."""

    listed: Listed
    folder: Path
    manifest: Manifest

    @property
    def of_trial(self) -> TrialFacts:
        """Facts of a trial's entry."""
        assert isinstance(self.manifest.facts, TrialFacts)
        return self.manifest.facts

    @property
    def of_summary(self) -> SummaryFacts:
        """Facts of an entry of means and standard errors."""
        assert isinstance(self.manifest.facts, SummaryFacts)
        return self.manifest.facts

    def read(self, name: str) -> bytes:
        """Read a file of the entry.

        Raises
        ------
        LedgerDamaged
            If it is not what was put there.
        """
        data = _read(self.folder / name)
        if data is None or _digest(data) != self.manifest.files.get(name):
            raise LedgerDamaged(f"{self.folder / name} {'is missing' if data is None else 'was changed'}.")
        return data


def open_entry(ledger: Path, listed: Listed) -> Entry:
    """Read what an entry says of itself.

    Raises
    ------
    LedgerDamaged
        If it is not what was put there.
    """
    folder = ledger / ENTRIES / listed.id
    data = _read(folder / MANIFEST)
    if data is None or _digest(data)[:DIGITS] != listed.id:
        raise LedgerDamaged(f"{folder / MANIFEST} {'is missing' if data is None else 'was changed'}.")
    try:
        told = from_text(Manifest, data.decode("utf-8"))
    except (DamagedDocument, UnicodeDecodeError) as error:
        raise LedgerDamaged(f"{folder / MANIFEST} is not as trialkit wrote it: {error}.") from error
    if isinstance(told.facts, TrialFacts) != (listed.kind == "trial"):
        raise LedgerDamaged(f"{folder / MANIFEST} is of another kind than the index says.")
    if not all(FILE_NAME.fullmatch(name) for name in told.files):
        raise LedgerDamaged(f"{folder / MANIFEST} names a file that no entry holds.")
    return Entry(listed, folder, told)


def _read(path: Path) -> bytes | None:
    """Read a file of the ledger; None where there is none, or a link or a folder stands in its place."""
    if path.is_symlink() or not path.is_file() or path.stat().st_size > LARGEST_FILE_BYTES:
        return None
    return path.read_bytes()


def damages(ledger: Path) -> tuple[str, ...]:
    """Compare every file of every entry with its digest, and the folders with the index; name what is wrong."""
    index, found = read_index(ledger), []
    for listed in index:
        try:
            entry = open_entry(ledger, listed)
        except LedgerDamaged as error:
            found.append(str(error))
            continue
        for name in entry.manifest.files:
            try:
                entry.read(name)
            except LedgerDamaged as error:
                found.append(str(error))
        known_files = {*entry.manifest.files, MANIFEST}
        strange = sorted(path.name for path in entry.folder.iterdir() if path.name not in known_files)
        found += [f"{entry.folder / name} does not belong there." for name in strange]
    folders = (ledger / ENTRIES).iterdir() if (ledger / ENTRIES).is_dir() else ()
    known = {listed.id for listed in index}
    found += [
        f"{path} is not in the index: add its trial again, and it will be."
        for path in sorted(folders)
        if path.name not in known
    ]
    return tuple(found)
