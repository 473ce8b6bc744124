"""What stands in a folder, to tell whether anything in it changed."""

from pathlib import Path

from trialkit.desk.begun import FOLDER as BEGUN
from trialkit.tables.committing import LOCK


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder, but the empty one that locks it and what is begun at a desk."""
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != LOCK and BEGUN not in path.parts
    }
