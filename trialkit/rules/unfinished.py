"""What a reader must know of merges beside the tables: one that was interrupted, open conflicts, rows remembered."""

from collections.abc import Hashable, Iterator
from pathlib import Path

from trialkit.documents.problems import Problem
from trialkit.documents.returns import Conflict, Conflicts
from trialkit.domain.table_names import AMENDMENTS_FILE, RECORD_TABLES
from trialkit.rules.kept_documents import KEPT_FILES, KeptDocuments
from trialkit.tables.committing import COMMITTED
from trialkit.tables.problem import problem
from trialkit.tables.table_schema import TableSchema

RETURNED = "returned"
WATCHED = (*KEPT_FILES, AMENDMENTS_FILE)


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


def open_conflicts(conflicts: Conflicts) -> Iterator[Problem]:
    """TK-R51: tell of values that two returns have differently and nobody has chosen between."""
    yield from (_open_conflict(one) for one in conflicts.open if one.table in RECORD_TABLES)


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


def remembered_rows(kept: KeptDocuments, schema: TableSchema) -> list[dict[str, str]]:
    """Return cells of rows of a table that merges and corrections remember, the newest correction of each cell."""
    given = [cells for entry in kept.journal.in_force for cells in entry.gave.get(schema.name, ())]
    rows = [dict(zip(schema.primary_key, key, strict=False)) for cells in given for key in cells.keys]
    newest = {one.cell: one for one in kept.corrections.corrections if one.table == schema.name and one.after}
    return rows + [
        dict(zip(schema.primary_key, one.key, strict=False)) | {one.column: one.after} for one in newest.values()
    ]
