"""The ledger: a plain folder of accepted trials, each under the digest of what it holds, and an index that only grows.

::

    ledger/index.jsonl            one line for each thing that happened: added, withdrawn, readmitted, recommended
    ledger/seal.txt               digests of its newest lines
    ledger/entries/DIGEST/        entry.json and the files that it lists, never touched again
    ledger/history/               every version of the recommended defaults
    ledger/recommended.json       a copy of the newest of them

An entry's name is the first half of the SHA-256 digest of its ``entry.json``, which holds the digests of its files: a
changed byte anywhere is found. Entries are written under a hidden name, which counts as theirs once the index tells of
them; only one process at a time adds. A withdrawn entry stays, with the reason; what was withdrawn in error can be
readmitted, with a reason too, or added again, and the index tells both.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import shutil
from collections.abc import Collection, Mapping
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TypeVar

from trialkit.documents.document import DamagedDocument, as_text, from_text
from trialkit.documents.ledger_entry import (
    SHOWN_DIGITS,
    Added,
    Began,
    EntryKind,
    EntryTold,
    Listed,
    Manifest,
    Readmitted,
    SummaryFacts,
    SummaryMean,
    TrialFacts,
    Withdrawn,
)
from trialkit.domain.errors import WrongCall
from trialkit.domain.reading_budget import DOCUMENT, LEDGER_DOCUMENT, ReadingBudget
from trialkit.domain.written import note_file
from trialkit.evidence.ledger_index import (
    DIGITS,
    ENTRIES,
    FORMAT,
    HISTORY,
    ID,
    INDEX,
    NEXT_INDEX,
    RESTORE,
    VERSION_FILE,
    Index,
    LedgerDamaged,
    Line,
    finish,
    grown,
    look_at_index,
    read_index,
    unbound_versions,
    write_index,
)
from trialkit.languages import Saying, translatable
from trialkit.protocol.trial_protocol import Protocol
from trialkit.tables import atomic
from trialkit.tables.atomic import write_bytes, write_text
from trialkit.tables.nearest import meant

MANIFEST = "entry.json"
LOCK, LOCK_TIMEOUT_S = ".ledger.lock", 60.0
FEWEST_DIGITS = 6
FILE_NAME = re.compile(r"[A-Za-z0-9_]+(\.[A-Za-z0-9]+)*")
LARGEST_NUMBER = 1e12
BEGIN_ANEW = Saying(
    "Or begin a new ledger: copy the folders of entries out, analyse each copy and add it (trialkit analyse, trialkit "
    "evidence add)."
)
Value = TypeVar("Value")
WRITTEN_ASIDE = re.compile(f"\\.({ID.pattern}|{VERSION_FILE.pattern})")
FOR_VERSION_CONTROL = {
    ".gitignore": f"{LOCK}\n{NEXT_INDEX}\n",
    ".gitattributes": (
        "* -text\n/index.jsonl merge=union\n/seal.txt merge=union\n/recommended.json -merge\n/*.html -merge\n"
    ),
}
"""No line ends changed; index and seal of two branches become one; of what is written anew, one side is kept."""


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


def locked(ledger: Path, timeout_s: float = LOCK_TIMEOUT_S) -> AbstractContextManager[None]:
    """Let one process at a time change a ledger; others wait, and give up with a `WrongCall`."""
    return atomic.locked(
        ledger / LOCK,
        timeout_s,
        Saying("Another process is at work on {ledger}; try again when it has ended.", ledger=ledger),
    )


def add(ledger: Path, entry: NewEntry, on: date) -> Listed:
    """Put an entry in a ledger, which is begun if there is none.

    Raises
    ------
    WrongCall
        If the same records are in it already, or other records of the same trial that count; nothing has changed then.
    """
    if ledger.is_symlink() or (ledger.exists() and not ledger.is_dir()):
        raise WrongCall(translatable("{ledger} must be an ordinary folder."), ledger=ledger)
    begun = any((ledger / name).exists() for name in (INDEX, NEXT_INDEX))
    if ledger.is_dir() and not begun and any(path.name[0] != "." for path in ledger.iterdir()):
        raise WrongCall(
            translatable("{ledger} holds something else already: a ledger needs a folder of its own."), ledger=ledger
        )
    ledger.mkdir(parents=True, exist_ok=True)
    with locked(ledger):
        if not any((ledger / name).exists() for name in (INDEX, NEXT_INDEX)):
            grow(ledger, Index(()), Began(format=FORMAT))
        index = tidied(ledger)
        listed = _listed(entry, on)
        _refuse_again(ledger, index, listed, entry.facts)
        if not (ledger / ENTRIES / listed.id).exists():
            _write_entry(ledger / ENTRIES / f".{listed.id}", entry)
        grow(ledger, index, Added(**{field: getattr(listed, field) for field in EntryTold.__dataclass_fields__}))
    return listed


def tidied(ledger: Path) -> Index:
    """Read the index, and put in place, or take away, what a process left that was stopped; the ledger is locked."""
    index = read_index(ledger)
    finish(ledger, index)
    _put_in_place(ledger, _told_by(index))
    return index


def grow(ledger: Path, index: Index, *events: Line) -> None:
    """Add lines to the index, and give what was written aside for them its name; the ledger is locked."""
    for name, text in FOR_VERSION_CONTROL.items():
        if not (ledger / name).exists():
            write_text(ledger / name, text)
    before, index = index, grown(index, (*unbound_versions(ledger, index), *events))
    try:
        write_index(ledger, index)
    except BaseException:
        if not (ledger / NEXT_INDEX).exists():
            _put_in_place(ledger, {ENTRIES: {one.id for one in before.listed}})  # it takes away what is not told of
        raise
    with suppress(OSError):  # whoever writes next does it then
        _put_in_place(ledger, _told_by(index))


def _told_by(index: Index) -> Mapping[str, Collection[str]]:
    """Names of the entries and versions that an index tells of, by the folder in which they stand."""
    return {ENTRIES: {one.id for one in index.listed}, HISTORY: {one.file for one in index.versions}}


def _put_in_place(ledger: Path, known: Mapping[str, Collection[str]]) -> None:
    """Give what was written aside its name where it is known, and take it away where it is not."""
    for name, names in known.items():
        aside = [path for path in (ledger / name).glob(".*") if WRITTEN_ASIDE.fullmatch(path.name)]
        for path in aside:
            final = path.with_name(path.name[1:])
            if final.name in names and not final.exists():
                path.rename(final)
                note_file(final)
            elif path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink()
        if aside:
            _settle(ledger / name)


def place_of(folder: Path, name: str) -> Path:
    """Where an entry or version stands that the index tells of: under its name or, for a moment, a hidden one."""
    aside = folder / f".{name}"
    return aside if aside.exists() and not (folder / name).exists() else folder / name


def _listed(entry: NewEntry, on: date) -> Listed:
    return Listed(
        id=_digest(_manifest(entry))[:DIGITS],
        kind=entry.kind,
        trial=entry.trial,
        title=entry.title,
        season=entry.season,
        started_on=entry.started_on,
        added_on=on.isoformat(),
        inputs_sha256=digest_of_inputs(_digests(entry.inputs)),
        buckets=entry.buckets,
        heads=entry.heads,
        gardens=entry.gardens,
    )


def _refuse_again(ledger: Path, index: Index, new: Listed, facts: TrialFacts | SummaryFacts) -> None:
    for one in index.listed:
        if one.inputs_sha256 == new.inputs_sha256 and one.counts:
            raise WrongCall(
                translatable("These records are in the ledger already, as {id}, added on {added_on}."),
                id=one.id,
                added_on=one.added_on,
            )
        if one.counts and one.kind == new.kind == "trial" and one.trial == new.trial:
            raise WrongCall(
                translatable(
                    "Other records of the trial “{trial}” are in the ledger already, as {id}. If these take their "
                    "place, withdraw those first: trialkit evidence withdraw {start} --why TEXT. If this is another "
                    "trial, give it an id of its own in trial.toml."
                ),
                trial=new.trial,
                id=one.id,
                start=one.id[:SHOWN_DIGITS],
            )
    mine = facts.means if isinstance(facts, SummaryFacts) else ()
    told = {(row.citation, *row.treatment): row for row in mine}
    older = [one for one in index.listed if one.counts and one.kind == "means"] if told else []
    for one in older:
        for there in open_entry(ledger, one).of_summary.means:
            here = told.get((there.citation, *there.treatment))
            if here is not None:
                raise WrongCall(
                    f"A mean of “{there.citation}” is in the ledger already, in {one.id}, added on {one.added_on}: "
                    f"{_mean_words(there)} there, {_mean_words(here)} here. If these means take the place of those, "
                    f"withdraw those first: trialkit evidence withdraw {one.id[:SHOWN_DIGITS]} --why TEXT. If they are "
                    "of another trial, give it a citation of its own."
                )


def _mean_words(row: SummaryMean) -> str:
    named = ", ".join(part for part in (row.cultivar, f"{row.n_mg_l:g} mg/L", row.acidifier) if part)
    return f"{row.mean_g:g} g (standard error {row.se_g:g} g) of {named}"


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


def name_in_ledger(protocol: Protocol, folder: Path) -> str:
    """Name of a trial among others: its id, or its folder's where it has none of its own."""
    own = protocol.trial.id
    return own if own != "trial" else folder.resolve().name


def digest_of_inputs(sha256: Mapping[str, str]) -> str:
    """Digest of a trial's protocol and tables, from the digest of each by its name."""
    return _digest(json.dumps(dict(sorted(sha256.items()))).encode())


def _digests(files: Mapping[str, bytes]) -> dict[str, str]:
    return {name: _digest(files[name]) for name in sorted(files)}


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _write_entry(aside: Path, entry: NewEntry) -> None:
    """Write an entry under a hidden name."""
    aside.mkdir(parents=True)
    try:
        for name, data in {**entry.inputs, **entry.made, MANIFEST: _manifest(entry)}.items():
            write_bytes(aside / name, data)
    except BaseException:  # an interrupt by the keyboard too must leave nothing behind
        shutil.rmtree(aside, ignore_errors=True)
        raise
    _settle(aside.parent)


def _settle(folder: Path) -> None:
    """Have a folder's new names on the disk before anything speaks of them, where the system can."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def find(ledger: Path, start: str, *, counting: bool = True) -> Listed:
    """Return the entry whose id starts so, or that is the only one of a trial so named.

    Of several of a trial the one that counts is meant or, where `counting` says so, the one that does not.

    Raises
    ------
    WrongCall
        If there is none, or several.
    """
    index = read_index(ledger).listed
    matching = [one for one in index if len(start) >= FEWEST_DIGITS and one.id.startswith(start)]
    of_trial = [one for one in index if one.trial == start]
    matching = matching or [one for one in of_trial if one.counts == counting] or of_trial
    if len(matching) == 1:
        return matching[0]
    near = meant(start, [one.trial for one in index if one.counts == counting]) if not matching else ""
    what = "No entry is" if not matching else "Several entries are"
    raise WrongCall(
        f"{what} called {start!r} in {ledger}. Give the id of a trial, or the first {FEWEST_DIGITS} figures, or more, "
        f"of an entry's id.{near}"
    )


def withdraw(ledger: Path, start: str, why: str, on: date) -> Listed:
    """Mark an entry as withdrawn; it stays where it is, with the reason.

    Raises
    ------
    WrongCall
        If there is no such entry, it is withdrawn already, or no reason is given.
    """
    reason = _reason(why)
    look_at_index(ledger)  # a folder that is no ledger gets no lock
    with locked(ledger):
        index, one = tidied(ledger), find(ledger, start)
        if not one.counts:
            raise WrongCall(
                translatable("{id} was withdrawn already, on {withdrawn_on}: {why}"),
                id=one.id,
                withdrawn_on=one.withdrawn_on,
                why=one.why,
            )
        grow(ledger, index, Withdrawn(id=one.id, on=on.isoformat(), why=reason))
    return replace(one, withdrawn_on=on.isoformat(), why=reason)


def readmit(ledger: Path, start: str, why: str, on: date) -> Listed:
    """Let a withdrawn entry count again, as it stands in the ledger; the index keeps both reasons.

    Raises
    ------
    WrongCall
        If there is no such entry, it counts, the same records or others of its trial count meanwhile, or no reason is
        given.
    LedgerDamaged
        If the entry is not what was put there.
    """
    reason = _reason(why)
    look_at_index(ledger)
    with locked(ledger):
        index, one = tidied(ledger), find(ledger, start, counting=False)
        if one.counts:
            raise WrongCall(
                translatable("{id} counts: it was added on {added_on}, and is not withdrawn."),
                id=one.id,
                added_on=one.added_on,
            )
        _refuse_again(ledger, index, one, open_entry(ledger, one).manifest.facts)
        grow(ledger, index, Readmitted(id=one.id, on=on.isoformat(), why=reason))
    return replace(one, withdrawn_on=None, why=None)


def _reason(why: str) -> str:
    reason = " ".join(why.split())
    if not reason:
        raise WrongCall(translatable("Say why, so that later seasons know it: --why TEXT."))
    return reason


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
        return read_sound(self.folder / name, self.manifest.files.get(name, ""))


def open_entry(ledger: Path, listed: Listed) -> Entry:
    """Read what an entry says of itself.

    Raises
    ------
    LedgerDamaged
        If it is not what was put there.
    """
    folder = place_of(ledger / ENTRIES, listed.id)
    path = folder / MANIFEST
    told = document_of(Manifest, path, read_sound(path, listed.id, LEDGER_DOCUMENT))
    names = ("kind", "trial", "title", "season", "started_on")
    other = [name for name in names if getattr(told, name) != getattr(listed, name)]
    if other or isinstance(told.facts, TrialFacts) != (listed.kind == "trial"):
        raise LedgerDamaged(
            translatable("{path} is of another {what} than the index says. {restore}"),
            path=path,
            what=", ".join(other) or "kind",
            restore=RESTORE,
        )
    if not all(FILE_NAME.fullmatch(name) for name in told.files):
        raise LedgerDamaged(
            translatable("{path} names a file that no entry holds. {restore}"), path=path, restore=RESTORE
        )
    return Entry(listed, folder, told)


def read_sound(path: Path, digest: str, budget: ReadingBudget = DOCUMENT) -> bytes:
    """Read a file of the ledger that must have a digest, or one that begins so.

    Raises
    ------
    LedgerDamaged
        If it is not what was put there.
    """
    try:
        data = path.read_bytes() if path.is_file() and path.stat().st_size <= budget.file_bytes else None
    except OSError as error:
        raise LedgerDamaged(
            translatable("{path} cannot be read: {strerror}. {restore}"),
            path=path,
            strerror=error.strerror,
            restore=RESTORE,
        ) from error
    if data is None and not path.exists():
        raise LedgerDamaged(translatable("{path} is missing. {restore}"), path=path, restore=RESTORE)
    if data is None or not digest or not hashlib.sha256(data).hexdigest().startswith(digest):
        raise LedgerDamaged(translatable("{path} was changed. {restore}"), path=path, restore=RESTORE)
    return data


def document_of(kind: type[Value], path: Path, data: bytes) -> Value:
    """Read a document of the ledger.

    Raises
    ------
    LedgerDamaged
        If it is not one of its kind.
    """
    try:
        text = data.decode("utf-8")
        document = from_text(kind, text)
        json.loads(text, parse_constant=_number, parse_float=_number, parse_int=_number)
    except ValueError as error:  # of which damage and another encoding are kinds
        where = getattr(error, "where", "")
        if where == "schema":
            raise LedgerDamaged(
                translatable(
                    "{path} was written by another version of trialkit, which alone can go on from it. {begin_anew}"
                ),
                path=path,
                begin_anew=BEGIN_ANEW,
            ) from error
        raise LedgerDamaged(
            translatable("{path} is not as trialkit wrote it: damaged at {where}. {restore}")
            if where
            else translatable("{path} is not as trialkit wrote it. {restore}"),
            path=path,
            where=where,
            restore=RESTORE,
        ) from error
    return document


def _number(text: str) -> float:
    """Read a number that calculation can bear."""
    number = float(text)
    if not abs(number) < LARGEST_NUMBER:
        raise DamagedDocument(f"the number {text[:20]}")
    return number
