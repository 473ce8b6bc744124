"""Returned files that wait to be merged: in a trial's hidden folder of what is begun, which no command reads.

They stand in `.desk/waiting`, each in a folder of its own under the name it was given; `.desk/waiting.json` tells which
of them count, and what was answered. It is written after the files of a drop and before they are taken away, so that a
desk that was killed leaves all of a drop or nothing of it. What it does not tell of is cleared away by the next drop.
"""

from __future__ import annotations

import os
import re
import shutil
import time
import unicodedata
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from itertools import chain, count
from pathlib import Path
from typing import IO, Annotated

from trialkit.desk.begun import begun_in, changing, damaged, read_begun, write_begun
from trialkit.desk.workspace import is_reserved
from trialkit.documents.desk_documents import FileAnswers, WaitingFile, WaitingFiles
from trialkit.documents.returns import Choice
from trialkit.domain.errors import NotComputed
from trialkit.languages import gettext
from trialkit.tables.committing import sync_folder
from trialkit.tables.own_files import ordinary_folder

MOST_FILES, MOST_BYTES = 200, 256 << 20
"""Of one trial."""
LONGEST_NAME = 80
CHUNK = 1 << 20
INDEX, FILES = "waiting.json", "waiting"
IDENTITY, PLAIN_NAME = re.compile(r"[0-9a-f]{16}"), re.compile(r"[^/\\:\0]*[^/\\:\0 .]")


@dataclass(frozen=True)
class Waiting:
    """A file that waits."""

    id: str
    path: Path
    answered: FileAnswers

    @property
    def name(self) -> str:
        """As it was given, but for what no file may be called."""
        return self.path.name


@dataclass(frozen=True)
class Tray:
    """The files that wait for a trial, and what was answered for them.

    Every desk on the folder sees the same. Whoever merged a file takes it out.
    """

    trial: Annotated[Path, "Its folder."]

    def files(self) -> tuple[Waiting, ...]:
        """Files that wait, in the order in which they came.

        Raises
        ------
        WrongCall, NotComputed
            If a link stands where they should be, or what tells of them is damaged.
        """
        place = self._place
        return tuple(Waiting(one.id, place / one.id / one.name, one.answered) for one in self._known().files)

    def choices(self) -> dict[str, Choice]:
        """What was chosen of conflicts, by their identity."""
        return dict(self._known().choices)

    def add(self, given: Sequence[tuple[str, IO[bytes]]]) -> None:
        """Take in files, by the names they were given: all of them, or none.

        Raises
        ------
        NotComputed
            If there are more than may wait.
        """
        with self._changing() as (known, write):
            place = self._place
            place.mkdir(mode=0o700, exist_ok=True)
            _clear(place, {one.id for one in known.files})
            held = [place / one.id / one.name for one in known.files]
            room = MOST_BYTES - sum(path.stat().st_size for path in held)
            new: list[WaitingFile] = []
            try:
                if len(held) + len(given) > MOST_FILES:
                    raise _too_many()
                for name, stream in given:
                    others = [other.name for other in (*known.files, *new)]
                    one = WaitingFile(_identity(place), distinct_name(safe_name(name), others))
                    new.append(one)
                    room -= _copied(stream, place / one.id / one.name, room)
                    sync_folder(place / one.id)
                sync_folder(place)
                write(replace(known, files=(*known.files, *new)))
            except BaseException:
                for one in new:
                    shutil.rmtree(place / one.id, ignore_errors=True)
                raise

    def answer(self, answers: Mapping[str, FileAnswers], choices: Mapping[str, Choice | None]) -> None:
        """Keep what was answered for files, by their identity, and chosen of conflicts; of others nothing changes."""
        if not answers and not choices:
            return
        with self._changing() as (known, write):
            files = tuple(replace(one, answered=answers.get(one.id, one.answered)) for one in known.files)
            chosen = {**known.choices, **choices}
            write(WaitingFiles(files=files, choices={key: value for key, value in chosen.items() if value}))

    def take_out(self, identities: Collection[str] = (), choices: Collection[str] = ()) -> None:
        """Take files away that were merged or thrown away, if they are there, and choices that were made."""
        with self._changing() as (known, write):
            files = tuple(one for one in known.files if one.id not in identities)
            write(
                WaitingFiles(
                    files=files, choices={key: value for key, value in known.choices.items() if key not in choices}
                )
            )
            for one in known.files:
                if one.id in identities:
                    shutil.rmtree(self._place / one.id, ignore_errors=True)
            if not files:
                shutil.rmtree(self._place, ignore_errors=True)

    @property
    def _place(self) -> Path:
        return ordinary_folder(begun_in(self.trial) / FILES)

    @contextmanager
    def _changing(self) -> Iterator[tuple[WaitingFiles, Callable[[WaitingFiles], None]]]:
        with changing(self.trial) as folder:
            known = self._known()

            def write(wanted: WaitingFiles) -> None:
                if wanted.files or wanted.choices:
                    write_begun(folder / INDEX, wanted)
                else:
                    (folder / INDEX).unlink(missing_ok=True)

            yield known, write

    def _known(self) -> WaitingFiles:
        """Read what waits; a file that is gone, whoever took it, waits no more."""
        index, place = begun_in(self.trial) / INDEX, self._place
        known = read_begun(WaitingFiles, index) or WaitingFiles()
        if not all(IDENTITY.fullmatch(one.id) and PLAIN_NAME.fullmatch(one.name) for one in known.files):
            raise damaged(index)
        there = (one for one in known.files if _is_ordinary(place / one.id, one.name))
        return replace(known, files=tuple(there))


def _is_ordinary(folder: Path, name: str) -> bool:
    return not folder.is_symlink() and not (folder / name).is_symlink() and (folder / name).is_file()


def _identity(place: Path) -> str:
    """Make a folder for a file and return its name: later ones come after earlier ones."""
    number = time.time_ns()
    while True:
        with suppress(FileExistsError):
            (place / f"{number:016x}").mkdir(mode=0o700)
            return f"{number:016x}"
        number += 1


def _copied(stream: IO[bytes], path: Path, room: int) -> int:
    """Copy what a browser sent; return how much it was."""
    size = 0
    with path.open("xb") as out:
        while data := stream.read(CHUNK):
            size += len(data)
            if size > room:
                raise _too_many()
            out.write(data)
        out.flush()
        os.fsync(out.fileno())
    return size


def _too_many() -> NotComputed:
    return NotComputed(
        gettext(
            "No more than {files} files, or {most} MB, wait at once. Merge some first, or throw them away.",
            files=MOST_FILES,
            most=MOST_BYTES >> 20,
        )
    )


def _clear(place: Path, known: Collection[str]) -> None:
    """Take away what a desk left that was killed before its drop counted; nobody else writes meanwhile."""
    for left in place.iterdir():
        if left.name not in known and not left.is_symlink():
            shutil.rmtree(left, ignore_errors=True)


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
