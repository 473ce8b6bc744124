"""Trials that somebody began to type: kept in the desk's folder, so that a browser that closes loses nothing of them.

Each window writes a draft of its own. One that goes on with a draft takes it over as soon as something is typed: should
another window still write the old one, it comes back beside it, and neither overwrites the other.
"""

from __future__ import annotations

import re
import secrets
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from trialkit.desk.begun import begun_in, changing, clear_left_over, read_begun, write_begun
from trialkit.documents.desk_documents import TrialDraft
from trialkit.domain.errors import NotComputed
from trialkit.languages import gettext
from trialkit.tables.own_files import ordinary_folder

MOST_DRAFTS = 20
IDENTITY = re.compile(r"[0-9a-f]{16}")


@dataclass(frozen=True)
class BegunTrial:
    """A draft as the front page lists it."""

    id: str
    question: Annotated[str, "Empty where none was typed yet, or nothing can be read."]


@dataclass(frozen=True)
class Drafts:
    """The drafts of a desk's folder."""

    folder: Path

    def listed(self) -> tuple[BegunTrial, ...]:
        """All drafts, the one that was typed last first; one that is damaged is listed, too, to be thrown away."""
        place = self._place
        found = [path for path in place.glob("*.json") if IDENTITY.fullmatch(path.stem)] if place.is_dir() else []
        found.sort(key=lambda path: (-path.lstat().st_mtime, path.name))
        return tuple(BegunTrial(path.stem, self._question(path.stem)) for path in found)

    def _question(self, identity: str) -> str:
        with suppress(NotComputed):
            found = self.find(identity)
            return found.typed.get("question", "").strip() if found else ""
        return ""

    def find(self, identity: str) -> TrialDraft | None:
        """Return a draft; None where there is none, whatever the name holds.

        Raises
        ------
        NotComputed
            If it is damaged.
        """
        return read_begun(TrialDraft, self._path(identity)) if IDENTITY.fullmatch(identity) else None

    def keep(self, identity: str, draft: TrialDraft, instead_of: str = "") -> None:
        """Keep what was typed in a window, instead of the draft with which it went on.

        Raises
        ------
        NotComputed
            If too many are kept already.
        """
        if not IDENTITY.fullmatch(identity):
            return
        with changing(self.folder):
            path = self._path(identity)
            path.parent.mkdir(mode=0o700, exist_ok=True)
            clear_left_over(path.parent)
            if not path.exists():
                if IDENTITY.fullmatch(instead_of):
                    with suppress(FileNotFoundError):
                        self._path(instead_of).rename(path)
                if not path.exists():
                    self.refuse_more()
            write_begun(path, draft)

    def refuse_more(self) -> None:
        """Refuse to begin another where there are too many.

        Raises
        ------
        NotComputed
            If so.
        """
        if len(self.listed()) >= MOST_DRAFTS:
            told = gettext(
                "{most} trials are begun already. Go on with one of them, or throw some away.", most=MOST_DRAFTS
            )
            raise NotComputed(told)

    def throw_away(self, *identities: str) -> None:
        """Take drafts away, if they are there."""
        with changing(self.folder):
            clear_left_over(self._place)
            for one in filter(IDENTITY.fullmatch, identities):
                self._path(one).unlink(missing_ok=True)
            with suppress(OSError):  # others are still there
                self._place.rmdir()

    @staticmethod
    def new_identity() -> str:
        """Name the draft of a window."""
        return secrets.token_hex(8)

    def _path(self, identity: str) -> Path:
        return self._place / f"{identity}.json"

    @property
    def _place(self) -> Path:
        return ordinary_folder(begun_in(self.folder) / "drafts")
