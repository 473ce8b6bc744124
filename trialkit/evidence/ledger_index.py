"""The index of a ledger: a line for each thing that happened, each bound by digests to what stood before it.

::

    ledger/index.jsonl      one line for each thing that happened: added, withdrawn, readmitted, recommended
    ledger/seal.txt         the digests of the newest lines, so that none is lost from the end

A line holds the digests of the lines that were the newest when it was written, and one of all its own content. Two
branches under version control each go on from the same line; merged, line by line, the index has two newest lines, and
the next one names both. What counts does not hang on the order in which a merge put them: a withdrawal holds until the
entry is added again, or readmitted, by somebody who knew of it.

Index and seal change together: the whole new index is written aside first, and counts from then on.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from functools import cached_property
from pathlib import Path
from typing import Any, Final, TypeVar

from trialkit.documents.document import DamagedDocument, from_text
from trialkit.documents.ledger_entry import (
    Added,
    Began,
    EntryTold,
    IndexLine,
    Listed,
    Readmitted,
    Recommending,
    Withdrawn,
)
from trialkit.domain.errors import WrongCall
from trialkit.domain.reading_budget import LEDGER_INDEX
from trialkit.languages import Saying, gettext, translatable
from trialkit.tables.atomic import write_bytes
from trialkit.tables.links import link_words, links_inside

INDEX, SEAL, NEXT_INDEX, ENTRIES, HISTORY = "index.jsonl", "seal.txt", ".index.next", "entries", "history"
FORMAT: Final = "trialkit-ledger-2"
"""Of an index whose lines are bound; in the format before it they are not."""
DIGITS = 32
"""Of the digest in an entry's name, and in that of a line: half of it, which nobody meets twice by chance."""
ID = re.compile(f"[0-9a-f]{{{DIGITS}}}")
VERSION_FILE = re.compile(r"recommended-[0-9]{4,9}(-[0-9a-f]{12})?\.json")
MOST_TOLD = 20
MERGE_MARKS = (b"<<<<<<<", b"|||||||", b"=======", b">>>>>>>")
RESTORE = Saying("Bring the file back from version control.")

Line = Began | Added | Withdrawn | Readmitted | Recommending
Kind = TypeVar("Kind", bound=IndexLine)
OfEntry = TypeVar("OfEntry", Withdrawn, Readmitted)


class LedgerDamaged(WrongCall):
    """A ledger is not as trialkit wrote it; the message names each file."""


@dataclass(frozen=True)
class Index:
    """What an index says; `problems` names what is not as it was written, and the other lines are here all the same."""

    lines: tuple[Line, ...]
    problems: tuple[str, ...] = ()

    @property
    def is_bound(self) -> bool:
        """Whether every line is bound to those before it: indexes of earlier versions are not, until they grow."""
        return not self.lines or self.lines[0].after is not None

    @cached_property
    def _places(self) -> dict[str, int]:
        return {line.line_sha256: place for place, line in enumerate(self.lines)}

    @cached_property
    def _before(self) -> tuple[int, ...]:
        """The lines that each goes on from, near and far, as bits by their place."""
        found: list[int] = []
        for place in range(len(self.lines)):
            near = [self._places[name] for name in self.parents(place) if self._places.get(name, place) < place]
            found.append(0)
            for one in near:
                found[place] |= found[one] | 1 << one
        return tuple(found)

    def parents(self, place: int) -> tuple[str, ...]:
        """Digests of the lines that one goes on from; in an unbound index, of the one before it."""
        after = self.lines[place].after
        return after if after is not None else tuple(one.line_sha256 for one in self.lines[max(place - 1, 0) : place])

    @cached_property
    def in_order(self) -> tuple[Line, ...]:
        """Lines after those that they go on from, and in an order that does not hang on who merged whom."""
        key = {name: (self._before[place].bit_count(), name) for name, place in self._places.items()}
        return tuple(sorted(self.lines, key=lambda line: key[line.line_sha256]))

    @cached_property
    def newest(self) -> tuple[str, ...]:
        """Digests of the lines that no other goes on from."""
        old = {name for place in range(len(self.lines)) for name in self.parents(place)}
        return tuple(sorted({line.line_sha256 for line in self.lines} - old))

    @property
    def state(self) -> str:
        """Digest of all that ever happened; empty where lines are not bound, or not as they were written."""
        return hashlib.sha256(_seal(self.newest)).hexdigest() if self.is_bound and not self.problems else ""

    def knows(self, later: Line, earlier: Line) -> bool:
        """Whether a line was written by somebody who knew of another."""
        return bool(self._before[self._places[later.line_sha256]] >> self._places[earlier.line_sha256] & 1)

    @cached_property
    def listed(self) -> tuple[Listed, ...]:
        """Every entry, in the order in which they came, withdrawn ones too."""
        added: dict[str, list[Added]] = {}
        for line in self._of(Added):
            added.setdefault(line.id, []).append(line)
        return tuple(self._listed(mine) for mine in added.values())

    def _listed(self, added: Sequence[Added]) -> Listed:
        back: tuple[Added | Readmitted, ...] = (*added, *self._of_entry(Readmitted, added[0].id))
        open_ = [
            one for one in self._of_entry(Withdrawn, added[0].id) if not any(self.knows(again, one) for again in back)
        ]
        listed = Listed(**{field.name: getattr(added[-1], field.name) for field in fields(EntryTold)})
        return replace(listed, withdrawn_on=open_[0].on, why=open_[0].why) if open_ else listed

    def _of_entry(self, kind: type[OfEntry], identity: str) -> Sequence[OfEntry]:
        """Lines of a kind about an entry."""
        return [line for line in self._by_entry.get(identity, ()) if isinstance(line, kind)]

    @cached_property
    def _by_entry(self) -> dict[str, list[Withdrawn | Readmitted]]:
        found: dict[str, list[Withdrawn | Readmitted]] = {}
        for line in self.in_order:
            if isinstance(line, Withdrawn | Readmitted):
                found.setdefault(line.id, []).append(line)
        return found

    @cached_property
    def versions(self) -> tuple[Recommending, ...]:
        """Versions of the defaults, in the order of their numbers."""
        return tuple(sorted(self._of(Recommending), key=lambda line: (line.version, line.sha256)))

    @property
    def newest_versions(self) -> tuple[Recommending, ...]:
        """Versions that no other goes on from."""
        made = self.versions
        return tuple(one for one in made if not any(self.knows(other, one) for other in made))

    def _of(self, kind: type[Kind]) -> Iterator[Kind]:
        return (line for line in self.in_order if isinstance(line, kind))


def look_at_index(ledger: Path) -> Index:
    """Read the index, and name what is wrong with it.

    Raises
    ------
    WrongCall
        If there is no ledger there.
    LedgerDamaged
        If links stand in it, or its index is too large to be one.
    """
    path, aside = ledger / INDEX, ledger / NEXT_INDEX
    if links := links_inside(ledger, (ENTRIES, HISTORY)):
        raise LedgerDamaged(told_at_once(map(link_words, links)))
    data, seal, coming = (_bytes_of(one) for one in (path, ledger / SEAL, aside))
    if data is None and coming is None:
        if seal is not None:
            raise LedgerDamaged(translatable("{path} is missing. {restore}"), path=path, restore=RESTORE)
        raise WrongCall(
            translatable("{ledger} is no ledger: it has no {index}. trialkit evidence add begins one."),
            ledger=ledger,
            index=INDEX,
        )
    lines, problems = _read_lines(path, data) if data is not None else ((), [])
    if coming is not None:  # a writer was stopped: what it had written aside counts
        before, path = lines, aside
        lines, problems = _read_lines(path, coming)
        kept = {line.line_sha256 for line in lines}
        if any(line.after is not None and line.line_sha256 not in kept for line in before):
            problems.append(
                gettext(
                    "{aside} lacks a line that {index} has. Take {name} away.",
                    aside=aside,
                    index=ledger / INDEX,
                    name=aside.name,
                )
            )
    index = Index(lines)
    hidden = bool(problems)  # what cannot be read may be what seems to be missing
    problems += _loose_ends(path, index, hidden)
    problems += _seal_problems(ledger, index, seal, is_coming=coming is not None, hidden=hidden)
    return Index(lines, tuple(problems))


def read_index(ledger: Path) -> Index:
    """Read the index, which must be as it was written.

    Raises
    ------
    WrongCall
        If there is no ledger there.
    LedgerDamaged
        Where a line is not as it was written, missing or not bound to the others; names each.
    """
    index = look_at_index(ledger)
    if index.problems:
        raise LedgerDamaged(told_at_once(index.problems))
    return index


def told_at_once(problems: Iterator[str] | Sequence[str]) -> str:
    """Every problem on a line; of very many the first, and how many more."""
    found = list(problems)
    more = (
        [gettext("... and {number} more like these.", number=len(found) - MOST_TOLD)] if len(found) > MOST_TOLD else []
    )
    return "\n".join(found[:MOST_TOLD] + more)


def _bytes_of(path: Path) -> bytes | None:
    try:
        if (not path.is_file() and path.exists()) or (path.is_file() and path.stat().st_size > LEDGER_INDEX.file_bytes):
            most = LEDGER_INDEX.file_bytes // 10**6
            raise LedgerDamaged(
                translatable("{path} is no file of a ledger, of {most} MB at most. {restore}"),
                path=path,
                most=most,
                restore=RESTORE,
            )
        return path.read_bytes()
    except FileNotFoundError:
        return None


def _read_lines(path: Path, data: bytes) -> tuple[tuple[Line, ...], list[str]]:
    """Read each line by itself: one that is damaged hides no other."""
    if data.count(b"\n") > LEDGER_INDEX.rows:
        raise LedgerDamaged(
            translatable("{path} has more than {rows} lines: it is no index of a ledger. {restore}"),
            path=path,
            rows=LEDGER_INDEX.rows,
            restore=RESTORE,
        )
    found: dict[str, Line] = {}
    problems: list[str] = []
    *texts, rest = data.split(b"\n")
    if rest:
        problems.append(
            gettext("{path}, line {line}: it has no end. {restore}", path=path, line=len(texts) + 1, restore=RESTORE)
        )
    for number, text in enumerate(texts, 1):
        line = _line_of(text)
        if line is None and text.startswith(MERGE_MARKS):
            said = gettext("a mark of a merge. Keep the lines of both sides, and take the marks away.")
        elif line is None:
            said = gettext("it is not as trialkit wrote it. {restore}", restore=RESTORE)
        elif line.line_sha256 in found:
            said = gettext("it is there twice. Delete one of the two.")
        else:
            found[line.line_sha256] = line
            continue
        problems.append(gettext("{path}, line {number}: {said}", path=path, number=number, said=said))
    if not any(isinstance(line, Began) for line in list(found.values())[:1]):
        problems.append(gettext("{path}, line 1: it is not how a ledger begins. {restore}", path=path, restore=RESTORE))
    return tuple(found.values()), problems


def _line_of(text: bytes) -> Line | None:
    """Read a line that is byte for byte as it was written; None of any other."""
    with suppress(DamagedDocument, UnicodeDecodeError):
        line: Line = from_text(Line, text.decode("utf-8"))  # type: ignore[arg-type]
        names = [line.id] if isinstance(line, Added | Withdrawn | Readmitted) else []  # it becomes the name of a folder
        sound = all(map(ID.fullmatch, [*names, *(line.after or ())])) and (
            not isinstance(line, Recommending) or VERSION_FILE.fullmatch(line.file)
        )
        if sound and as_line(line) == text + b"\n":
            return line
    return None


def _loose_ends(path: Path, index: Index, hidden: bool) -> Iterator[str]:
    """Lines that are not bound to others as they should be; those that miss another only where none is hidden."""
    every = {line.line_sha256 for line in index.lines}
    ids = {kind: {line.id for line in index.lines if isinstance(line, kind)} for kind in (Added, Withdrawn)}
    known: set[str] = set()
    for place, line in enumerate(index.lines):
        after, begins, name = line.after, isinstance(line, Began), line.line_sha256
        is_bound = line.format == FORMAT if isinstance(line, Began) else index.is_bound
        if (after is not None) != index.is_bound or is_bound != index.is_bound:
            yield gettext(
                "{path}: line {name} is of another format than the first. {restore}",
                path=path,
                name=name,
                restore=RESTORE,
            )
        elif not hidden and (begins != (place == 0) or (after is not None and begins != (after == ()))):
            yield gettext(
                "{path}: line {name} does not go on from any other. {restore}", path=path, name=name, restore=RESTORE
            )
        elif not hidden and (missing := set(after or ()) - every):
            yield gettext(
                "{path}: the line {line}, which another goes on from, is missing or was changed. {restore}",
                path=path,
                line=min(missing),
                restore=RESTORE,
            )
        elif not hidden and not known.issuperset(after or ()):
            yield gettext(
                "{path}: line {name} stands before one that it goes on from. {restore}",
                path=path,
                name=name,
                restore=RESTORE,
            )
        elif not hidden and isinstance(line, Withdrawn) and line.id not in ids[Added]:
            yield gettext(
                "{path}: {id} was withdrawn and never added. {restore}", path=path, id=line.id, restore=RESTORE
            )
        elif not hidden and isinstance(line, Readmitted) and line.id not in ids[Withdrawn]:
            yield gettext(
                "{path}: {id} was readmitted and never withdrawn. {restore}", path=path, id=line.id, restore=RESTORE
            )
        known.add(name)


def _seal_problems(ledger: Path, index: Index, seal: bytes | None, *, is_coming: bool, hidden: bool) -> Iterator[str]:
    """Hold the newest lines against the seal, which a stopped writer may not have come to."""
    path, restore = ledger / SEAL, gettext("Bring both back from version control.")
    if seal is None:
        if index.is_bound and not is_coming:
            yield gettext("{path} is missing. {restore}", path=path, restore=RESTORE)
        return
    if not index.is_bound:
        yield gettext(
            "{index} is of an earlier time than {path}. {restore}", index=ledger / INDEX, path=path, restore=restore
        )
        return
    names = seal.decode("ascii", "replace").split("\n")
    if seal.startswith(MERGE_MARKS):
        yield gettext("{path} has marks of a merge. Keep the lines of both sides, and take the marks away.", path=path)
    elif names.pop() or not names or len(set(names)) < len(names) or not all(map(ID.fullmatch, names)):
        yield gettext("{path} is not as trialkit wrote it. {restore}", path=path, restore=RESTORE)
    elif not hidden:
        lost = sorted(set(names) - {line.line_sha256 for line in index.lines})
        for name in lost:
            yield gettext(
                "{index}: the line {name}, which {seal} names, is missing or was changed. {restore}",
                index=ledger / INDEX,
                name=name,
                seal=path.name,
                restore=restore,
            )
        for name in () if lost or is_coming else sorted(set(index.newest) - set(names)):
            yield gettext(
                "{path} does not name {name}, which {index} ends with. {restore}",
                path=path,
                name=name,
                index=INDEX,
                restore=restore,
            )


def as_line(line: Line) -> bytes:
    """Return a line as it stands in the index."""
    told = {**_content(line), "line_sha256": _digest_of(line)}
    return json.dumps(told, ensure_ascii=False).encode("utf-8") + b"\n"


def _content(line: Line) -> dict[str, Any]:
    names = [field.name for field in fields(line) if field.name not in {"event", "after", "line_sha256"}]
    told = {"event": line.event, **{name: getattr(line, name) for name in names}}
    return told if line.after is None else {**told, "after": list(line.after)}


def _digest_of(line: Line) -> str:
    plain = json.dumps(_content(line), ensure_ascii=False, sort_keys=True)
    return hashlib.sha256(plain.encode("utf-8")).hexdigest()[:DIGITS]


def _bound(line: Kind, after: Sequence[str]) -> Kind:
    """Return a line with what it goes on from, and its own digest."""
    bound = replace(line, after=tuple(sorted(after)))
    return replace(bound, line_sha256=_digest_of(bound))  # type: ignore[arg-type]


def _seal(newest: Sequence[str]) -> bytes:
    return "".join(f"{name}\n" for name in newest).encode("ascii")


def grown(index: Index, events: Sequence[Line]) -> Index:
    """Return an index with more lines, each after all before it; one that was not bound is bound from its beginning."""
    lines: list[Line] = [] if not index.is_bound else list(index.lines)
    newest = index.newest if index.is_bound else ()
    for event in events if index.is_bound else (*index.lines, *events):
        begun = replace(event, format=FORMAT) if isinstance(event, Began) else event
        lines.append(_bound(begun, newest))
        newest = (lines[-1].line_sha256,)
    return Index(tuple(lines))


def write_index(ledger: Path, index: Index) -> None:
    """Put an index and its seal in place of the old ones.

    Raises
    ------
    OSError
        If it cannot be written; nothing has changed then.
    """
    data = b"".join(map(as_line, index.lines))
    write_bytes(ledger / NEXT_INDEX, data)  # from here on it counts
    with suppress(OSError):  # whoever writes next does it then
        finish(ledger, index)


def finish(ledger: Path, index: Index) -> None:
    """Put in place what a writer had written aside, if anything."""
    if (ledger / NEXT_INDEX).exists():
        write_bytes(ledger / SEAL, _seal(index.newest))
        write_bytes(ledger / INDEX, b"".join(map(as_line, index.lines)))
        (ledger / NEXT_INDEX).unlink()


def unbound_versions(ledger: Path, index: Index) -> tuple[Recommending, ...]:
    """Versions of the defaults that an unbound index does not tell of, in the order of their numbers."""
    files = () if index.is_bound else sorted((ledger / HISTORY).glob("recommended-*.json"))
    return tuple(
        Recommending(
            version=int(path.stem.split("-")[1]), file=path.name, sha256=hashlib.sha256(path.read_bytes()).hexdigest()
        )
        for path in files
        if VERSION_FILE.fullmatch(path.name)
    )
