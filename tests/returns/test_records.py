"""Rows on their way through the record: typed as their file would be, written as they were read."""

import csv
import io
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from returned_files import good_return, other_values
from trialkit.documents.document import as_text
from trialkit.returns.answering import Given
from trialkit.returns.merge_files import merge_files
from trialkit.returns.records import incomplete, read_records, table_text
from trialkit.rules.kept_documents import CONFLICTS, KeptDocuments, kept_documents
from trialkit.rules.trial_folder import read_trial
from trialkit.tables.formula_text import shielded
from trialkit.tables.table_schema import load_schema
from trialkit.tables.typed_tables import read_table, rows_typed

HEADS = load_schema("heads")
CELLS = st.sampled_from(["", "152.5", "1,5", "yes", "no", "2026-09-28", "=1+1", "'=1+1", "-3", "dead", " "])


@settings(deadline=None, max_examples=40)
@given(st.lists(st.fixed_dictionaries(dict.fromkeys(HEADS.columns, CELLS)), min_size=1, max_size=5))
def test_rows_are_typed_as_their_file_would_be(rows: list[dict[str, str]]) -> None:
    """The same values and the same problems as from a CSV file that the standard library writes."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n", quoting=csv.QUOTE_ALL)
    writer.writerow(HEADS.columns)
    for row in rows:
        texts = {name: row[name].strip() for name in HEADS.columns}
        writer.writerow(
            [shielded(text) if HEADS.field(name).type == "string" else text for name, text in texts.items()]
        )
    from_file, at_hand = read_table(HEADS, stream.getvalue()), rows_typed(HEADS, rows)
    assume(not {problem.rule for problem in from_file.problems} & {"TK-F11", "TK-F12"})  # of files alone
    assert at_hand.frame.equals(from_file.frame)
    filled = any(text.strip() for row in rows for text in row.values())
    assert at_hand.problems == from_file.problems or not filled


@pytest.mark.parametrize(
    ("cells", "lacks"),
    [
        ({"outcome": "harvested", "harvested_on": "2026-09-24", "weight_g": "150"}, False),
        ({"outcome": "harvested", "harvested_on": "2026-09-24"}, True),
        ({"outcome": "not_weighed", "harvested_on": "2026-09-24"}, False),
        ({"outcome": "not_weighed"}, True),
        ({"outcome": "eaten"}, False),
        ({}, True),
    ],
)
def test_what_a_finished_head_has(cells: dict[str, str], lacks: bool) -> None:
    """A weight where it was harvested and weighed, an outcome in any case."""
    row = {"bucket": "334X", "head": "1", "transplanted_on": "2026-08-24", **cells}
    assert incomplete(HEADS, [row]) == int(lacks)


@pytest.mark.parametrize("outcome", ["never_planted", "gave_up", "stolen", "missing"])
def test_a_head_without_a_record_needs_no_day(outcome: str) -> None:
    """Nobody may know when it was transplanted, if ever."""
    assert incomplete(HEADS, [{"bucket": "334X", "head": "1", "outcome": outcome}]) == 0


def test_a_record_is_written_as_it_was_read(tmp_path: Path) -> None:
    """Byte for byte: figures, days, accents, and notes that a spreadsheet would run."""
    good = good_return().with_cell("heads", 1, "note", "=1+1").with_cell("heads", 2, "note", "'=1+1")
    folder = good.write_trial(tmp_path / "trial")
    (tmp_path / "fern.json").write_bytes(good.phone())
    assert merge_files(folder, [tmp_path / "fern.json"]).ok
    trial = read_trial(folder, stage="layout")
    records = read_records(folder, trial, KeptDocuments()).tables
    for name in ("heads", "solution", "visits"):
        assert table_text(name, records[name], trial) == (folder / f"{name}.csv").read_text("utf-8")
    assert ",'=1+1\n" in (folder / "heads.csv").read_text("utf-8")
    assert {row["note"] for row in records["heads"].values() if "1+1" in row.get("note", "")} == {"=1+1"}


@pytest.mark.parametrize("value", ["=1+1", "heavy", "-5"])
def test_a_conflict_that_was_changed_by_hand_is_no_way_in(tmp_path: Path, value: str) -> None:
    """A returned value that is none any more is refused when it is chosen, and the record stays, digest or not."""
    good = good_return()
    folder = good.write_trial(tmp_path / "trial")
    for name, records in (("first.json", good), ("second.json", other_values(good))):
        (tmp_path / name).write_bytes(records.phone())
        merge_files(folder, [tmp_path / name])
    conflicts = kept_documents(folder).conflicts
    first = replace(conflicts.conflicts[0], returned=value)
    changed = replace(conflicts, conflicts=(first, *conflicts.conflicts[1:]))
    (folder / CONFLICTS).write_text(as_text(changed), "utf-8")
    before = (folder / "heads.csv").read_bytes()
    outcome = merge_files(folder, given=Given(choices={first.id: "returned"}))
    assert [finding.rule for finding in outcome.refused_choices] == ["TK-R56"]
    assert (folder / "heads.csv").read_bytes() == before
