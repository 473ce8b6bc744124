"""The parts of a workbook, counted as they stream past, before any of it is taken into memory."""

import re
import zipfile
from collections import Counter
from collections.abc import Mapping
from xml.parsers import expat

from trialkit.domain.reading_budget import WORKBOOK, Measure

CHUNK_BYTES = 65_536
OF_CELLS = frozenset(("row", "c", "v", "f", "is", "t", "si"))
"""Elements of cells and their texts."""
ELEMENTS_A_CELL = 5
LONG_ATTRIBUTES = 200
AREA = re.compile(r"\$?([A-Z]{1,3})\$?(\d{1,7}):\$?([A-Z]{1,3})\$?(\d{1,7})", re.IGNORECASE | re.ASCII)


class HasEntities(Exception):
    """A part has a document type, which no spreadsheet program writes."""


class WorkbookParts:
    """What the parts of a workbook come to, held to the budget of a returned file.

    Raises
    ------
    OverBudget
        If it is more than is read.
    HasEntities
        If a part could define entities.
    """

    def __init__(self, archive: zipfile.ZipFile) -> None:
        WORKBOOK.hold("archive_files", len(archive.infolist()), counted=True)
        self.has_formulas = False
        self.shared_lengths: list[int] = []
        self.shared_uses: Counter[int] = Counter()
        self._counts: Counter[Measure] = Counter()
        for entry in archive.infolist():
            self._read(archive, entry)
        lengths = self.shared_lengths
        self.add("characters", sum(n * lengths[text] for text, n in self.shared_uses.items() if text < len(lengths)))

    def add(self, measure: Measure, count: int = 1) -> None:
        """Count something that was met."""
        self._counts[measure] += count
        WORKBOOK.hold(measure, self._counts[measure])

    def _read(self, archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> None:
        """Count what a part holds, as far as it is XML: where it is not, the reader of workbooks stops too."""
        part, is_xml = _Part(self), True
        with archive.open(entry) as stream:
            while chunk := stream.read(CHUNK_BYTES):
                self.add("unpacked_bytes", len(chunk))
                try:
                    if is_xml:
                        part.feed(chunk)
                except expat.ExpatError:
                    is_xml = False


class _Part:
    """One part being read."""

    def __init__(self, whole: WorkbookParts) -> None:
        self._whole = whole
        self._parser = expat.ParserCreate(namespace_separator=" ")
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end
        self._parser.CharacterDataHandler = self._text
        self._parser.StartDoctypeDeclHandler = self._has_entities
        self._parser.buffer_text = True
        self._depth = self._elements = 0
        self._inside, self._type, self._index = "", "", ""
        self._characters = self._formula = 0
        self._shared_formula: str | None = None
        self._formulas: dict[str, int] = {}

    def feed(self, chunk: bytes) -> None:
        """Take in the next bytes."""
        self._parser.Parse(chunk)

    def _start(self, name: str, attributes: Mapping[str, str]) -> None:
        whole, self._inside = self._whole, name.rpartition(" ")[2]
        self._depth += 1
        WORKBOOK.hold("depth", self._depth)
        length = sum(map(len, attributes.values()))
        if self._inside not in OF_CELLS:
            whole.add("markup")
            whole.add("markup_characters", length)
            if self._inside == "mergeCell":
                whole.add("merged_ranges")
                whole.add("cells", _cells_of(attributes.get("ref", "")))
            return
        self._elements += 1
        WORKBOOK.hold("cells", self._elements // ELEMENTS_A_CELL)
        if length > LONG_ATTRIBUTES:
            whole.add("markup_characters", length)
        if self._inside == "row":
            whole.add("rows")
        elif self._inside == "c":
            whole.add("cells")
            self._type, self._index, self._characters = attributes.get("t", ""), "", 0
        elif self._inside == "si":
            self._characters = 0
        elif self._inside == "f":
            whole.has_formulas = True
            self._formula, self._shared_formula = 0, attributes.get("si")

    def _text(self, text: str) -> None:
        self._characters += len(text)
        WORKBOOK.hold("cell_characters", self._characters)
        if self._inside not in OF_CELLS:
            self._whole.add("markup_characters", len(text))
            self._characters = 0
        elif self._inside == "f":
            self._formula += len(text)
        elif self._inside == "v" and self._type == "s":
            self._index += text
        else:
            self._whole.add("characters", len(text))

    def _end(self, name: str) -> None:
        self._depth -= 1
        ended, self._inside = name.rpartition(" ")[2], ""
        if ended == "c" and self._type == "s" and self._index.strip().isdecimal():
            self._whole.shared_uses[int(self._index)] += 1
        elif ended == "si":
            self._whole.shared_lengths.append(self._characters)
        elif ended == "f":
            if self._shared_formula is not None:  # written once, and repeated in each of its cells
                self._formula = self._formulas.setdefault(self._shared_formula, self._formula)
            self._whole.add("formula_characters", self._formula)

    def _has_entities(self, *_: object) -> None:
        raise HasEntities


def _cells_of(area: str) -> int:
    """Count the cells of a range such as A1:B2; more than there can be where its columns are."""
    if not (match := AREA.fullmatch(area)):
        return 0
    first, last = (_column(match[group]) for group in (1, 3))
    return (abs(last - first) + 1) * (abs(int(match[4]) - int(match[2])) + 1)


def _column(letters: str) -> int:
    number = 0
    for letter in letters.upper():
        number = 26 * number + ord(letter) - ord("A") + 1
    return number
