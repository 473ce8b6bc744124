"""Versions of the recommended defaults as a ledger keeps them, each bound to those before it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

from trialkit.documents.recommended import Recommended
from trialkit.domain.reading_budget import LEDGER_DOCUMENT
from trialkit.evidence.ledger import document_of, place_of, read_sound
from trialkit.evidence.ledger_index import HISTORY, RESTORE, Index, LedgerDamaged, unbound_versions
from trialkit.languages import gettext, translatable

RECOMMENDED_FILE = "recommended.json"


@dataclass(frozen=True)
class KeptVersion:
    """A version, its bytes and their digest, and the digests of the versions that it goes on from."""

    document: Recommended
    data: bytes
    sha256: str
    after: tuple[str, ...]


def read_versions(ledger: Path, index: Index) -> tuple[list[KeptVersion], list[str]]:
    """Read all versions, in the order of their numbers, and name what is wrong with them."""
    told = index.versions if index.is_bound else unbound_versions(ledger, index)
    folder = ledger / HISTORY
    found: list[KeptVersion] = []
    problems: list[str] = []
    for one in told:
        path = place_of(folder, one.file)
        try:
            data = read_sound(path, one.sha256, LEDGER_DOCUMENT)
            document = document_of(Recommended, path, data)
        except LedgerDamaged as error:
            problems.append(str(error))
            continue
        # Versions did not name the one before them once.
        after = document.after or tuple(before.sha256 for before in told if before.version == one.version - 1)
        if document.version != one.version:
            problems.append(
                gettext(
                    "{path} is not version {version} as it was written. {restore}",
                    path=path,
                    version=one.version,
                    restore=RESTORE,
                )
            )
        missing = sorted(set(after) - {before.sha256 for before in told})
        problems += [
            gettext(
                "{path} goes on from a version that is missing or was changed, {name}. {restore}",
                path=path,
                name=name,
                restore=RESTORE,
            )
            for name in missing
        ]
        if not after and document.version > 1:
            problems.append(
                gettext(
                    "{folder} lacks version {version}. {restore}",
                    folder=folder,
                    version=document.version - 1,
                    restore=RESTORE,
                )
            )
        found.append(KeptVersion(document, data, one.sha256, after))
    known = {one.file for one in told}
    strange = sorted(path for path in folder.iterdir() if path.name not in known) if folder.is_dir() else []
    problems += [
        gettext("{path} is no version that the index tells of: take it out of the ledger.", path=path)
        for path in strange
        if path.name[0] != "."
    ]
    return found, problems


def copy_problem(ledger: Path, index: Index) -> str:
    """What is wrong with the copy of the newest version, or nothing."""
    path, newest = ledger / RECOMMENDED_FILE, index.newest_versions
    if not index.is_bound:
        newest = unbound_versions(ledger, index)[-1:]
    data = path.read_bytes() if path.is_file() and path.stat().st_size <= LEDGER_DOCUMENT.file_bytes else None
    if data is None and not newest and not path.exists():
        return ""
    if data is not None and hashlib.sha256(data).hexdigest() in {one.sha256 for one in newest}:
        return ""
    coming = (ledger / HISTORY).glob(".recommended-*.json")  # whoever was to tell the index of it was stopped
    if data is not None and any(data == path.read_bytes() for path in coming):
        return ""
    wrong = (
        translatable(
            "{path} was changed: it is to be the newest version of the defaults. trialkit recommend writes it anew."
        )
        if path.exists()
        else translatable(
            "{path} is missing: it is to be the newest version of the defaults. trialkit recommend writes it anew."
        )
    )
    return gettext(wrong, path=path)
