"""The records of a CSV text, held to a budget while they are read."""

import csv
import io
from collections.abc import Iterator

from trialkit.domain.reading_budget import ReadingBudget


class CsvRecords:
    """The records of a text, one after the other, blank ones too; `line` is the line that was read last, from 1.

    Raises
    ------
    OverBudget
        If a line, a cell, or all of it is more than is read.
    csv.Error
        If a quotation mark is never closed, or text follows a closed one.
    """

    def __init__(self, text: str, delimiter: str, budget: ReadingBudget) -> None:
        self._budget = budget
        self._reader = csv.reader(self._lines(text), delimiter=delimiter, strict=True)

    @property
    def line(self) -> int:
        """Lines read so far."""
        return self._reader.line_num

    def __iter__(self) -> Iterator[list[str]]:
        """Read the records."""
        cells = 0
        for row, record in enumerate(self._reader, start=1):
            cells += len(record)
            self._budget.hold("rows", row)
            self._budget.hold("cells", cells)
            if record:
                self._budget.hold("cell_characters", len(max(record, key=len)), counted=True)
            yield record

    def _lines(self, text: str) -> Iterator[str]:
        for line in io.StringIO(text, newline=""):
            self._budget.hold("line_characters", len(line), counted=True)
            yield line
