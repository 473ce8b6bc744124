"""Versions of the recommended defaults: each kept, and a new one only where evidence or answer changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trialkit.documents.document import DamagedDocument, as_data, as_text, as_written, from_text
from trialkit.documents.recommended import Recommended
from trialkit.evidence.ledger import LedgerDamaged, locked
from trialkit.evidence.ledger_contents import LedgerContents, evidence_digest, read_ledger
from trialkit.evidence.recommending import Propose, recommend
from trialkit.tables.atomic import write_text

FEW_DIGITS = 5
RECOMMENDED_FILE, HISTORY = "recommended.json", "history"


@dataclass(frozen=True)
class Version:
    """A version as it stands in the ledger; `is_new` where it was written just now."""

    document: Recommended
    path: Path
    is_new: bool


def history(ledger: Path) -> list[Recommended]:
    """Read all versions, oldest first.

    Raises
    ------
    LedgerDamaged
        If one of them cannot be read, is of an earlier format, or is missing.
    """
    found: list[Recommended] = []
    folder = ledger / HISTORY
    for path in sorted(folder.glob("recommended-*.json")) if folder.is_dir() else ():
        number = len(found) + 1
        try:
            document = from_text(Recommended, path.read_text("utf-8"))
        except (DamagedDocument, UnicodeDecodeError) as error:
            if getattr(error, "where", "") == "schema":
                raise LedgerDamaged(
                    f"{path} was written by another version of trialkit, which alone can go on from it. To begin anew "
                    f"with version 1, move {folder} out of the ledger."
                ) from error
            raise LedgerDamaged(f"{path} is not version {number} as it was written: bring it back.") from error
        if document.version != number:
            raise LedgerDamaged(f"{path} is not version {number} as it was written: bring it back.")
        found.append(document)
    return found


def recommend_anew(ledger: Path, trialkit_version: str, propose: Propose) -> Version:
    """Work out the recommended defaults; write them where they are not those of the last version.

    The same ledger gives the same bytes: a version is worked out from the version before it, and written again only if
    evidence, or what it says, is other than it was.
    """
    found = read_ledger(ledger)
    with locked(ledger):
        versions = history(ledger)
        document, same = _next_version(found, versions, trialkit_version, propose), _is_same_evidence(found, versions)
        if same and _to_few_digits(as_data(document)) == _to_few_digits(as_data(versions[-1])):
            document = versions[-1]
        elif same:
            document, same = (
                as_written(recommend(found, versions[-1], _in_force(found, versions), trialkit_version, propose)),
                False,
            )
        text = as_text(document)
        if not same:
            (ledger / HISTORY).mkdir(exist_ok=True)
            write_text(ledger / HISTORY / f"recommended-{document.version:04d}.json", text)
        write_text(ledger / RECOMMENDED_FILE, text)
    return Version(document, ledger / RECOMMENDED_FILE, not same)


def pool_now(ledger: Path, trialkit_version: str, propose: Propose) -> Recommended:
    """Work out what a ledger says, and write nothing: as the next version, or the last where it says the same."""
    return _next_version(read_ledger(ledger), history(ledger), trialkit_version, propose)


def _is_same_evidence(found: LedgerContents, versions: list[Recommended]) -> bool:
    return bool(versions) and versions[-1].evidence_sha256 == evidence_digest(found.index)


def _next_version(
    found: LedgerContents, versions: list[Recommended], trialkit_version: str, propose: Propose
) -> Recommended:
    """Work out the version after the last, or the last anew where it rests on the same evidence."""
    before = versions[:-1] if _is_same_evidence(found, versions) else versions
    last = before[-1] if before else None
    return as_written(recommend(found, last, _in_force(found, before), trialkit_version, propose))


def _in_force(found: LedgerContents, versions: list[Recommended]) -> Recommended | None:
    """The last version all of whose evidence still counts: one that rests on what was withdrawn is as if never made."""
    counts = {one.id for one in found.index if one.counts}
    sound = [one for one in versions if {trial.id for trial in one.evidence} <= counts]
    return sound[-1] if sound else None


def _to_few_digits(value: Any) -> Any:
    """Leave out what another library, or the number of its threads, may do to the last digits."""
    if isinstance(value, Mapping):
        return {key: _to_few_digits(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_to_few_digits(item) for item in value]
    return float(f"{value:.{FEW_DIGITS}g}") if isinstance(value, float) else value
