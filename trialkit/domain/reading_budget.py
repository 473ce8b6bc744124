"""How much of what comes from outside is read at most: sizes and counts, one budget for each kind of thing read.

Whoever reads holds what it meets to its budget as it goes, so that nobody waits, or fills the memory, for more than any
record needs. Limits count what reading costs, not seconds: the same bytes are refused on every computer.
"""

from dataclasses import dataclass, replace
from typing import Literal

Measure = Literal[
    "file_bytes",
    "line_characters",
    "cell_characters",
    "characters",
    "rows",
    "columns",
    "cells",
    "depth",
    "items",
    "findings",
    "archive_files",
    "unpacked_bytes",
    "markup",
    "markup_characters",
    "merged_ranges",
    "formula_characters",
]


class OverBudget(Exception):
    """More is there than is read.

    Attributes
    ----------
    measure : str
        Which limit of the budget it passes.
    most : int
        How much is read.
    found : int, optional
        How much is there, if it was counted to the end.
    """

    def __init__(self, measure: Measure, most: int, found: int | None = None) -> None:
        super().__init__(f"{measure}: {found or 'more'} of {most}")
        self.measure, self.most, self.found = measure, most, found


@dataclass(frozen=True)
class ReadingBudget:
    """How much is read of one thing that came from outside.

    Attributes
    ----------
    file_bytes, unpacked_bytes : int
        Of the file, and of what an archive unpacks to.
    line_characters, cell_characters, characters : int
        In one line, in one cell, in all cells; a text shared by cells counts in each.
    rows, columns, cells : int
        Blank ones too, and all cells of a merged range.
    depth, items : int
        Of JSON, TOML and XML: how deep values nest, and how many keys and values of lists there are.
    findings : int
        What is refused, asked about or wrong in one file or table: looking for what was meant costs most.
    archive_files, markup, markup_characters, merged_ranges, formula_characters : int
        Of a workbook: its parts, its elements beside cells and their texts, the length of these, of formulas as
        repeated in each cell.
    """

    file_bytes: int
    unpacked_bytes: int = 60_000_000
    line_characters: int = 500_000
    cell_characters: int = 32_767  # as many as a cell of a workbook holds (the programs' documentation, from memory)
    characters: int = 20_000_000
    rows: int = 20_000
    columns: int = 200
    cells: int = 200_000
    depth: int = 50
    items: int = 1_000_000
    findings: int = 2_000
    archive_files: int = 2_000
    markup: int = 20_000
    markup_characters: int = 2_000_000
    merged_ranges: int = 1_000
    formula_characters: int = 500_000

    def hold(self, measure: Measure, found: int, *, counted: bool = False) -> None:
        """Raise `OverBudget` if more was found than is read; `counted` tells that there is no more than that."""
        most: int = getattr(self, measure)
        if found > most:
            raise OverBudget(measure, most, found if counted else None)


RETURNED = ReadingBudget(file_bytes=10_000_000, characters=10_000_000)
"""A file that somebody sends back: far more than one garden has."""
WORKBOOK = replace(RETURNED, cells=100_000)
"""A workbook that somebody sends back: each of its cells is dearer."""
TABLE = ReadingBudget(file_bytes=20_000_000, rows=150_000, cells=2_000_000, findings=20_000)
"""Records in a trial folder, which holds every garden's."""
PLAN_TABLE = replace(TABLE, rows=40_000, cells=800_000)
"""Gardens, products, buckets and what else there is less of than of records."""
PROTOCOL = ReadingBudget(file_bytes=64_000, items=500, depth=10)
"""A protocol, or a file of answers."""
DOCUMENT = ReadingBudget(file_bytes=50_000_000)
"""What trialkit wrote itself beside the tables, and may have been changed since."""
RESULTS = replace(DOCUMENT, file_bytes=6_000_000)
"""Results of a trial: the largest that layouts allow have a third of it."""
LEDGER_DOCUMENT = replace(DOCUMENT, file_bytes=5_000_000)
"""What an entry of a ledger says of itself, or a version of the defaults."""
LEDGER_INDEX = ReadingBudget(file_bytes=20_000_000)
"""All that ever happened to a ledger, a line each."""
