"""Telling that a collect was interrupted between its commit and its end, before anything is read."""

from collections.abc import Hashable
from pathlib import Path

from trialkit.trial.problem import Problem, problem

STAGING, COMMITTED = ".collecting", ".collected"
"""Folders in a trial folder: versions being written, and versions that count but are not in place yet."""
WATCHED = ("returned/returns.json", "returned/conflicts.json")


def unfinished_collect(folder: Path) -> Problem | None:
    """Return the problem that the tables of a folder may be partly old and partly new, or None.

    Parameters
    ----------
    folder : Path
        The trial folder.
    """
    if not (folder / COMMITTED).exists():
        return None
    mend = f"Run trialkit collect {folder} (without files): it finishes what was begun."
    return problem(
        "TK-R55", "heads.csv", "tables of one collect", found="a collect that was stopped half-way", mend=mend
    )


def generation(folder: Path) -> Hashable:
    """Return a mark that changes whenever a collect changes the tables, so that a reader can tell that it must reread.

    Parameters
    ----------
    folder : Path
        The trial folder.
    """
    marks: list[Hashable] = [(folder / COMMITTED).exists()]
    for name in WATCHED:
        try:
            status = (folder / name).stat()
            marks.append((status.st_ino, status.st_mtime_ns, status.st_size))
        except OSError:
            marks.append(None)
    return tuple(marks)
