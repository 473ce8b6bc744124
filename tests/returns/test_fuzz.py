"""Whatever comes back: never a traceback, never a value from nowhere, never half a change."""

import csv
import json
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from returned_files import Good, good_return
from trialkit.documents.returns import Answers, MergeOutcome
from trialkit.returns.answering import Given
from trialkit.returns.merge_files import merge_files
from trialkit.tables.committing import COMMITTED, STAGING
from trialkit.words.repair_words import finding_sentence

TABLES = ("heads", "solution", "visits")
ALL_RULES = tuple(f"TK-R{number:02d}" for number in range(1, 60))
EVERYTHING = Given(Answers("day-first", "point", "1900", "g", ALL_RULES))
calm = settings(deadline=None, max_examples=15, suppress_health_check=list(HealthCheck))
TYPED = [
    "",
    "-",
    "?",
    "n/a",
    "152,4",
    "1,152",
    "5.4 oz",
    "~150",
    "=1+1",
    "46254",
    "03/04/26",
    "31/02/2026",
    "nan",
    "1e5",
]
CELLS = st.one_of(st.text(max_size=12), st.sampled_from(TYPED), st.floats(allow_nan=True).map(str), st.dates().map(str))


@contextmanager
def trial_folder() -> Iterator[tuple[Path, Good]]:
    """A trial folder and the good return of one of its gardens."""
    with tempfile.TemporaryDirectory() as name:
        good = good_return()
        yield good.write_trial(Path(name) / "trial"), good


def record(folder: Path) -> dict[str, str]:
    """Return every file of the record."""
    return {name: (folder / f"{name}.csv").read_text("utf-8") for name in TABLES if (folder / f"{name}.csv").exists()}


def assert_lawful(outcome: MergeOutcome, folder: Path, before: dict[str, str], data: bytes) -> None:
    """A file that was not merged changed nothing and says why; one that was is kept whole."""
    (file,) = outcome.files
    assert not (folder / STAGING).exists()
    assert not (folder / COMMITTED).exists()
    if file.merged:
        assert (folder / file.kept_as).read_bytes() == data
    else:
        assert file.findings
        assert record(folder) == before
    for finding in file.findings:
        assert finding_sentence(finding).isprintable()


def give(data: bytes, name: str, answers: Given | None = None) -> None:
    """Merge a file into a fresh folder, twice; the second time changes nothing."""
    with trial_folder() as (folder, _):
        path = folder.parent / name
        path.write_bytes(data)
        before = record(folder)
        outcome = merge_files(folder, [path], answers)
        assert_lawful(outcome, folder, before, data)
        after = record(folder)
        assert not merge_files(folder, [path], answers).changed
        assert record(folder) == after


@calm
@given(
    data=st.binary(max_size=2000),
    start=st.sampled_from(
        [b"", b"PK\x03\x04", b"\xff\xfe", b"\xef\xbb\xbf", b"\xd0\xcf\x11\xe0", b'{"format":"trialkit-phone-1"']
    ),
    name=st.sampled_from(["a.csv", "a.xlsx", "a.json", "a"]),
)
def test_noise(data: bytes, start: bytes, name: str) -> None:
    """Random bytes, with the first ones of every kind of file."""
    give(start + data, name)


@calm
@given(text=st.text(max_size=600), delimiter=st.sampled_from(",;\t|"))
def test_random_text_below_a_true_header(text: str, delimiter: str) -> None:
    """The right headings, and anything at all below them."""
    header = good_return().csv(delimiter=delimiter).splitlines()[0]
    give(f"{header}\n{text}".encode("utf-8", "replace"), "a.csv", EVERYTHING)


@calm
@given(place=st.integers(0, 3000), change=st.binary(max_size=6), answers=st.sampled_from([None, EVERYTHING]))
def test_bytes_of_a_good_workbook_and_phone_file_changed(place: int, change: bytes, answers: Given | None) -> None:
    """A good file with some bytes in the middle overwritten."""
    good = good_return()
    for data, name in ((good.workbook(), "a.xlsx"), (good.phone(), "a.json"), (good.csv().encode(), "a.csv")):
        at = place % len(data)
        give(data[:at] + change + data[at + len(change) :], name, answers)


@calm
@given(
    cells=st.lists(st.tuples(st.integers(0, 15), st.integers(0, 8), CELLS), min_size=1, max_size=4),
    answers=st.sampled_from([None, EVERYTHING]),
)
def test_every_value_in_the_record_was_written_or_is_explained(
    cells: list[tuple[int, int, str]], answers: Given | None
) -> None:
    """Random cells changed: what is in the tables stood in the file letter for letter, or a note says what was done."""
    good = good_return()
    rows = list(csv.reader(good.csv().splitlines()))
    for row, column, text in cells:
        rows[1 + row % (len(rows) - 1)][column % len(rows[0])] = (
            text.replace("\x00", "").replace("\r", " ").replace("\n", " ")
        )
    with trial_folder() as (folder, _):
        path = folder.parent / "a.csv"
        with path.open("w", encoding="utf-8", errors="replace", newline="") as stream:
            csv.writer(stream).writerows(rows)
        before = record(folder)
        outcome = merge_files(folder, [path], answers)
        assert_lawful(outcome, folder, before, path.read_bytes())
        if not outcome.files[0].merged:
            return
        told = " ".join(finding_sentence(finding) for finding in outcome.files[0].findings)
        written = {cell.strip() for row in rows for cell in row}
        with (folder / "heads.csv").open(encoding="utf-8", newline="") as stream:
            for row in csv.DictReader(stream):
                for value in row.values():
                    plain = value[1:] if value[:1] == "'" else value
                    assert (
                        not value or plain in written or _same_number(plain, written) or value in told or plain in told
                    )


def _same_number(text: str, written: set[str]) -> bool:
    """Tell whether a number stands in the file in another plain spelling, such as 152.0."""
    if not re.fullmatch(r"\d+(\.\d+)?", text):
        return False
    numbers = {float(cell) for cell in written if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,2})?", cell)}
    return float(text) in numbers


@calm
@given(order=st.permutations(["a.csv", "b.xlsx", "c.json"]))
def test_the_order_of_returns_does_not_matter(order: list[str]) -> None:
    """Three returns that agree give the same tables in any order."""
    good = good_return()
    data = {"a.csv": good.csv().encode(), "b.xlsx": good.workbook(), "c.json": good.phone()}
    found = []
    for names in (sorted(data), order):
        with trial_folder() as (folder, _):
            for name in names:
                (folder.parent / name).write_bytes(data[name])
            assert merge_files(folder, [folder.parent / name for name in names]).ok
            found.append(record(folder))
            shutil.rmtree(folder)
    assert found[0] == found[1]


def test_the_journal_is_plain_json(tmp_path: Path) -> None:
    """Who returned what can be read by any program."""
    good = good_return()
    folder = good.write_trial(tmp_path / "trial")
    (tmp_path / "a.json").write_bytes(good.phone())
    merge_files(folder, [tmp_path / "a.json"])
    journal = json.loads((folder / "returned" / "returns.json").read_text("utf-8"))
    assert journal["returns"][0]["name"] == "a.json"
