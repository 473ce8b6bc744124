"""Reading one returned file, whatever it is: workbook, CSV or phone file, told by its content and not by its name."""

import hashlib
import stat
from dataclasses import dataclass
from pathlib import Path

from trialkit.documents.returns import Kind
from trialkit.domain.reading_budget import RETURNED
from trialkit.returns.finding_log import Log, Place
from trialkit.returns.phone_files import looks_like_phone_text, read_phone_file
from trialkit.returns.sheets import Returned
from trialkit.returns.text_files import read_csv_file
from trialkit.returns.workbooks import read_workbook

STANDARD_INPUT = "standard input"
"""Name of what came without one."""
ENDINGS: dict[Kind, str] = {"workbook": ".xlsx", "csv": ".csv", "phone": ".json"}
USUAL_ENDINGS: dict[Kind, tuple[str, ...]] = {
    "workbook": (".xlsx", ".xlsm"),
    "csv": (".csv", ".txt", ".tsv", ".tab", ""),
    "phone": (".json", ".txt", ""),
}
# First bytes of what people send by mistake; common knowledge of file formats, from memory.
KNOWN_STARTS = ((b"%PDF", "document"), (b"\xff\xd8\xff", "photograph"), (b"\x89PNG", "picture"))


@dataclass(frozen=True)
class Original:
    """The bytes of a returned file, and the name it was given under (without its folder)."""

    name: str
    data: bytes

    is_file: bool = True
    """Whether it was a file, whose ending says what it should be."""

    @property
    def sha256(self) -> str:
        """Digest of the bytes."""
        return hashlib.sha256(self.data).hexdigest()


def load_original(source: Path | bytes, log: Log) -> Original:
    """Read a file's bytes, bounded; or take what was read already, of which no more than one over the bound is needed.

    Raises
    ------
    UnreadableReturn
        If it is too large or no ordinary file.
    OSError
        If it cannot be opened.
    """
    if isinstance(source, bytes):
        with log.within_budget():
            RETURNED.hold("file_bytes", len(source))
        return Original(STANDARD_INPUT, source, is_file=False)
    status = source.stat()
    if not stat.S_ISREG(status.st_mode):
        raise log.give_up("TK-R05", "folder")
    with source.open("rb") as stream:
        data = stream.read(RETURNED.file_bytes + 1)
    with log.within_budget():
        RETURNED.hold("file_bytes", max(len(data), status.st_size), counted=True)
    return Original(source.name, data)


def read_return(original: Original, log: Log) -> Returned:
    """Read a returned file into sheets of text cells.

    Raises
    ------
    UnreadableReturn
        If nothing of it can be read; the log says why.
    """
    data = original.data
    if not data.strip():
        raise log.give_up("TK-R08", "empty file")
    for start, what in KNOWN_STARTS:
        if data.startswith(start):
            raise log.give_up("TK-R05", what)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise log.give_up("TK-R06", "locked or old")
    with log.within_budget():
        returned = _read(data, log)
    ending = Path(original.name).suffix.lower()
    if original.is_file and ending not in USUAL_ENDINGS[returned.kind]:
        log.note("TK-R04", Place(), returned.kind, ending=ending)
    return returned


def _read(data: bytes, log: Log) -> Returned:
    if data.startswith(b"PK"):
        return read_workbook(data, log)
    return read_phone_file(data, log) if looks_like_phone_text(data) else read_csv_file(data, log)
