"""Valid files changed at random, put through merging and checking, and what comes out compared with the truth.

What a return says is read a second time here, by the standard library and openpyxl alone: a value of the record that
differs from the truth must stand in the file beside its key, or a note, question or conflict must name its column.
"""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import tempfile
import unicodedata
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from functools import cache
from pathlib import Path
from random import Random
from typing import Any, Literal

import pandas as pd
from openpyxl import load_workbook

from returned_files import Good, Row, good_return
from trialkit.documents.document import as_text
from trialkit.documents.returns import FileOutcome
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.table_names import RECORD_TABLES, TableName
from trialkit.returns.merge_files import merge_files
from trialkit.rules.trial_folder import check_trial
from trialkit.tables.table_schema import load_schema
from trialkit.words.problem_words import told_problem
from trialkit.words.repair_words import told_merge

FILES = ("trial.toml", "sites.csv", "products.csv", "layout.csv", "heads.csv", "solution.csv", "visits.csv")
OF_HEADINGS = {"TK-R19", "TK-R21", "TK-R22", "TK-R02", "TK-R01", "TK-R12"}
"""Notes on a whole column or the whole file, which explain any of its values."""
TELLING = [
    b'"', b",", b";", b"\t", b"\n", b"\r", b"\0", b"\xff", b"\x92", b"\xe9", b"\xc3\xa9", b"\xef\xbb\xbf",
    b"=", b"'", b"-", b".", b"1", b"0", b"e9", b"nan", b"[", b"{", b"\\ud800", b"\xe2\x80\x8b", b"\xc2\xa0",
]  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A changed file: what is done with it, its name and bytes, and whether it still says the same as before."""

    command: Literal["merge", "check"]
    name: str
    data: bytes
    same: bool = False


@cache
def _trial() -> Path:
    """A trial folder without records, and one with them beside it, made once."""
    place = Path(tempfile.mkdtemp(prefix="fuzzing"))
    good = good_return()
    good.write_trial(place / "merge")
    good.write_trial(place / "check")
    for name in RECORD_TABLES:
        (place / "check" / f"{name}.csv").write_text(good.csv(name), encoding="utf-8")
    return place


def complaint(case: Case) -> str:
    """Put a changed file through its command; return what is wrong with that, or nothing."""
    with tempfile.TemporaryDirectory() as place, warnings.catch_warnings():
        warnings.simplefilter("error")
        folder = Path(shutil.copytree(_trial() / case.command, Path(place) / "trial"))
        try:
            return _checked(folder, case) if case.command == "check" else _merged(folder, case)
        except (NotComputed, WrongCall):
            return ""
        except Exception as error:
            return f"{type(error).__name__}: {str(error)[:200]}"


# Merging


def _merged(folder: Path, case: Case) -> str:
    path = folder.parent / case.name
    path.write_bytes(case.data)
    outcome = merge_files(folder, [path])
    as_text(told_merge(outcome)).encode("utf-8")
    (file,) = outcome.files
    if not file.merged:
        return "" if file.findings else "not merged, and nobody knows why"
    written = _written(case)
    for table in RECORD_TABLES:
        found, truth = _by_key(table, _rows(folder / f"{table}.csv")), _by_key(table, good_return().tables[table])
        if case.same and found and found != truth:
            return f"{table} says something else: {_first_difference(found, truth)}"
        for key, row in found.items():
            said = truth.get(key, {})
            for column in {*row, *said}:
                value, true = row.get(column, ""), said.get(column, "")
                if value != true and not _explained(column, key, value or true, bool(value), written, file):
                    return f"{table} {key} {column}: {true!r} became {value!r} in silence"
        for key in truth.keys() - found.keys() if found else ():
            if any(_holds(one, key) and len(one) > len(key) for one in written) and not file.findings:
                return f"{table} {key} was left out in silence"
    return ""


def _explained(
    column: str, key: tuple[str, ...], value: str, is_there: bool, written: list[set[str]], file: FileOutcome
) -> bool:
    """Tell whether a value that differs stands in the file so, or a true one does not, or a finding is about it."""
    stands = any(_canonical(value) in row and _holds(row, key) for row in written)
    told = any(
        one.column == column or one.rule in OF_HEADINGS or one.column in ("bucket", "site") for one in file.findings
    )
    return told or stands == is_there


def _holds(row: set[str], key: tuple[str, ...]) -> bool:
    return all(_canonical(part) in row for part in key)


def _canonical(text: object) -> str:
    """Write a value in one way: numbers and days plainly, accents composed."""
    if isinstance(text, datetime | date):
        return str(text)[:10]
    plain = unicodedata.normalize("NFC", str(text).strip())
    with suppress(InvalidOperation, ValueError):
        if plain.isascii() and "_" not in plain and Decimal(plain).is_finite() and abs(Decimal(plain).adjusted()) < 20:
            return f"{Decimal(plain).normalize():f}"
    return plain


def _written(case: Case) -> list[set[str]]:
    """Read the rows of a returned file, as whatever they may be."""
    if case.data.startswith(b"PK"):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(case.data), data_only=True)
        rows = [row for sheet in book.worksheets for row in sheet.iter_rows(values_only=True, max_row=200, max_col=60)]
        return [{_canonical(cell) for cell in row if cell is not None} for row in rows]
    texts = []
    for encoding in ("utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "mac_roman"):
        with suppress(UnicodeDecodeError):
            texts.append(case.data.decode(encoding))
    if case.name.endswith(".json"):
        tables = json.loads(texts[0])["tables"]
        return [{*map(_canonical, row.values())} for rows in tables.values() for row in rows]
    return [
        {*map(_canonical, row)}
        for text in texts
        for delimiter in ",;\t|"
        for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    ]


def _rows(path: Path) -> list[Row]:
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as stream:
        return [{name: _as_meant(text) for name, text in row.items() if text} for row in csv.DictReader(stream)]


def _as_meant(text: str) -> str:
    """Take off the quote that stops a spreadsheet program from running a text."""
    return re.sub(r"(\A|\n)'(?='*\s*[=+\-@])", r"\1", text)


def _by_key(table: TableName, rows: list[Row]) -> dict[tuple[str, ...], Row]:
    schema = load_schema(table)
    return {schema.key_of(row): {name: text for name, text in row.items() if text} for row in rows}


def _first_difference(found: Mapping[Any, Row], truth: Mapping[Any, Row]) -> str:
    for key in sorted({*found, *truth}):
        if found.get(key) != truth.get(key):
            return f"{key}: {found.get(key)} for {truth.get(key)}"
    return ""


# Checking


def _checked(folder: Path, case: Case) -> str:
    (folder / case.name).write_bytes(case.data)
    result = check_trial(folder)
    for problem in result.problems:
        as_text(told_problem(problem)).encode("utf-8")
    if result.trial is None:
        return "" if result.errors else "no trial, and nobody knows why"
    if case.name == "trial.toml" or any(problem.file == case.name for problem in result.problems):
        return ""
    schema = load_schema(Path(case.name).stem)  # type: ignore[arg-type]
    text = case.data.decode("utf-8-sig")
    rows = [
        row for row in csv.DictReader(io.StringIO(text, newline="")) if any(filter(None, map(str.strip, row.values())))
    ]
    frame: pd.DataFrame = getattr(result.trial, schema.name)
    if len(rows) != len(frame):
        return f"{len(rows)} rows became {len(frame)}"
    for (_, read), row in zip(frame.iterrows(), rows, strict=True):
        for heading, cell in row.items():
            name, plain = heading.strip(), cell.strip()
            value = read[name]
            spelt = (*schema.field(name).true_values, *schema.field(name).false_values)
            is_word = isinstance(value, bool) and plain in spelt
            if not is_word and _typed_text(value) != _canonical(_as_meant(plain)):
                return f"{name}: {plain!r} was read as {value!r}"
    return ""


def _typed_text(value: Any) -> str:
    if value is None or value is pd.NA or value is pd.NaT or value != value:
        return ""
    return _canonical(value)


# Changes


def cases(random: Random) -> Case:
    """Make one changed file."""
    kind = random.choice(["csv cells", "csv cells", "workbook cells", "phone cells", "csv bytes", "workbook bytes",
                          "phone bytes", "csv form", "check bytes", "check bytes", "check cells"])  # fmt: skip
    return KINDS[kind](random)


def _changed_cells(random: Random) -> tuple[Good, bool]:
    """Change some cells of the records; tell whether they still say the same."""
    good, same = good_return(), True
    for _ in range(random.choice((1, 1, 1, 2, 5))):
        table: TableName = random.choice(RECORD_TABLES)
        place = random.randrange(len(good.tables[table]))
        field = random.choice(load_schema(table).on_forms)
        text = good.tables[table][place].get(field.name, "")
        alike = WAYS.get(field.type, [])
        if text and alike and random.random() < 0.7:
            changed = random.choice(alike)(text, random)
        else:
            changed, same = _scribbled(text, random), False
        good = good.with_cell(table, place, field.name, changed)
    return good, same


def _of_date(pattern: str) -> Callable[[str, Random], str]:
    def written(text: str, _: Random) -> str:
        try:
            return date.fromisoformat(text).strftime(pattern)
        except ValueError:  # it was written in another way already
            return text

    return written


def _figures(zero: str) -> Callable[[str, Random], str]:
    return lambda text, _: text.translate({ord("0") + i: chr(ord(zero) + i) for i in range(10)})


def _inserted(what: str) -> Callable[[str, Random], str]:
    def insert(text: str, random: Random) -> str:
        at = random.randrange(len(text) + 1)
        return text[:at] + what + text[at:]

    return insert


AROUND: list[Callable[[str, Random], str]] = [
    lambda text, _: f" {text}\u00a0",
    lambda text, _: f"“{text}”",
    lambda text, _: f"{text}\u200b",
    lambda text, _: f"\u202a{text}\u202c",
    lambda text, _: f"\ufeff{text}",
    _inserted("\u00ad"),
]
DATES = (
    "%d %B %Y", "%A %d %B %Y", "%b %d, %Y", "%d-%b-%y", "%Y/%m/%d", "%Y%m%d", "%Y-%j", "%G-W%V-%u", "%d/%m/%Y",
    "%m/%d/%Y", "%d.%m.%y", "%Y-%m-%d 00:00:00", "%Y-%m-%dT12:30:00", "%d %b %Y", "%y-%m-%d", "%Y.%m.%d",
    "%Y-%m-%dT00:00:00Z", "%a %d %b %Y", "%j/%Y",
)  # fmt: skip
FIGURES = [_figures("０"), _figures("٠")]
WAYS: dict[str, list[Callable[[str, Random], str]]] = {
    "date": [
        *AROUND,
        *FIGURES,
        *map(_of_date, DATES),
        lambda text, _: str((date.fromisoformat(text) - date(1899, 12, 30)).days),
    ],
    "number": [
        *AROUND,
        *FIGURES,
        lambda text, _: text.replace(".", ","),
        lambda text, _: text + ("0" if "." in text else ""),
        lambda text, _: f"+{text}",
        lambda text, _: f"0{text}",
        lambda text, _: f"{float(text):e}",
        lambda text, _: text.replace(".", "٫"),
        lambda text, _: text.replace(".", "．"),
    ],
    "integer": [*AROUND, *FIGURES, lambda text, _: f"{text}.0", lambda text, _: f"0{text}"],
    "boolean": [*AROUND, lambda text, _: text.upper(), lambda text, _: text[0]],
    "string": [lambda text, _: unicodedata.normalize("NFD", text), lambda text, _: f" {text} "],
}
"""Ways to write a value that say the same, by the type of its column."""
SCRIBBLES = (
    "", "-", "?", "n/a", "none", "152,4", "1,152", "1.152", "1 152", "5.4 oz", "152 g", "20 gal", "~150",
    "=1+1", "46254", "03/04/26", "31/02/2026", "nan", "inf", "1e999", "2026-101", "2026-W35", "24:00",
    "Mon 25 August 2026", "Fern", "fern", "Fernsedge School", "TRUE", "0", "-1", "½", "dead", "Dead.",
    "harvestd", "cut", "yes", "x" * 300, "2026-08-24", "2026-09-25", "flÃ©tri", "fl√©tri", "a\nb", "total",
    "Mean",
)  # fmt: skip


def _scribbled(text: str, random: Random) -> str:
    choice = random.random()
    if choice < 0.5:
        return random.choice(SCRIBBLES)
    at = random.randrange(len(text) + 1)
    other = random.choice("0123456789.,-/ abcXYZ'\"=;\u00e9\u2019\u0301\u200d")
    return text[:at] + other + text[at + (choice < 0.75) :]


def _csv_cells(random: Random) -> Case:
    good, same = _changed_cells(random)
    table = random.choice(RECORD_TABLES)
    return Case("merge", "a.csv", good.csv(table).encode("utf-8", "replace"), same)


def _workbook_cells(random: Random) -> Case:
    good, same = _changed_cells(random)
    return Case("merge", "a.xlsx", good.workbook(), same)


def _phone_cells(random: Random) -> Case:
    good, same = _changed_cells(random)
    return Case("merge", "a.json", good.phone(), same)


def _csv_form(random: Random) -> Case:
    """Save the records as other programs do; they say the same."""
    good, table = good_return(), random.choice(RECORD_TABLES)
    text = good.csv(table, delimiter=random.choice(",;\t|"), line_end=random.choice(("\n", "\r\n", "\r", "\n\n")))
    encoding = random.choice(
        ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "mac_roman", "latin-1")
    )
    lines = text.split("\n")
    if random.random() < 0.3 and len(lines) > 3:
        first, second = sorted(random.sample(range(1, len(lines) - 1), 2))
        lines[first], lines[second] = lines[second], lines[first]
    return Case("merge", "a.csv", "\n".join(lines).encode(encoding), True)


def _hit(data: bytes, random: Random) -> bytes:
    for _ in range(random.choice((1, 1, 2, 4))):
        at, length = random.randrange(len(data) + 1), random.choice((0, 1, 1, 2, 20))
        patch = random.choice((*TELLING, b"", random.randbytes(random.choice((1, 1, 2, 8)))))
        data = data[:at] + patch + data[at + length :]
    return data


def _csv_bytes(random: Random) -> Case:
    return Case("merge", "a.csv", _hit(good_return().csv(random.choice(RECORD_TABLES)).encode(), random))


def _phone_bytes(random: Random) -> Case:
    """Change bytes of the records and give them a check sum that fits, as a program with a fault would."""
    document = json.loads(good_return().phone())
    hit = _hit(json.dumps(document["tables"], ensure_ascii=False, separators=(",", ":")).encode(), random)
    with suppress(ValueError, RecursionError):
        compact = json.dumps(json.loads(hit), ensure_ascii=False, separators=(",", ":")).encode(
            "utf-8", "surrogatepass"
        )
        document["check"] = f"{zlib.crc32(compact):08x}"
    rest = json.dumps({name: value for name, value in document.items() if name != "tables"}).encode()
    return Case("merge", "a.json", rest[:-1] + b', "tables": ' + hit + b"}")


def _workbook_bytes(random: Random) -> Case:
    """Change bytes of a part and pack it again, so that its sum fits; or of the archive itself."""
    data = good_return().workbook()
    if random.random() < 0.3:
        return Case("merge", "a.xlsx", b"PK" + _hit(data, random)[2:])
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = random.choice([name for name in parts if "sheet" in name or "Strings" in name or random.random() < 0.2])
    parts[name] = _hit(parts[name], random)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for part, content in parts.items():
            archive.writestr(part, content)
    return Case("merge", "a.xlsx", stream.getvalue())


def _check_bytes(random: Random) -> Case:
    name = random.choice(FILES)
    return Case("check", name, _hit((_trial() / "check" / name).read_bytes(), random))


def _check_cells(random: Random) -> Case:
    name = random.choice([name for name in FILES if name.endswith(".csv")])
    rows = list(csv.reader((_trial() / "check" / name).read_text(encoding="utf-8").splitlines()))
    row, column = random.randrange(1, len(rows)), random.randrange(len(rows[0]))
    rows[row][column] = _scribbled(rows[row][column], random)
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\n").writerows(rows)
    return Case("check", name, stream.getvalue().encode("utf-8", "replace"))


KINDS: dict[str, Callable[[Random], Case]] = {
    "csv cells": _csv_cells,
    "workbook cells": _workbook_cells,
    "phone cells": _phone_cells,
    "csv form": _csv_form,
    "csv bytes": _csv_bytes,
    "phone bytes": _phone_bytes,
    "workbook bytes": _workbook_bytes,
    "check bytes": _check_bytes,
    "check cells": _check_cells,
}


# Findings, kept as small files


def kept(folder: Path) -> Iterator[tuple[str, Case]]:
    """Read what was found before: COMMAND-SAME-NUMBER-NAME, such as ``merge-same-01-a.csv``."""
    for path in sorted(folder.iterdir()):
        command, same, _, name = path.name.split("-", 3)
        yield path.name, Case(command, name, path.read_bytes(), same == "same")  # type: ignore[arg-type]


def keep(folder: Path, case: Case) -> Path:
    """Write a finding, to be looked at and replayed."""
    folder.mkdir(parents=True, exist_ok=True)
    same = "same" if case.same else "other"
    number = sum(1 for _ in folder.iterdir()) + 1
    path = folder / f"{case.command}-{same}-{number:02d}-{case.name}"
    path.write_bytes(case.data)
    return path
