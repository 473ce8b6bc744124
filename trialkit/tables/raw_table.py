"""A CSV file as text cells with their spreadsheet rows, before anything is interpreted."""

import csv
import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from typing import Annotated

from trialkit.documents.problems import Problem
from trialkit.domain.reading_budget import PLAN_TABLE, OverBudget, ReadingBudget
from trialkit.languages import translatable
from trialkit.tables.csv_records import CsvRecords
from trialkit.tables.problem import problem, too_large

COMMAS = "commas"
OTHER_MARKS = {";": translatable("semicolons"), "\t": translatable("tabs")}


@dataclass(frozen=True)
class RawTable:
    """Text cells by column, and what is wrong with the file's shape."""

    cells: Annotated[
        dict[str, list[str]], "One list per heading, stripped of blanks around each cell; all of one length."
    ]
    rows: Annotated[list[int], "Spreadsheet row of each record; the header is row 1."]
    complete: Annotated[bool, "False when records had to be left out because they do not fit the header."]
    problems: Annotated[tuple[Problem, ...], "Problems of the file as a whole, its header and its row lengths."]
    mark: Annotated[str, "What stands between columns."] = COMMAS


def parse_csv(file: str, text: str, budget: ReadingBudget = PLAN_TABLE) -> RawTable | Problem:
    """Split the text of a CSV file into cells, or say why not; blank rows are skipped, no row is ever shifted."""
    try:
        with _collector_at_rest():
            return _parse(file, text, budget)
    except OverBudget as over:
        return too_large(file, over)


@contextmanager
def _collector_at_rest() -> Iterator[None]:
    """Keep the collector of cycles from walking a hundred thousand rows again and again: rows make no cycles."""
    was_at_work = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_at_work:
            gc.enable()


def _parse(file: str, text: str, budget: ReadingBudget) -> RawTable | Problem:
    records, mark = _records(file, text, budget), COMMAS
    if not isinstance(records, Problem) and records and len(records[0][1]) == 1:
        for other in (other for other in OTHER_MARKS if other in records[0][1][0]):
            records, mark = _separated(file, text, budget, other), OTHER_MARKS[other]
            break
    if isinstance(records, Problem):
        return records
    if not records:
        return problem("TK-F08", file, "empty file")
    (header_row, heading), *body = records
    budget.hold("columns", len(heading), counted=True)
    heading, body = _without_empty_columns(heading, body)
    problems = [
        problem("TK-C03", file, row=header_row, column=name, heading=name, count=count)
        for name in dict.fromkeys(heading)
        if (count := heading.count(name)) > 1
    ]
    odd = ((row, record) for row, record in body if len(record) != len(heading))
    problems += [_wrong_length(file, row, record, heading) for row, record in islice(odd, budget.findings + 1)]
    kept = [(row, record) for row, record in body if len(record) == len(heading)]
    columns = list(zip(*(record for _, record in kept), strict=True)) or [()] * len(heading)
    cells = {name: [*map(str.strip, column)] for name, column in zip(heading, columns, strict=True)}
    return RawTable(cells, [row for row, _ in kept], len(kept) == len(body), tuple(problems), mark)


def _records(
    file: str, text: str, budget: ReadingBudget, delimiter: str = ","
) -> list[tuple[int, list[str]]] | Problem:
    """Read the records that hold anything, with the row a spreadsheet shows them in."""
    records: list[tuple[int, list[str]]] = []
    row = 0
    try:
        for row, record in enumerate(CsvRecords(text, delimiter, budget), start=1):
            if any(cell and not cell.isspace() for cell in record):
                records.append((row, record))
    except csv.Error as error:
        endless = "unexpected end" in str(error) or "limit" in str(error)
        return problem("TK-F06", file, "" if endless else "text after", row=row + 1)
    return records


def _separated(file: str, text: str, budget: ReadingBudget, delimiter: str) -> list[tuple[int, list[str]]] | Problem:
    """Read records whose header has another mark between columns, if most rows have it too."""
    records = _records(file, text, budget, delimiter)
    if isinstance(records, Problem):
        return records
    (header_row, heading), *body = records
    if 2 * sum(len(record) == len(heading) for _, record in body) < len(body):
        return problem("TK-F07", file, row=header_row, mark=OTHER_MARKS[delimiter])
    return records


def _without_empty_columns(
    heading: Sequence[str], body: list[tuple[int, list[str]]]
) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Drop the columns without heading at the right end that spreadsheets add, where a row has nothing in them."""
    names = [name.strip() for name in heading]
    while names and not names[-1]:
        names.pop()
    width = len(names)
    return names, [
        (row, record if len(record) <= width or "".join(record[width:]).strip() else record[:width])
        for row, record in body
    ]


def _wrong_length(file: str, row: int, record: Sequence[str], heading: Sequence[str]) -> Problem:
    last = record[-1] if len(record) > len(heading) else None
    return problem("TK-F09", file, row=row, count=len(record), wanted=len(heading), last=last)
