"""Versions of the recommended defaults: each kept, and a new one only where evidence or answer changed."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trialkit.documents.document import as_data
from trialkit.evidence.ledger import LedgerDamaged, locked
from trialkit.evidence.recommending import recommend
from trialkit.evidence.situation import evidence_digest, situation
from trialkit.tables.atomic import write_text

FEW_DIGITS = 5
RECOMMENDED_FILE, HISTORY = "recommended.json", "history"


@dataclass(frozen=True)
class Version:
    """A version as it stands in the ledger; `is_new` where it was written just now."""

    document: dict[str, Any]
    path: Path
    is_new: bool


def history(ledger: Path) -> list[dict[str, Any]]:
    """Read all versions, oldest first.

    Raises
    ------
    LedgerDamaged
        If one of them cannot be read, or one is missing.
    """
    found: list[dict[str, Any]] = []
    folder = ledger / HISTORY
    for path in sorted(folder.glob("recommended-*.json")) if folder.is_dir() else ():
        try:
            document = json.loads(path.read_text("utf-8"))
            known = document["schema"] == "trialkit-recommended-1" and document["version"] == len(found) + 1
        except (ValueError, KeyError, TypeError):
            known = False
        if not known:
            raise LedgerDamaged(f"{path} is not version {len(found) + 1} as it was written: bring it back.")
        found.append(document)
    return found


def recommend_anew(ledger: Path, trialkit_version: str) -> Version:
    """Work out the recommended defaults; write them where they are not those of the last version.

    The same ledger gives the same bytes: a version is worked out from the version before it, and written again only if
    evidence, or what it says, is other than it was.

    Parameters
    ----------
    ledger : Path
    trialkit_version : str
    """
    found = situation(ledger)
    with locked(ledger):
        versions = history(ledger)
        same = bool(versions) and versions[-1]["evidence_sha256"] == evidence_digest(found.index)
        before = versions[:-1] if same else versions
        document = as_data(recommend(found, before[-1] if before else None, trialkit_version))
        if same and _to_few_digits(document) == _to_few_digits(versions[-1]):
            document = versions[-1]
        elif same:
            document, same = as_data(recommend(found, versions[-1], trialkit_version)), False
        text = _text(document)
        if not same:
            (ledger / HISTORY).mkdir(exist_ok=True)
            write_text(ledger / HISTORY / f"recommended-{document['version']:04d}.json", text)
        write_text(ledger / RECOMMENDED_FILE, text)
    return Version(document, ledger / RECOMMENDED_FILE, not same)


def pool_now(ledger: Path, trialkit_version: str) -> dict[str, Any]:
    """Work out what a ledger says, and write nothing: as the next version, or the last where it says the same."""
    found = situation(ledger)
    versions = history(ledger)
    same = bool(versions) and versions[-1]["evidence_sha256"] == evidence_digest(found.index)
    before = versions[:-1] if same else versions
    data: dict[str, Any] = as_data(recommend(found, before[-1] if before else None, trialkit_version))
    return data


def _to_few_digits(value: Any) -> Any:
    """Leave out what another library, or the number of its threads, may do to the last digits."""
    if isinstance(value, Mapping):
        return {key: _to_few_digits(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_to_few_digits(item) for item in value]
    return float(f"{value:.{FEW_DIGITS}g}") if isinstance(value, float) else value


def _text(document: Mapping[str, Any]) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
