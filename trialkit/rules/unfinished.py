"""What a reader must know of merges beside the tables: one that was interrupted, open conflicts, corrections."""

from collections.abc import Hashable, Iterator
from contextlib import suppress
from pathlib import Path

from trialkit.documents.document import DamagedDocument, from_text
from trialkit.documents.problems import Problem
from trialkit.documents.returns import Conflict, Conflicts, Correction, Corrections, Journal
from trialkit.domain.reading_budget import DOCUMENT
from trialkit.domain.table_names import AMENDMENTS_FILE, RECORD_TABLES
from trialkit.tables.problem import problem
from trialkit.tables.source_file import read_source
from trialkit.tables.table_schema import TableSchema

STAGING, COMMITTED = ".merging", ".merged"
"""Folders in a trial folder: versions being written, and versions that count but are not in place yet."""
CONFLICTS = "returned/conflicts.json"
CORRECTIONS = "returned/corrections.json"
HEADINGS = "returned/headings.json"
WRITTEN = "returned/written.json"
JOURNAL = "returned/returns.json"
WATCHED = (JOURNAL, CONFLICTS, CORRECTIONS, WRITTEN, AMENDMENTS_FILE)


def unfinished_merge(folder: Path) -> Problem | None:
    """Return the problem that the tables of a folder may be partly old and partly new, or None."""
    if not (folder / COMMITTED).exists():
        return None
    return problem("TK-R55", "heads.csv", folder=folder)


def generation(folder: Path) -> Hashable:
    """Return a mark that changes whenever a merge changes the tables: a reader then knows that it must reread."""
    marks: list[Hashable] = [(folder / COMMITTED).exists()]
    for name in WATCHED:
        try:
            status = (folder / name).stat()
            marks.append((status.st_ino, status.st_mtime_ns, status.st_size))
        except OSError:
            marks.append(None)
    return tuple(marks)


def open_conflicts(folder: Path) -> Iterator[Problem]:
    """TK-R51: tell of values that two returns have differently and nobody has chosen between.

    Reads no more than it needs of returned/conflicts.json; one that cannot be read is the next merge's to tell.
    """
    source = read_source(folder, CONFLICTS, budget=DOCUMENT)
    if isinstance(source, Problem):
        return
    with suppress(DamagedDocument):
        yield from (_open_conflict(one) for one in from_text(Conflicts, source.text).open if one.table in RECORD_TABLES)


def _open_conflict(conflict: Conflict) -> Problem:
    return problem(
        "TK-R51",
        f"{conflict.table}.csv",
        column=conflict.column,
        kept=conflict.kept,
        returned=conflict.returned,
        key=" ".join(conflict.key),
        id=conflict.id,
    )


def corrections_made(folder: Path) -> tuple[Correction, ...] | Problem:
    """Return what was corrected in the record; TK-R59: the problem that nobody can tell."""
    source = read_source(folder, CORRECTIONS, budget=DOCUMENT)
    if isinstance(source, Problem):
        return () if source.rule == "TK-F01" else problem("TK-R59", "heads.csv")
    try:
        return from_text(Corrections, source.text).corrections
    except DamagedDocument:
        return problem("TK-R59", "heads.csv")


def remembered_rows(folder: Path, schema: TableSchema) -> list[dict[str, str]]:
    """Return cells of rows of a table that merges and corrections remember, the newest correction of each cell.

    A file under returned that cannot be read tells nothing here; whoever needs it says so.
    """
    rows: list[dict[str, str]] = []
    source = read_source(folder, JOURNAL, budget=DOCUMENT)
    if not isinstance(source, Problem):
        with suppress(DamagedDocument):
            given = [
                cells for entry in from_text(Journal, source.text).returns for cells in entry.gave.get(schema.name, ())
            ]
            rows += [dict(zip(schema.primary_key, key, strict=False)) for cells in given for key in cells.keys]
    made = corrections_made(folder)
    if not isinstance(made, Problem):
        newest = {one.cell: one for one in made if one.table == schema.name and one.after}
        rows += [
            dict(zip(schema.primary_key, one.key, strict=False)) | {one.column: one.after} for one in newest.values()
        ]
    return rows
