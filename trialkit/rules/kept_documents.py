"""What merges and corrections keep under returned; what cannot be read of it is a problem, never taken for nothing."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from trialkit.documents.document import SEAL, DamagedDocument, from_text
from trialkit.documents.problems import Problem
from trialkit.documents.results import Results
from trialkit.documents.returns import Conflicts, Corrections, Headings, Journal, WrittenTables
from trialkit.domain.reading_budget import DOCUMENT, RESULTS
from trialkit.tables.problem import TrialError, problem
from trialkit.tables.source_file import read_source

CONFLICTS = "returned/conflicts.json"
CORRECTIONS = "returned/corrections.json"
HEADINGS = "returned/headings.json"
WRITTEN = "returned/written.json"
RESULTS_FILE = "results/results.json"
JOURNAL = "returned/returns.json"
KEPT_FILES = (JOURNAL, CONFLICTS, CORRECTIONS, HEADINGS, WRITTEN)

Kept = TypeVar("Kept", Journal, Conflicts, Corrections, Headings, WrittenTables)


@dataclass(frozen=True)
class KeptDocuments:
    """What is remembered of returns and corrections; a document without a file, or that cannot be read, is empty."""

    journal: Journal = field(default_factory=Journal)
    conflicts: Conflicts = field(default_factory=Conflicts)
    corrections: Corrections = field(default_factory=Corrections)
    headings: Headings = field(default_factory=Headings)
    written: WrittenTables = field(default_factory=WrittenTables)
    problems: tuple[Problem, ...] = ()


def kept_documents(folder: Path) -> KeptDocuments:
    """Read everything; TK-R59: the problems tell of what is there and cannot be read."""
    problems: list[Problem] = []

    def read(name: str, kind: Callable[[], Kept]) -> Kept:
        found = _read(folder, name, kind)
        if isinstance(found, Problem):
            problems.append(found)
            return kind()
        return found

    return KeptDocuments(
        read(JOURNAL, Journal),
        read(CONFLICTS, Conflicts),
        read(CORRECTIONS, Corrections),
        read(HEADINGS, Headings),
        read(WRITTEN, WrittenTables),
        tuple(problems),
    )


def usable_documents(folder: Path) -> KeptDocuments:
    """Read everything, for whoever goes on writing it.

    Raises
    ------
    TrialError
        With everything that cannot be read.
    """
    kept = kept_documents(folder)
    if kept.problems:
        raise TrialError(kept.problems)
    return kept


def results_at_fault(folder: Path) -> Iterator[Problem]:
    """TK-F14: tell of results that cannot be read; those of another version of trialkit are no fault of the folder."""
    source = read_source(folder, RESULTS_FILE, budget=RESULTS)
    if isinstance(source, Problem):
        if source.rule != "TK-F01":
            yield problem("TK-F14", RESULTS_FILE, "no text")
        return
    try:
        from_text(Results, source.text)
    except DamagedDocument as error:
        if error.where != "schema":
            yield problem("TK-F14", RESULTS_FILE, "damaged", where=error.where or None)


def _read(folder: Path, name: str, kind: Callable[[], Kept]) -> Kept | Problem:
    source = read_source(folder, name, budget=DOCUMENT)
    if isinstance(source, Problem):
        if source.rule == "TK-F01":
            return kind()
        return source if source.rule in ("TK-F02", "TK-F03") else problem("TK-R59", name, "no text")
    try:
        return from_text(type(kind()), source.text)
    except DamagedDocument as error:
        return problem("TK-R59", name, "changed" if error.where == SEAL else "damaged", where=error.where or None)
