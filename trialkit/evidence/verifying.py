"""Whether a ledger is as it was written: every file by its digest, every line and version by those around it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from trialkit.documents.ledger_entry import SHOWN_DIGITS, Listed, SummaryMean
from trialkit.evidence.kept_versions import KeptVersion, copy_problem, read_versions
from trialkit.evidence.ledger import MANIFEST, Entry, locked, open_entry
from trialkit.evidence.ledger_index import ENTRIES, Index, LedgerDamaged, look_at_index, told_at_once
from trialkit.languages import gettext


@dataclass(frozen=True)
class Verified:
    """A ledger as it was read: what could be read of it, and what is wrong."""

    index: Index
    entries: tuple[Entry, ...] = ()
    versions: tuple[KeptVersion, ...] = ()
    problems: tuple[str, ...] = ()
    copy_problem: str = ""

    @property
    def is_doubtful(self) -> bool:
        """Whether anything is wrong, or was just being written."""
        return bool(self.problems or self.copy_problem or any(one.folder.name[0] == "." for one in self.entries))

    def require_whole(self) -> None:
        """Refuse a ledger that is not as it was written.

        Raises
        ------
        LedgerDamaged
            With everything that is wrong with it; its copy of the newest version aside, which is only a copy.
        """
        if self.problems:
            raise LedgerDamaged(told_at_once(self.problems))


def verify(ledger: Path, *, held: bool = False) -> Verified:
    """Read a whole ledger and name everything that is not as it was written, and entries that cannot both count.

    What looks wrong is looked at again while nobody writes; where the ledger is `held` by the caller, nobody does.

    Raises
    ------
    WrongCall
        If there is no ledger there.
    """
    if held:
        return _verify(ledger)
    found = None
    with suppress(FileNotFoundError):  # a file that was there a moment before
        found = _verify(ledger)
    if found and not found.is_doubtful:
        return found
    with suppress(OSError), locked(ledger):
        return _verify(ledger)
    return found or _verify(ledger)


def _verify(ledger: Path) -> Verified:
    try:
        index = look_at_index(ledger)
    except LedgerDamaged as error:
        return Verified(Index(()), problems=tuple(str(error).split("\n")))
    entries: list[Entry] = []
    problems = list(index.problems)
    for listed in index.listed:
        try:
            entries.append(open_entry(ledger, listed))
        except LedgerDamaged as error:
            problems.append(str(error))
    for entry in entries:
        problems += _of_entry(entry)
    versions, wrong = read_versions(ledger, index)
    if not index.problems:  # else what cannot be read may be what tells of it
        problems += [*_strange(ledger, index), *_rivals(entries)]
    return Verified(index, tuple(entries), tuple(versions), (*problems, *wrong), copy_problem(ledger, index))


def _of_entry(entry: Entry) -> Iterator[str]:
    """Compare every file of an entry with its digest."""
    for name in entry.manifest.files:
        try:
            entry.read(name)
        except LedgerDamaged as error:
            yield str(error)
    known = {*entry.manifest.files, MANIFEST}
    for path in sorted(path for path in entry.folder.iterdir() if path.name not in known):
        yield gettext("{path} does not belong there: take it out of the ledger.", path=path)


def _strange(ledger: Path, index: Index) -> Iterator[str]:
    """Entries that the index does not tell of."""
    known, folder = {listed.id for listed in index.listed}, ledger / ENTRIES
    for path in sorted(folder.iterdir()) if folder.is_dir() else ():
        if path.name not in known and path.name[0] != ".":
            yield gettext(
                "{path} is not in the index: add its trial again, and it will be, or take it out of the ledger.",
                path=path,
            )


def _rivals(entries: list[Entry]) -> Iterator[str]:
    """Entries of which one must be withdrawn: two branches of a ledger may each have had one."""
    counting = [entry for entry in entries if entry.listed.counts]
    trials: dict[str, Listed] = {}
    for entry in counting:
        one = entry.listed
        other = trials.setdefault(one.trial, one) if one.kind == "trial" else one
        if other is not one:
            yield gettext(
                "Two entries hold records of the trial “{trial}”, {first} and {second}. {withdraw}",
                trial=one.trial,
                first=other.id,
                second=one.id,
                withdraw=_withdraw(one),
            )
    means: dict[tuple[object, ...], tuple[Listed, SummaryMean]] = {}
    told: set[tuple[str, str]] = set()
    for entry in counting:
        for row in entry.of_summary.means if entry.listed.kind == "means" else ():
            other, there = means.setdefault((row.citation, *row.treatment), (entry.listed, row))
            if there is not row and (other.id, entry.listed.id) not in told:
                told.add((other.id, entry.listed.id))
                yield (
                    gettext(
                        "Two entries hold a mean of one treatment of “{citation}”, {first} with {first_mean:g} g "
                        "and {second} with {second_mean:g} g. {withdraw}",
                        citation=row.citation,
                        first=other.id,
                        first_mean=there.mean_g,
                        second=entry.listed.id,
                        second_mean=row.mean_g,
                        withdraw=_withdraw(entry.listed),
                    )
                )


def _withdraw(one: Listed) -> str:
    return gettext("Withdraw one of them: trialkit evidence withdraw {start} --why ...", start=one.id[:SHOWN_DIGITS])
