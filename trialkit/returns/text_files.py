"""CSV files as people and programs save them: encodings, marks between columns, line ends, quotation marks."""

import contextlib
import csv
import re
from collections.abc import Sequence
from itertools import islice

from trialkit.domain.reading_budget import RETURNED
from trialkit.languages import translatable
from trialkit.returns.finding_log import Log, Place
from trialkit.returns.sheets import Returned, SheetText
from trialkit.tables.csv_records import CsvRecords
from trialkit.tables.encodings import readings_of_bytes
from trialkit.tables.headings import FEWEST_HEADINGS, best_table
from trialkit.tables.raw_table import OTHER_MARKS

DELIMITERS = {",": translatable("commas"), **OTHER_MARKS, "|": translatable("upright strokes")}
LINES_LOOKED_AT, CHARACTERS_LOOKED_AT = 20, 100_000
SEPARATOR_LINE = re.compile(r'"?sep=(.)"?', re.IGNORECASE)


def read_csv_file(data: bytes, log: Log) -> Returned:
    """Read a CSV file as one sheet without a name.

    Raises
    ------
    UnreadableReturn
        If it cannot be told apart into cells.
    """
    text = decode(data, log)
    if re.match(r"\s*<(!doctype|html|table|\?xml)", text, re.IGNORECASE):
        raise log.give_up("TK-R05", "web page")
    _note_line_ends(text, log)
    text, delimiter, first_row = _delimiter(text, log)
    records = _records(text, delimiter, first_row, log)
    rows = tuple((row, cells) for row, cells in records if any(map(str.strip, cells)))
    if not rows:
        raise log.give_up("TK-R08", "empty file")
    blank = rows[-1][0] - first_row + 1 != len(rows) or len(records) != len(rows)
    return Returned("csv", (SheetText(None, rows, ragged=True, blank_between=blank),))


def decode(data: bytes, log: Log) -> str:
    """Turn bytes into text, noting an encoding other than plain UTF-8."""
    if data.startswith(b"\xef\xbb\xbf"):
        log.note("TK-R01", Place(), "byte-order mark")
        text = _decode_bytes(data[3:], log)
    elif encoding := _utf16(data):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            raise log.give_up("TK-R05", "damaged UTF-16") from None
        log.note("TK-R01", Place(), "UTF-16")
        text = text.removeprefix("\ufeff")
    else:
        text = _decode_bytes(data, log)
    if "\0" in text:
        raise log.give_up("TK-R05", "NUL bytes", line=text.count("\n", 0, text.index("\0")) + 1)
    return text


def _decode_bytes(data: bytes, log: Log) -> str:
    with contextlib.suppress(UnicodeDecodeError):
        return data.decode("utf-8")
    likely, *others = readings_of_bytes(data)
    if "\ufffd" in likely.text:
        raise log.give_up("TK-R05", "no letters", encoding=likely.name)
    if others:
        name, words = others[0].name, others[0].words
        log.ask("TK-R02", Place(), "encoding", encoding=likely.name, words=likely.words, other=name, other_words=words)
    else:
        log.note("TK-R01", Place(), encoding=likely.name, words=likely.words)
    return likely.text


def _utf16(data: bytes) -> str | None:
    """Recognise UTF-16, also without its mark: every other byte of plain text is NUL then."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    sample = data[:2000]
    if len(sample) < 8:
        return None
    for encoding, zeros in (("utf-16-le", sample[1::2]), ("utf-16-be", sample[0::2])):
        if zeros.count(0) > 0.9 * len(zeros) and sample.count(0) < 0.6 * len(sample):
            return encoding
    return None


def _note_line_ends(text: str, log: Log) -> None:
    windows = text.count("\r\n")
    kinds = [windows, text.count("\n") - windows, text.count("\r") - windows]
    if sum(count > 0 for count in kinds) > 1:
        log.note("TK-R12", Place(), "line ends")


def _delimiter(text: str, log: Log) -> tuple[str, str, int]:
    """Find the mark between columns: the one by which a line becomes headings; and where the first row is."""
    first, _, rest = text.partition("\n")
    if match := SEPARATOR_LINE.fullmatch(first.strip("\r")):
        mark = match.group(1)
        log.note("TK-R03", Place(row=1), "first line", mark=mark)
        return rest, mark, 2
    lines = text[:CHARACTERS_LOOKED_AT].splitlines()[:LINES_LOOKED_AT]
    scores = _scores(lines)
    if max(scores.values()) < FEWEST_HEADINGS:
        scores = _scores(lines, anywhere=True)
    delimiter = max(scores, key=lambda mark: scores[mark])
    if delimiter != ",":
        log.note("TK-R03", Place(), marks=DELIMITERS[delimiter])
    return text, delimiter, 1


def _scores(lines: Sequence[str], *, anywhere: bool = False) -> dict[str, int]:
    """Count for each mark how many headings, English or of any language, it parts a line into at most."""
    return {mark: max((_headings(line, mark, anywhere) for line in lines), default=0) for mark in DELIMITERS}


def _headings(line: str, delimiter: str, anywhere: bool) -> int:
    cells = tuple(line[:5000].replace('"', "").split(delimiter))
    return best_table(cells, anywhere=anywhere)[1] if delimiter in line else 0


def _records(text: str, delimiter: str, first_row: int, log: Log) -> list[tuple[int, tuple[str, ...]]]:
    records: list[tuple[int, tuple[str, ...]]] = []
    source = CsvRecords(text, delimiter, RETURNED)
    line = 0
    try:
        for row, record in enumerate(source, start=first_row):
            RETURNED.hold("columns", len(record), counted=True)
            records.append((row, tuple(record)))
            line = source.line
    except csv.Error as error:
        if "unexpected end" in str(error) or "limit" in str(error):
            opened = _line_of_open_quote(text, line, delimiter) + first_row - 1
            raise log.give_up("TK-R09", line=opened) from None
        raise log.give_up("TK-R09", "text after", line=source.line + first_row - 1) from None
    return records


def _line_of_open_quote(text: str, lines_before: int, delimiter: str) -> int:
    """Find the line in which the cell begins that is never closed; lines count from 1."""
    mark = re.escape(delimiter)
    cell = re.compile(rf'(?:"(?:[^"]|"")*+"|[^"{mark}\r\n][^{mark}\r\n]*+)?(?:{mark}|\r\n|\r|\n)')
    lines = re.compile(r"\r\n|\r|\n")
    at = next(islice(lines.finditer(text), lines_before - 1, None)).end() if lines_before else 0
    began = at
    while found := cell.match(text, at):
        at = found.end()
    return lines_before + 1 + len(lines.findall(text, began, at))
