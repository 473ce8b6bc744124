"""Versions of the recommended defaults: each kept, and a new one only where evidence or answer changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from trialkit.documents.document import as_data, as_text, as_written, is_alike
from trialkit.documents.ledger_entry import SHOWN_DIGITS, Recommending
from trialkit.documents.recommended import Recommended
from trialkit.evidence.kept_versions import RECOMMENDED_FILE, KeptVersion
from trialkit.evidence.ledger import grow, locked, tidied
from trialkit.evidence.ledger_contents import LedgerContents, evidence_digest, read_ledger
from trialkit.evidence.ledger_index import HISTORY, LedgerDamaged, look_at_index
from trialkit.evidence.recommending import Propose, recommend
from trialkit.tables.atomic import write_bytes


@dataclass(frozen=True)
class Version:
    """A version as it stands in the ledger.

    `is_new` where it was written just now; `copy_problem` says what was wrong with the copy, which is put right.
    """

    document: Recommended
    path: Path
    is_new: bool
    copy_problem: str


def recommend_anew(ledger: Path, trialkit_version: str, propose: Propose) -> Version:
    """Work out the recommended defaults; write them where they are not those of the last version.

    The same ledger gives the same bytes: a version is worked out from the versions before it, and written again only
    if evidence, or what it says, is other than it was.
    """
    look_at_index(ledger)  # or there is none to lock
    with locked(ledger):
        index = tidied(ledger)
        found = read_ledger(ledger, held=True)
        document, path = _next_version(found, trialkit_version, propose), ledger / RECOMMENDED_FILE
        last = found.versions[-1] if is_same_evidence(found) else None
        if last and is_alike(as_data(document), json.loads(last.data)):
            write_bytes(path, last.data)
            return Version(last.document, path, is_new=False, copy_problem=found.copy_problem)
        if last:
            document = _following(found, found.versions, trialkit_version, propose)
        data = as_text(document).encode("utf-8")
        digest = hashlib.sha256(data).hexdigest()
        name = f"recommended-{document.version:04d}-{digest[:SHOWN_DIGITS]}.json"
        (ledger / HISTORY).mkdir(exist_ok=True)
        write_bytes(ledger / HISTORY / f".{name}", data)
        write_bytes(path, data)
        grow(ledger, index, Recommending(version=document.version, file=name, sha256=digest))
    return Version(document, path, is_new=True, copy_problem=found.copy_problem)


def pool_now(ledger: Path, trialkit_version: str, propose: Propose) -> Recommended:
    """Work out what a ledger says, and write nothing: as the next version, or the last where it says the same."""
    found = read_ledger(ledger)
    if found.copy_problem:
        raise LedgerDamaged(found.copy_problem)
    return _next_version(found, trialkit_version, propose)


def is_same_evidence(found: LedgerContents) -> bool:
    """Whether the last version, and no other beside it, rests on what counts now."""
    versions = found.versions
    return (
        bool(versions)
        and len(_newest(versions)) == 1
        and versions[-1].document.evidence_sha256 == evidence_digest(found.index)
    )


def _newest(versions: Sequence[KeptVersion]) -> tuple[KeptVersion, ...]:
    """Versions that no other goes on from."""
    old = {name for one in versions for name in one.after}
    return tuple(one for one in versions if one.sha256 not in old)


def _before_last(versions: Sequence[KeptVersion]) -> tuple[KeptVersion, ...]:
    """Versions that the last one goes on from, near and far."""
    wanted = set(versions[-1].after)
    for one in reversed(versions):
        wanted |= set(one.after) if one.sha256 in wanted else set()
    return tuple(one for one in versions if one.sha256 in wanted)


def _next_version(found: LedgerContents, trialkit_version: str, propose: Propose) -> Recommended:
    """Work out the version after the last, or the last anew where it rests on the same evidence."""
    before = _before_last(found.versions) if is_same_evidence(found) else found.versions
    return _following(found, before, trialkit_version, propose)


def _following(
    found: LedgerContents, before: Sequence[KeptVersion], trialkit_version: str, propose: Propose
) -> Recommended:
    last = before[-1].document if before else None
    document = recommend(found, last, _in_force(found, before), trialkit_version, propose)
    return as_written(replace(document, after=tuple(sorted(one.sha256 for one in _newest(before)))))


def _in_force(found: LedgerContents, versions: Sequence[KeptVersion]) -> Recommended | None:
    """The last version all of whose evidence still counts: one that rests on what was withdrawn is as if never made."""
    counts = {one.id for one in found.index if one.counts}
    sound = [one.document for one in versions if {trial.id for trial in one.document.evidence} <= counts]
    return sound[-1] if sound else None
