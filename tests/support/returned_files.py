"""A small trial of the invented county and the files that its garden Fernsedge would return undamaged."""

from __future__ import annotations

import csv
import io
import json
import re
import zlib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
from openpyxl import Workbook

from good_trial import GOOD_PRODUCTS, GOOD_PROTOCOL
from trialkit.domain.table_names import TableName
from trialkit.protocol.randomise import randomise
from trialkit.protocol.trial_protocol import parse_protocol
from trialkit.rules.form_marks import FormMarks
from trialkit.tables.atomic import csv_text
from trialkit.tables.table_schema import load_schema

SITES = """\
site,name,kind,water_source,alkalinity_mg_l_caco3,water_ph,sun_hours,note
FERN,Fernsedge School,school,mains,35,7.1,6,
MILL,Old Mill Library,library,mains,180,7.8,7.5,
"""
SITE = "FERN"
ODD_LABELS = ("B02", "007", "1E5", "MAR1")
"""Labels that somebody made up, without check character, as spreadsheet programs like to change them."""
NUMBERS = {"weight_g", "volume_l", "nutrient_tsp", "acid_tsp", "ph_before", "ph_after", "ec_ms_cm", "head"}

Row = dict[str, str]


@cache
def _layout(odd: bool) -> pd.DataFrame:
    layout = randomise(parse_protocol(GOOD_PROTOCOL), pd.DataFrame({"site": ["FERN", "MILL"]}))
    if odd:
        layout.loc[layout.index[: len(ODD_LABELS)], "bucket"] = ODD_LABELS
    return layout


@dataclass(frozen=True)
class Good:
    """The records of one garden, and how to write them as the files that come back.

    Attributes
    ----------
    odd : bool
        Whether some labels are of those that spreadsheet programs change.
    tables : mapping of table name to rows
    """

    odd: bool = False
    tables: Mapping[TableName, list[Row]] = field(default_factory=dict)

    @property
    def buckets(self) -> list[str]:
        """Labels of the garden's buckets."""
        layout = _layout(self.odd)
        return list(layout.loc[layout["site"] == SITE, "bucket"])

    def changed(self, table: TableName, change: Callable[[int, Row], Row]) -> Good:
        """Return a copy with each row of a table changed; the function gets the position and the row."""
        rows = [change(i, dict(row)) for i, row in enumerate(self.tables[table])]
        return replace(self, tables={**self.tables, table: rows})

    def with_cell(self, table: TableName, row: int, column: str, text: str) -> Good:
        """Return a copy with one cell changed."""
        return self.changed(table, lambda i, cells: {**cells, column: text} if i == row else cells)

    def with_column(self, table: TableName, column: str, change: Callable[[str], str]) -> Good:
        """Return a copy with every cell of a column changed that is not empty."""
        return self.changed(table, lambda _, row: {**row, column: change(row[column])} if row.get(column) else row)

    def csv(self, table: TableName = "heads", *, delimiter: str = ",", line_end: str = "\n") -> str:
        """Write a table as CSV text."""
        stream = io.StringIO()
        columns = [field.name for field in load_schema(table).on_forms]
        writer = csv.DictWriter(stream, columns, delimiter=delimiter, lineterminator=line_end)
        writer.writeheader()
        writer.writerows(self.tables[table])
        return stream.getvalue()

    def workbook(self, change: Callable[[Workbook], None] | None = None) -> bytes:
        """Write all tables as a record workbook, changed by a function."""
        book = Workbook()
        book.active.title = "Read me first"
        book.active["A1"] = "Fill in the white cells."
        book.active.merge_cells("A1:D1")
        for name, rows in self.tables.items():
            sheet = book.create_sheet(name)
            sheet.append(list(load_schema(name).columns))
            for row in rows:
                sheet.append([typed(column, row.get(column, "")) for column in load_schema(name).columns])
        marks = book.create_sheet("trialkit")
        marks.sheet_state = "veryHidden"
        for entry in {"format": "trialkit-workbook-1", **vars(self.marks()), "site": SITE}.items():
            marks.append(entry)
        book.create_sheet("lists").sheet_state = "hidden"
        book["lists"]["A1"] = "harvested"
        if change:
            change(book)
        stream = io.BytesIO()
        book.save(stream)
        return stream.getvalue()

    def phone(self, **other: Any) -> bytes:
        """Write all tables as a phone form saves them; `other` replaces entries after the check sum was made."""
        tables = {
            name: [{column: text for column, text in row.items() if text} for row in rows]
            for name, rows in self.tables.items()
        }
        compact = json.dumps(tables, ensure_ascii=False, separators=(",", ":")).encode()
        document = {
            "format": "trialkit-phone-1",
            **vars(self.marks()),
            "site": SITE,
            "by": "A.B.",
            "saved_at": "2026-10-01T14:03:00Z",
            "tables": tables,
            "check": f"{zlib.crc32(compact):08x}",
            **other,
        }
        return json.dumps(document, ensure_ascii=False).encode()

    def marks(self) -> FormMarks:
        """Return the marks of the trial's forms, worked out from their description, not by the program's function."""
        from hashlib import sha256

        layout = _layout(self.odd)
        columns = ["bucket", "site", "cultivar", "dose_tsp"]
        rows = sorted(["\x1f".join(map(str, row)) for row in layout[columns].itertuples(index=False)])
        text = "".join(f"{line}\n" for line in ["\x1f".join(columns), *rows])
        return FormMarks("autumn-dose", sha256(text.encode()).hexdigest()[:12], "1")

    def write_trial(self, folder: Path) -> Path:
        """Write the trial folder, without any record."""
        folder.mkdir(parents=True)
        files = {"trial.toml": GOOD_PROTOCOL, "sites.csv": SITES, "products.csv": GOOD_PRODUCTS}
        files["layout.csv"] = csv_text(_layout(self.odd))
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
        return folder


def typed(column: str, text: str) -> Any:
    """Turn a text into what a workbook's cell would hold: a number, a day, a text or nothing."""
    if not text:
        return None
    if column in NUMBERS and text.isascii() and text.replace(".", "", 1).isdecimal():
        return float(text) if "." in text else int(text)
    if column.endswith("_on") and re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII):
        with suppress(ValueError):
            return datetime.fromisoformat(text)
    return text


@cache
def good_return(*, odd: bool = False) -> Good:
    """Return Fernsedge's records: days after the 12th in the heads, days before it in the solution."""
    layout = _layout(odd)
    buckets = list(layout.loc[layout["site"] == SITE, "bucket"])
    heads: list[Row] = []
    for place, bucket in enumerate(buckets):
        for head in (1, 2):
            number = 2 * place + head
            row = {"bucket": bucket, "head": str(head), "transplanted_on": "2026-08-24", "outcome": "harvested"}
            row |= {"harvested_on": f"2026-09-{22 + place % 7}", "last_not_ready_on": "2026-09-19"}
            row |= {"weight_g": f"{140 + 3 * number}.{1 + number % 9}", "marketable": "yes" if number % 4 else "no"}
            heads.append(row | {"note": "flétri près du bord" if number == 3 else ""})
    heads[7] = heads[7] | {"outcome": "dead", "harvested_on": "", "weight_g": "", "marketable": "", "note": "slugs"}
    solution = [
        {"bucket": bucket, "measured_on": "2026-09-03", "volume_l": "20", "nutrient_tsp": "4", "acid_tsp": "0.25",
         "ph_before": "7.4", "ph_after": "6.1", "ec_ms_cm": "1.2"}
        for bucket in buckets
    ]  # fmt: skip
    visits = [{"site": SITE, "visited_on": day, "observer_role": "volunteer", "note": ""} for day in
              ("2026-08-24", "2026-09-19")]  # fmt: skip
    return Good(odd, {"heads": heads, "solution": solution, "visits": visits})


def other_values(good: Good) -> Good:
    """Return records that differ in one weight, and say more in one note."""
    changed = good.with_cell("heads", 0, "weight_g", "150")
    return changed.with_cell("heads", 5, "note", "bolting soon")
