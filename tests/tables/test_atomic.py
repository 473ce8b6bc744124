"""Writing: whole or not at all, and the same bytes each time."""

import csv
import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.tables.atomic import csv_text, write_bytes, write_text
from trialkit.tables.formula_text import restored


def test_a_file_is_replaced_whole(tmp_path: Path) -> None:
    """The new content stands alone in the folder, with the old file's permissions and its line ends as given."""
    path = tmp_path / "heads.csv"
    write_text(path, "old\n")
    path.chmod(0o640)
    write_text(path, "é\r\nnew\n")
    assert path.read_bytes() == "é\r\nnew\n".encode()
    assert path.stat().st_mode & 0o777 == 0o640
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("interruption", [OSError, KeyboardInterrupt])
def test_an_interrupted_write_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, interruption: type[BaseException]
) -> None:
    """A full disk or an impatient adviser leaves the old file and no rubbish beside it."""
    path = tmp_path / "heads.csv"
    write_bytes(path, b"old")

    def interrupt(_descriptor: int) -> None:
        raise interruption

    monkeypatch.setattr("os.fsync", interrupt)
    with pytest.raises(interruption):
        write_bytes(path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_tables_are_written_plainly() -> None:
    """Numbers are short, dates year-month-day, yes and no words, missing cells empty, negative numbers left alone."""
    frame = pd.DataFrame(
        {
            "note": ["=cmd", "-5, or so", None],
            "change": [-2.0, 0.1, np.nan],
            "head": pd.array([1, None, 3], dtype="Int64"),
            "on": np.array(["2026-08-20", "NaT", "2026-08-22"], dtype="datetime64[s]"),
            "good": pd.array([True, False, None], dtype="boolean"),
        }
    )
    assert csv_text(frame) == (
        "note,change,head,on,good\n'=cmd,-2,1,2026-08-20,yes\n\"'-5, or so\",0.1,,,no\n,,3,2026-08-22,\n"
    )
    assert csv_text(frame.iloc[:0]) == "note,change,head,on,good\n"


@given(st.lists(st.tuples(st.text(), st.floats(allow_infinity=False)), min_size=1, max_size=5))
def test_tables_come_back(rows: list[tuple[str, float]]) -> None:
    """Whatever text and numbers a table holds, reading it as CSV gives them back."""
    text = csv_text(pd.DataFrame(rows, columns=["text", "number"]).astype({"text": object}))
    _, *body = csv.reader(io.StringIO(text, newline=""))
    assert [restored(cells[0]) for cells in body] == [row[0] for row in rows]
    for cells, (_, number) in zip(body, rows, strict=True):
        assert float(cells[1] or "nan") == pytest.approx(number, nan_ok=True, rel=0, abs=0)
