"""Returned files that wait to be merged: in a private temporary folder of the desk's run, never in a trial."""

from __future__ import annotations

import re
import secrets
import shutil
import tempfile
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from itertools import chain, count
from pathlib import Path
from threading import Lock
from typing import IO, Annotated, Any

from trialkit.desk.workspace import is_reserved
from trialkit.domain.errors import NotComputed
from trialkit.languages import gettext

MOST_FILES, MOST_BYTES = 200, 256 << 20
"""Of one desk."""
LONGEST_NAME = 80
CHUNK = 1 << 20


@dataclass(frozen=True)
class FileAnswers:
    """What was answered for a file, by the names that `trialkit merge` gives its answers."""

    options: Annotated[Mapping[str, str], "Of dates, decimals, serials and weights."] = field(default_factory=dict)
    accept: Annotated[tuple[str, ...], "Rules."] = ()
    headings: Annotated[Mapping[str, str], "Columns by folded heading; empty: it is left out."] = field(
        default_factory=dict
    )
    why: Annotated[str, "Why what it says otherwise is taken; empty where it is not."] = ""

    @property
    def told(self) -> dict[str, Any]:
        """As `Trial.merge` takes it."""
        told: dict[str, Any] = {**self.options, "accept": self.accept, "headings": dict(self.headings)}
        return told | ({"why": self.why} if self.why else {})

    @property
    def words(self) -> tuple[str, ...]:
        """As `trialkit merge` takes it."""
        options = [word for name, value in self.options.items() for word in (f"--{name}", value)]
        accepted = [word for rule in self.accept for word in ("--accept", rule)]
        headed = [word for text, column in self.headings.items() for word in ("--heading", f"{text}={column}")]
        return (*options, *accepted, *headed, *(("--why", self.why) if self.why else ()))


@dataclass(frozen=True)
class Waiting:
    """A file that waits."""

    id: str
    path: Path
    answered: FileAnswers = field(default_factory=FileAnswers)

    @property
    def name(self) -> str:
        """As it was given, but for what no file may be called."""
        return self.path.name


@dataclass
class Tray:
    """The files that wait, of every trial, and what was answered for them.

    A file that is merged is taken out of the folder by whoever merged it: what is there waits.
    """

    _folder: Path | None = None
    _waiting: dict[str, list[Waiting]] = field(default_factory=dict)
    _choices: dict[str, dict[str, str]] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def files(self, trial: str) -> tuple[Waiting, ...]:
        """Files that wait for a trial, in the order in which they came."""
        with self._lock:
            self._waiting[trial] = [one for one in self._waiting.get(trial, ()) if one.path.is_file()]
            return tuple(self._waiting[trial])

    def choices(self, trial: str) -> dict[str, str]:
        """What was chosen of conflicts, by their identity."""
        with self._lock:
            return dict(self._choices.get(trial, {}))

    def add(self, trial: str, name: str, stream: IO[bytes]) -> None:
        """Take in a file.

        Raises
        ------
        NotComputed
            If there are more than one desk holds.
        """
        with self._lock:
            held = [one.path for those in self._waiting.values() for one in those if one.path.is_file()]
            room = MOST_BYTES - sum(path.stat().st_size for path in held)
            if self._folder is None:
                self._folder = Path(tempfile.mkdtemp(prefix="trialkit-desk-"))
            identity = secrets.token_hex(8)
            place = self._folder / identity
            place.mkdir(mode=0o700)
            path = place / distinct_name(safe_name(name), [one.name for one in held])
            with path.open("xb") as out:
                while len(held) < MOST_FILES and (data := stream.read(CHUNK)) and (room := room - len(data)) >= 0:
                    out.write(data)
            if len(held) >= MOST_FILES or room < 0:
                shutil.rmtree(place)
                raise NotComputed(
                    gettext(
                        "No more than {files} files, or {most} MB, wait at once. Merge some first, or throw them away.",
                        files=MOST_FILES,
                        most=MOST_BYTES >> 20,
                    )
                )
            self._waiting.setdefault(trial, []).append(Waiting(identity, path))

    def answer(self, trial: str, answers: Mapping[str, FileAnswers], choices: Mapping[str, str]) -> None:
        """Keep what was answered for files, by their identity, and chosen of conflicts."""
        with self._lock:
            self._waiting[trial] = [
                Waiting(one.id, one.path, answers.get(one.id, one.answered)) for one in self._waiting.get(trial, ())
            ]
            self._choices[trial] = dict(choices)

    def throw_away(self, trial: str, identity: str) -> None:
        """Take a file out, if it is there."""
        with self._lock:
            for one in self._waiting.get(trial, ()):
                if one.id == identity:
                    take_out(one.path)

    def close(self) -> None:
        """Take the folder away."""
        with self._lock:
            if self._folder is not None:
                shutil.rmtree(self._folder, ignore_errors=True)


def take_out(path: Path) -> None:
    """Take a file that waited away, with the folder of its own."""
    shutil.rmtree(path.parent, ignore_errors=True)


def safe_name(name: str) -> str:
    r"""Make a stranger's name of a file one that any system takes, and that leads nowhere else.

    Examples
    --------
    >>> safe_name("../../etc/pass:wd.csv"), safe_name(r"C:\mail\Fern.xlsx"), safe_name("con .txt"), safe_name("..")
    ('pass_wd.csv', 'Fern.xlsx', '_con .txt', 'returned')
    >>> safe_name("a & calc.exe %PATH% $(b) `c` 'd'.csv")
    'a _ calc.exe _PATH_ _(b) _c_ _d_.csv'
    """
    last = re.split(r"[/\\]", name)[-1]
    plain = "".join(one if unicodedata.category(one)[0] not in "CZ" or one == " " else "_" for one in last)
    plain = re.sub(r"""[<>:"|?*&;^%$!`'~#{}]""", "_", plain).strip(" .-") or "returned"  # also what shells obey
    stem, dot, ending = plain.rpartition(".")
    if len(plain.encode("utf-8", "replace")) > LONGEST_NAME:
        kept = (stem if dot else plain)[: LONGEST_NAME // 4].rstrip(" .")
        plain = f"{kept}{dot}{ending[:8]}" if dot else kept
    return f"_{plain}" if is_reserved(plain) else plain


def distinct_name(name: str, others: Collection[str]) -> str:
    """Return a file's name, numbered where another is called so: a command names each file by it.

    Examples
    --------
    >>> distinct_name("Heads.xlsx", ["heads.xlsx", "heads-2.xlsx"]), distinct_name("heads", [])
    ('Heads-3.xlsx', 'heads')
    """
    taken = {other.casefold() for other in others}
    stem, dot, ending = name.rpartition(".") if "." in name else (name, "", "")
    numbered = ((f"{stem}-{n}{dot}{ending}", f"{stem[:10]}-{n}{dot}{ending[:8]}") for n in count(2))
    names = (long if safe_name(long) == long else short for long, short in numbered)
    return next(one for one in chain([name], names) if one.casefold() not in taken)
