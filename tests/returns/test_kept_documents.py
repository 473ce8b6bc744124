"""What merges and corrections keep: a changed byte is told, and every conflict has a name of its own."""

from __future__ import annotations

import json
import random
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

import commands
from once import once
from returned_files import good_return, other_values
from trialkit._resources import resource_folder
from trialkit.documents.document import SEAL, as_data, as_text
from trialkit.documents.returns import Conflicts, Corrections, Journal
from trialkit.returns.answering import Given
from trialkit.returns.journal import SHORTEST_ID, with_changed, with_differences
from trialkit.returns.merge_files import merge_files
from trialkit.returns.merging import Difference
from trialkit.rules.kept_documents import CONFLICTS, CORRECTIONS, KEPT_FILES, kept_documents
from trialkit.rules.trial_folder import check_trial, read_trial
from trialkit.tables.atomic import cell_texts
from trialkit.tables.table_schema import load_schema

MOST_CELLS = 100_000


def make(folder: Path) -> None:
    """A trial of which two returns differ, headings were answered and one value was corrected."""
    good = good_return()
    trial = good.write_trial(folder / "trial")
    text = good.csv().replace("weight_g", "Head wt", 1)
    (folder / "first.csv").write_text(text, "utf-8")
    (folder / "second.json").write_bytes(other_values(good).phone())
    assert merge_files(trial, [folder / "first.csv"], Given(headings={"head_wt": "weight_g"})).ok
    assert merge_files(trial, [folder / "second.json"]).conflicts
    row = next(row for row in good.tables["heads"] if row["weight_g"])
    told = ("--why", "misread", "--by", "adviser")
    assert commands.run("correct", trial, row["bucket"], row["head"], "weight_g=142", *told).returncode == 0


@pytest.fixture
def folder(tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Copy the trial, which has a file of every kind."""
    shutil.copytree(once(tmp_path_factory, "kept", make) / "trial", tmp_path / "trial")
    return tmp_path / "trial"


@pytest.mark.parametrize("name", KEPT_FILES)
def test_a_changed_byte_is_told(folder: Path, name: str) -> None:
    """Whatever byte it is, also where the text can still be read; one that changes nothing is no matter."""
    path, as_it_was = folder / name, kept_documents(folder)
    assert as_it_was.problems == ()
    data, draw = path.read_bytes(), random.Random(name)
    for place in [*draw.sample(range(len(data)), 60), *range(len(data) - 6, len(data))]:
        changed = bytearray(data)
        changed[place] ^= 1 << draw.randrange(8)
        path.write_bytes(changed)
        found = kept_documents(folder)
        assert [problem.file for problem in found.problems] == [name] or found == as_it_was, changed[place - 9 : place]


@pytest.mark.parametrize("name", KEPT_FILES)
def test_what_cannot_be_read_never_counts_as_nothing(folder: Path, name: str) -> None:
    """Cut off, in another encoding, empty, of another kind, a folder, noise: the file is named."""
    path = folder / name
    data = path.read_bytes()
    for damaged in (
        data[:-40],
        data.decode().encode("utf-16"),
        b"",
        b"[]",
        b"null",
        b"\0" * 9,
        b'"\xff"',
        b"[" * 99_999,
    ):
        path.write_bytes(damaged)
        assert [(problem.rule, problem.file) for problem in kept_documents(folder).problems] == [("TK-R59", name)]
    path.unlink()
    path.mkdir()
    assert [(problem.rule, problem.file) for problem in kept_documents(folder).problems] == [("TK-F02", name)]
    assert name in {problem.file for problem in check_trial(folder).errors}


def test_every_command_that_goes_on_from_there_stops(folder: Path) -> None:
    """A changed value that can still be read, of a correction: each names the file and the way out."""
    path = folder / CORRECTIONS
    path.write_bytes(path.read_bytes().replace(b"misread", b"mislaid"))
    for command in (("check",), ("merge",), ("correct", "334X", "1", "weight_g=140", "--why", "so")):
        ended = commands.run(command[0], folder, *command[1:])
        assert ended.returncode == commands.DATA_ERROR
        assert (
            f"{CORRECTIONS}: found a document that was changed since trialkit wrote it" in ended.stdout + ended.stderr
        )
        assert "Restore the file from a copy" in ended.stdout + ended.stderr


def test_files_of_an_earlier_trialkit_are_read(folder: Path) -> None:
    """They carry no digest; the ends of lines may be those of another system."""
    kept = kept_documents(folder)
    earlier = {key: value for key, value in as_data(kept.conflicts).items() if key != SEAL}
    (folder / CONFLICTS).write_text(json.dumps(earlier, indent=1, ensure_ascii=False) + "\n", "utf-8")
    assert kept_documents(folder) == kept
    (folder / CONFLICTS).write_bytes(as_text(kept.conflicts).replace("\n", "\r\n").encode())
    assert kept_documents(folder) == kept


def differences_everywhere() -> list[Difference]:
    """Another value for every cell of the largest bundled trial's records."""
    trial, found = read_trial(resource_folder("example_trials") / "autumn_dose"), []
    for name in ("heads", "solution", "visits"):
        schema, frame = load_schema(name), getattr(trial, name)
        texts = {column: cell_texts(frame[column]) for column in schema.columns}
        for place in range(len(frame)):
            key = tuple(texts[column][place] for column in schema.primary_key)
            found += [Difference(name, key, column, "as it is", "otherwise") for column in schema.columns]
    return found


def test_every_conflict_of_a_trial_has_a_name_of_its_own() -> None:
    """All cells of a whole trial at once: with 24 bits a weight and a date had the same.

    Names that are cut off are alike by chance, of n in N with a chance below n²/2N (birthday bound).
    """
    assert MOST_CELLS**2 / 2 / 32**SHORTEST_ID < 1e-5
    found = with_differences(Conflicts(), differences_everywhere(), Journal(), Corrections(), "mill.csv").conflicts
    assert len(found) > 8000
    assert len({conflict.id for conflict in found}) == len(found)
    assert {len(conflict.id) for conflict in found} == {SHORTEST_ID}


def test_a_name_that_another_cell_has_grows(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where names are alike the later one is longer; a second value of a cell is numbered."""
    monkeypatch.setattr("trialkit.returns.journal.SHORTEST_ID", 1)
    some = differences_everywhere()[:200]
    conflicts = with_differences(Conflicts(), some, Journal(), Corrections(), "mill.csv")
    assert len({conflict.id for conflict in conflicts.conflicts}) == len(some)
    third = [replace(difference, returned="a third") for difference in some[:2]]
    again = with_differences(conflicts, third, Journal(), Corrections(), "fern.csv").conflicts[len(some) :]
    assert [conflict.id for conflict in again] == [f"{one.id}-2" for one in conflicts.conflicts[:2]]


def test_names_of_an_earlier_trialkit_are_taken_unless_two_have_the_same(folder: Path) -> None:
    """Both of two would be meant: neither is settled, and neither is lost."""
    conflicts = kept_documents(folder).conflicts
    first = replace(conflicts.conflicts[0], choice=None, id="0e8436")
    second, third = replace(first, column="harvested_on"), replace(first, column="note", id="a1b2c3")
    (folder / CONFLICTS).write_text(as_text(Conflicts(conflicts=(first, second, third))), "utf-8")
    outcome = merge_files(folder, given=Given(choices={"0e8436": "kept"}))
    assert [finding.case for finding in outcome.refused_choices] == ["several"]
    settled = merge_files(folder, given=Given(choices={"a1b2c3": "kept"}))
    assert [one.choice for one in kept_documents(folder).conflicts.conflicts] == [None, None, "kept"]
    assert {one.cell for one in settled.conflicts} == {first.cell, second.cell}
    both = with_changed(Conflicts(conflicts=(first, second)), [replace(first, choice="kept")]).conflicts
    assert [(one.cell, one.choice) for one in both] == [(first.cell, "kept"), (second.cell, None)]
