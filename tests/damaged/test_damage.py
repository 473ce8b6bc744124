"""Every kind of damage: repaired with a note, asked about or refused, and never anything in silence."""

import csv
from collections.abc import Iterable
from pathlib import Path

import pytest

from contents import contents
from returned_files import SITE, Good, good_return
from trialkit.documents.returns import Answers, FileOutcome
from trialkit.domain.table_names import TableName
from trialkit.returns.answering import Given
from trialkit.returns.merge_files import merge_files
from trialkit.tables.table_schema import load_schema
from trialkit.words.repair_words import finding_sentence

from . import damaged_cells, damaged_files
from .catalogue import CATALOGUE, Kind

LONGEST_MESSAGE = 600
assert damaged_cells
assert damaged_files


def by_name(*verdicts: str) -> pytest.MarkDecorator:
    """Run a test once for each kind of damage with one of the verdicts."""
    kinds = [kind for kind in CATALOGUE if kind.verdict in verdicts]
    return pytest.mark.parametrize("kind", kinds, ids=[kind.name.replace(" ", "-") for kind in kinds])


def record(folder: Path, name: TableName) -> list[dict[str, str]]:
    """Read a table of a trial folder by the standard library alone."""
    path = folder / f"{name}.csv"
    if not path.exists():
        return []
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def give(kind: Kind, tmp_path: Path) -> tuple[Path, Path, Good]:
    """Write the trial folder and the damaged file."""
    good = good_return(odd=kind.odd)
    folder = good.write_trial(tmp_path / "trial")
    path = tmp_path / kind.file
    if kind.before:
        path.with_name("first.csv").write_text(good.csv(), encoding="utf-8")
        assert merge_files(folder, [path.with_name("first.csv")]).ok
    path.write_bytes(kind.make(good))
    return folder, path, good


def assert_good_values(kind: Kind, folder: Path, good: Good) -> None:
    """The record holds the good return's rows, in its order, and nothing else but what the catalogue says."""
    gives = {(table, row, column): value for table, row, column, value in kind.gives}
    for table in ("heads", "solution", "visits"):
        columns = [field.name for field in load_schema(table).on_forms]
        expected = [{column: row.get(column, "") for column in columns} for row in good.tables[table]]
        for (name, row, column), value in gives.items():
            if name == table:
                expected[row][column] = value
        kept = [row for row in expected if row[columns[0]]] if table in kind.tables else []
        if kind.name == "row of another garden" and table == "visits":
            kept[1]["site"] = "MILL"
        assert record(folder, table) == kept, table


def told(outcome: FileOutcome, verdict: str, kind: Kind) -> None:
    """A finding of the verdict has the rule and the words of the catalogue."""
    found = [finding_sentence(finding) for finding in outcome.findings if finding.verdict == verdict]
    assert any(kind.rule in text and kind.says in text for text in found), found


def assert_can_be_shown(outcome: FileOutcome, kind: Kind) -> None:
    """Every message is one short line that cannot steer a terminal, and none is said twice."""
    texts = [finding_sentence(finding) for finding in outcome.findings]
    assert texts
    for text in texts:
        assert text.isprintable()
        assert len(text) < LONGEST_MESSAGE
        assert text.startswith(kind.file)
        assert ".." not in text.replace("...", "")
    assert len(set(texts)) == len(texts)


@by_name("repaired")
def test_repaired_with_a_note(kind: Kind, tmp_path: Path) -> None:
    """The good values come out, and a note says what was done; the same file again leaves every byte of the folder."""
    folder, path, good = give(kind, tmp_path)
    (outcome,) = merge_files(folder, [path]).files
    assert outcome.merged, [finding_sentence(finding) for finding in outcome.findings]
    told(outcome, "repaired", kind)
    assert_can_be_shown(outcome, kind)
    assert_good_values(kind, folder, good)
    assert outcome.kept_as is not None
    assert (folder / outcome.kept_as).read_bytes() == path.read_bytes()
    before = contents(folder)
    again = merge_files(folder, [path])
    assert again.ok
    assert again.files[0].merged_before
    assert not again.changed
    assert contents(folder) == before


@by_name("asked")
def test_asked_and_merged_once_answered(kind: Kind, tmp_path: Path) -> None:
    """Without an answer nothing changes; with it the values come out, with a note that names the answer."""
    folder, path, good = give(kind, tmp_path)
    before = contents(folder)
    (outcome,) = merge_files(folder, [path]).files
    assert not outcome.merged
    told(outcome, "question", kind)
    assert_can_be_shown(outcome, kind)
    assert not [finding_sentence(finding) for finding in outcome.findings if finding.verdict == "refused"]
    assert contents(folder) == before
    (answered,) = merge_files(folder, [path], Given(kind.answers)).files
    assert answered.merged, [finding_sentence(finding) for finding in answered.findings]
    assert_good_values(kind, folder, good)
    if kind.answers.weights != "g":
        assert kind.rule in {finding.rule for finding in answered.findings}


@by_name("refused")
def test_refused_and_nothing_changed(kind: Kind, tmp_path: Path) -> None:
    """It is refused in the words of the catalogue, and the folder stays as it was."""
    folder, path, _ = give(kind, tmp_path)
    before = contents(folder)
    outcome = merge_files(folder, [path], Given(Answers("day-first", "point", "1900", "g")))
    assert not outcome.files[0].merged
    assert not outcome.ok
    told(outcome.files[0], "refused", kind) if not kind.name.startswith("day and month") else None
    (unanswered,) = merge_files(folder, [path]).files
    told(unanswered, "refused", kind)
    assert_can_be_shown(unanswered, kind)
    assert contents(folder) == before


@by_name("conflict")
def test_conflicts_overwrite_nothing(kind: Kind, tmp_path: Path) -> None:
    """Both values are listed with who returned them, and the record stays as it was."""
    folder, path, good = give(kind, tmp_path)
    before = record(folder, "heads")
    outcome = merge_files(folder, [path])
    assert {value for conflict in outcome.conflicts for value in (conflict.kept, conflict.returned)} >= {kind.says}
    assert {conflict.kept_by for conflict in outcome.conflicts} == {"first.csv"}
    assert {conflict.returned_by for conflict in outcome.conflicts} == {(kind.file,)}
    assert record(folder, "heads") == before
    assert_good_values(kind, folder, good)


def names(kinds: Iterable[Kind]) -> list[str]:
    """Name kinds."""
    return [kind.name for kind in kinds]


def test_the_catalogue_is_large_and_names_each_kind_once() -> None:
    """At least 60 kinds, each with a name of its own."""
    assert len(CATALOGUE) >= 60
    assert len(set(names(CATALOGUE))) == len(CATALOGUE)


def test_good_files_have_nothing_to_tell(tmp_path: Path) -> None:
    """An undamaged workbook, phone file and CSV file are merged without a finding, and say the same."""
    good = good_return()
    folder = good.write_trial(tmp_path / "trial")
    files = {f"{SITE}.xlsx": good.workbook(), f"{SITE}.json": good.phone(), "heads.csv": good.csv().encode()}
    for name, data in files.items():
        (tmp_path / name).write_bytes(data)
    outcome = merge_files(folder, [tmp_path / name for name in files])
    assert [finding for file in outcome.files for finding in file.findings] == []
    assert outcome.files[0].tables["heads"].new == 16
    assert outcome.files[1].tables["heads"].same == outcome.files[2].tables["heads"].same == 16
