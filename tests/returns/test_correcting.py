"""Putting a record right: what it was stays known, and a return that says it again is no conflict."""

from __future__ import annotations

import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

import merge_crash_points
from contents import contents
from returned_files import good_return
from trialkit.documents.returns import CorrectOutcome, MergeOutcome
from trialkit.domain.errors import WrongCall
from trialkit.returns.answering import Given
from trialkit.returns.correcting import Wanted, correct
from trialkit.returns.journal import Reason
from trialkit.returns.merge_files import merge_files
from trialkit.returns.records import read_records
from trialkit.rules.kept_documents import CORRECTIONS, WRITTEN, KeptDocuments, kept_documents
from trialkit.rules.trial_folder import check_trial, read_trial
from trialkit.tables.committing import COMMITTED, STAGING
from trialkit.tables.problem import TrialError
from trialkit.words.merge_words import merge_lines
from trialkit.words.problem_words import problem_sentence
from trialkit.words.repair_words import finding_sentence

GOOD = good_return()
HEAD = next(row for row in GOOD.tables["heads"] if row.get("outcome") == "harvested")
BUCKET, NUMBER, WEIGHT = HEAD["bucket"], HEAD["head"], HEAD["weight_g"]


@pytest.fixture(scope="module")
def merged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trial into which one garden's return was merged."""
    base = tmp_path_factory.mktemp("merged")
    folder = GOOD.write_trial(base / "trial")
    (base / "fern.csv").write_text(GOOD.csv(), encoding="utf-8")
    (base / "fern.json").write_bytes(GOOD.phone())
    assert merge_files(folder, [base / "fern.csv", base / "fern.json"]).ok
    return folder


@pytest.fixture
def folder(merged: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    return Path(shutil.copytree(merged, tmp_path / "trial"))


def put_right(folder: Path, bucket: str = BUCKET, head: str | None = NUMBER, **values: str) -> CorrectOutcome:
    """Correct a head, the day being given."""
    wanted = Wanted(bucket, head, None, values)
    return correct(folder, wanted, Reason("read 241", "adviser", date(2026, 10, 2)))


def in_record(folder: Path, column: str) -> str | None:
    """Return what the record says of the head."""
    return (
        read_records(folder, read_trial(folder, stage="layout"), KeptDocuments())
        .tables["heads"][BUCKET, NUMBER]
        .get(column)
    )


@pytest.mark.parametrize(
    ("text", "read"), [("142", "142"), ("142 g", "142"), ("142,5", "142.5"), ("0.142 kg", "142"), ("١٤٢", "142")]
)
def test_a_value_is_read_as_a_returned_cell(folder: Path, text: str, read: str) -> None:
    """Units, commas and other scripts; the correction says what was, what is, who, when and why."""
    outcome = put_right(folder, weight_g=text)
    assert outcome.ok, outcome.findings
    assert in_record(folder, "weight_g") == read
    (kept,) = kept_documents(folder).corrections.corrections
    assert (kept,) == outcome.corrections
    assert (kept.table, kept.key, kept.column, kept.before, kept.after) == (
        "heads",
        (BUCKET, NUMBER),
        "weight_g",
        WEIGHT,
        read,
    )
    assert (kept.by, kept.on, kept.why) == ("adviser", "2026-10-02", "read 241")


def test_only_the_cell_changes_and_the_same_twice_gives_the_same_bytes(merged: Path, tmp_path: Path) -> None:
    """No other file and no other row is touched."""
    made = []
    for name in ("one", "two"):
        copy = Path(shutil.copytree(merged, tmp_path / name))
        assert put_right(copy, weight_g="142").changed == ("heads.csv", CORRECTIONS, WRITTEN)
        made.append(contents(copy))
    assert made[0] == made[1]
    before = contents(merged)
    assert {name for name in made[0] if made[0][name] != before.get(name)} == {"heads.csv", CORRECTIONS, WRITTEN}
    lines = zip(before["heads.csv"].splitlines(), made[0]["heads.csv"].splitlines(), strict=True)
    assert sum(old != new for old, new in lines) == 1


def test_what_was_corrected_is_no_conflict_when_returned_again(folder: Path, tmp_path: Path) -> None:
    """The first value is known to be wrong; a third one is a conflict with the correction."""
    put_right(folder, weight_g="142")
    (tmp_path / "again.csv").write_text(GOOD.csv(), encoding="utf-8")
    assert merge_files(folder, [tmp_path / "again.csv"]).ok
    place = GOOD.tables["heads"].index(HEAD)
    (tmp_path / "third.csv").write_text(GOOD.with_cell("heads", place, "weight_g", "99").csv(), encoding="utf-8")
    (conflict,) = merge_files(folder, [tmp_path / "third.csv"]).conflicts
    assert (conflict.kept, conflict.kept_by) == ("142", "a correction by adviser on 2026-10-02")
    assert in_record(folder, "weight_g") == "142"


@pytest.mark.parametrize(("text", "choice"), [("99", "returned"), ("142", "kept")])
def test_a_conflict_is_settled_by_a_correction(folder: Path, tmp_path: Path, text: str, choice: str) -> None:
    """By the value returned or by a third, and stays settled."""
    place = GOOD.tables["heads"].index(HEAD)
    (tmp_path / "other.csv").write_text(GOOD.with_cell("heads", place, "weight_g", "99").csv(), encoding="utf-8")
    assert merge_files(folder, [tmp_path / "other.csv"]).conflicts
    with pytest.raises(WrongCall, match=r"--choose \w+=kept"):
        put_right(folder, weight_g=WEIGHT)
    (settled,) = put_right(folder, weight_g=text).settled
    assert (settled.choice, settled.taken) == (choice, text)
    assert not kept_documents(folder).conflicts.open
    assert merge_files(folder, [tmp_path / "other.csv"]).ok


def test_a_head_that_was_not_cut(folder: Path) -> None:
    """Several cells at once, some emptied; one alone would contradict the others and nothing is written."""
    before = contents(folder)
    assert {finding.rule for finding in put_right(folder, outcome="dead").findings} >= {"TK-H04"}
    assert contents(folder) == before
    outcome = put_right(folder, outcome="dead", weight_g="", harvested_on="", marketable="")
    assert outcome.ok, outcome.findings
    assert in_record(folder, "weight_g") is None


def test_what_cannot_be_read_in_one_way_is_asked_about(folder: Path) -> None:
    """Nothing is guessed and nothing written, also of values that mean harm."""
    before = contents(folder)
    for column, text in (
        ("harvested_on", "04/09/26"),
        ("weight_g", "1,152"),
        ("weight_g", "~150"),
        ("weight_g", "-4"),
        ("weight_g", "9" * 400),
        ("outcome", "harvestde"),
        ("outcome", "=cmd()"),
        ("harvested_on", "2026-02-30"),
        ("note", "a\0b"),
    ):
        outcome = put_right(folder, **{column: text})
        assert not outcome.ok, (column, text)
        assert outcome.findings
    assert not put_right(folder, bucket="334", weight_g="142").ok
    assert contents(folder) == before


def test_a_wrong_call_names_what_there_is(folder: Path) -> None:
    """An unknown head, column or key, an emptied cell that is needed, no reason."""
    before = contents(folder)
    with pytest.raises(WrongCall, match=f'no head "?9"? of bucket {BUCKET}. It has head 1'):
        put_right(folder, head="9", weight_g="142")
    with pytest.raises(WrongCall, match="Did you mean weight_g"):
        put_right(folder, weigth_g="142")
    with pytest.raises(WrongCall, match="no head to correct"):
        correct(folder, Wanted(BUCKET, "1", None, {"head": "2"}), Reason("so", "adviser", date(2026, 10, 2)))
    with pytest.raises(WrongCall, match="A reason is needed"):
        correct(folder, Wanted(BUCKET, "1", None, {"weight_g": "2"}), Reason(" ", "adviser", date(2026, 10, 2)))
    with pytest.raises(WrongCall, match="says so already"):
        put_right(folder, weight_g=WEIGHT)
    with pytest.raises(WrongCall, match=r"FERN is a garden. To correct its visits, write a CSV file .* --why TEXT"):
        put_right(folder, "FERN", None, note="rain")
    assert contents(folder) == before


@pytest.mark.parametrize("by_file", [False, True])
def test_killed_anywhere_the_record_is_old_or_new(folder: Path, tmp_path: Path, by_file: bool) -> None:
    """Table and reason change together; the next merge finishes or clears away."""
    into = tmp_path / "copies"
    into.mkdir()
    (tmp_path / "one.csv").write_text(f"bucket,head,weight_g\n{BUCKET},{NUMBER},142\n", encoding="utf-8")
    words = [tmp_path / "one.csv", "read 241"] if by_file else [BUCKET, NUMBER, "weight_g", "142"]
    command = [sys.executable, merge_crash_points.__file__, folder, into, *words]
    run = subprocess.run(command, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    copies = [into / str(number) for number in range(int(run.stdout) + 1)]
    before, after = contents(folder), contents(copies[-1])
    found = []
    for copy in copies:
        merge_files(copy)
        found.append("old" if contents(copy) == before else "new" if contents(copy) == after else "mixed")
        assert not (copy / STAGING).exists()
        assert not (copy / COMMITTED).exists()
    assert found == sorted(found, reverse=True)
    assert set(found) == {"old", "new"}
    assert len(found) > 10


def put_right_by_file(folder: Path, text: str, why: str = "read 241") -> MergeOutcome:
    """Correct what a file says otherwise."""
    path = folder.with_name("corrections.csv")
    path.write_text(text, encoding="utf-8")
    return merge_files(folder, [path], reason=Reason(why, "adviser", date(2026, 10, 2)))


def test_what_a_file_says_otherwise_is_taken_with_a_reason(folder: Path, tmp_path: Path) -> None:
    """As by hand: the same record, the same corrections; empty cells and other rows change nothing."""
    by_hand = Path(shutil.copytree(folder, tmp_path / "by hand"))
    assert put_right(by_hand, weight_g="142").ok
    outcome = put_right_by_file(folder, f"bucket,head,weight_g,note\n{BUCKET},{NUMBER},142 g,\n")
    assert outcome.ok, outcome
    assert (folder / "heads.csv").read_bytes() == (by_hand / "heads.csv").read_bytes()
    assert (folder / CORRECTIONS).read_bytes() == (by_hand / CORRECTIONS).read_bytes()
    (file,) = outcome.files
    assert file.corrections == kept_documents(folder).corrections.corrections
    assert "heads: 1 corrected" in " ".join(line.text for line in merge_lines(outcome, str(folder)))
    before = contents(folder)
    again = put_right_by_file(folder, f"bucket,head,weight_g,note\n{BUCKET},{NUMBER},142 g,\n")
    assert again.ok
    assert not again.files[0].corrections
    assert contents(folder) == before


def test_visits_are_corrected_by_a_file(folder: Path) -> None:
    """A role or a note of a visit, by garden and day."""
    day = GOOD.tables["visits"][0]["visited_on"]
    outcome = put_right_by_file(folder, f"site,visited_on,observer_role\nFERN,{day},adviser\n", "was there myself")
    (correction,) = outcome.files[0].corrections
    assert (correction.table, correction.key, correction.after) == ("visits", ("FERN", day), "adviser")
    assert check_trial(folder).errors == ()


def test_a_file_settles_its_conflicts_once_the_reason_is_given(folder: Path, tmp_path: Path) -> None:
    """The same file, merged without and then with a reason."""
    text = f"bucket,head,weight_g\n{BUCKET},{NUMBER},142\n"
    (tmp_path / "corrections.csv").write_text(text, encoding="utf-8")
    (conflict,) = merge_files(folder, [tmp_path / "corrections.csv"]).conflicts
    assert put_right_by_file(folder, text).ok
    (settled,) = kept_documents(folder).conflicts.conflicts
    assert (settled.id, settled.choice) == (conflict.id, "returned")
    assert in_record(folder, "weight_g") == "142"


def test_a_file_from_before_a_correction_brings_nothing_back(folder: Path) -> None:
    """What was corrected stays, and is told of."""
    old = (folder / "heads.csv").read_text("utf-8")
    put_right(folder, weight_g="142")
    outcome = put_right_by_file(folder, old.replace("slugs", "snails"))
    assert [one.after for one in outcome.files[0].corrections] == ["snails"]
    (note,) = (finding for finding in outcome.files[0].findings if finding.rule == "TK-R61")
    assert f'"{WEIGHT}" for {BUCKET} {NUMBER} was decided against before, and "142" stays' in finding_sentence(note)
    assert in_record(folder, "weight_g") == "142"


def test_a_file_that_would_make_a_row_wrong_is_refused(folder: Path, tmp_path: Path) -> None:
    """All of it, in the words of the check; and so is a reason without a file, or with two."""
    before = contents(folder)
    outcome = put_right_by_file(folder, f"bucket,head,outcome\n{BUCKET},{NUMBER},dead\n")
    assert not outcome.ok
    assert {finding.rule for finding in outcome.files[0].findings} == {"TK-H04", "TK-H05"}
    for files in ([], [tmp_path / "corrections.csv"] * 2):
        with pytest.raises(WrongCall, match="one FILE"):
            merge_files(folder, files, reason=Reason("so", "adviser", date(2026, 10, 2)))
    assert contents(folder) == before


def test_the_check_reads_the_corrections(folder: Path) -> None:
    """Damaged ones are an error: nobody could tell what was corrected."""
    put_right(folder, weight_g="142")
    assert "TK-R59" not in {problem.rule for problem in check_trial(folder).errors}
    (folder / CORRECTIONS).write_text("{", encoding="utf-8")
    (problem,) = (problem for problem in check_trial(folder).errors if problem.rule == "TK-R59")
    assert problem_sentence(problem).startswith("returned/corrections.json: found a document that is damaged")
    assert "Restore the file from a copy" in problem_sentence(problem)
    with pytest.raises(TrialError, match=r"TK-R59 returned/corrections\.json"):
        put_right(folder, weight_g="143")


def edit(folder: Path, old: str, new: str) -> None:
    """Change the head's row by hand."""
    lines = (folder / "heads.csv").read_text("utf-8").splitlines(keepends=True)
    place = next(i for i, line in enumerate(lines) if line.startswith(f"{BUCKET},{NUMBER},"))
    assert f",{old}," in lines[place]
    lines[place] = lines[place].replace(f",{old},", f",{new},", 1)
    (folder / "heads.csv").write_text("".join(lines), encoding="utf-8")


def edits(folder: Path) -> list[str]:
    """Return what the check says of hand edits."""
    return [problem_sentence(problem) for problem in check_trial(folder).warnings if problem.rule == "TK-R60"]


def test_a_hand_edit_after_a_merge_is_noticed_until_it_is_taken(folder: Path, tmp_path: Path) -> None:
    """A further file or correction does not hide it; trialkit merge without a file takes the table as it stands."""
    assert edits(folder) == []
    edit(folder, WEIGHT, "199")
    (sentence,) = edits(folder)
    assert sentence.startswith("heads.csv: found records that were changed since")
    (tmp_path / "more.csv").write_text("site,visited_on,observer_role\nFERN,2026-09-20,adviser\n", encoding="utf-8")
    assert merge_files(folder, [tmp_path / "more.csv"]).ok
    assert put_right(folder, note="seen again").ok
    assert edits(folder) == [sentence]
    outcome = merge_files(folder)
    assert outcome.taken == ("heads.csv",)
    assert "heads.csv was changed by hand" in " ".join(line.text for line in merge_lines(outcome, "DIR"))
    assert edits(folder) == []
    assert in_record(folder, "weight_g") == "199"
    assert not merge_files(folder).changed


def test_rows_in_another_order_and_a_spreadsheet_are_no_hand_edit(folder: Path) -> None:
    """What the table says is what counts; an edit among a spreadsheet's changes is noticed."""
    header, *rows = (folder / "heads.csv").read_text("utf-8").splitlines()
    text = "\r\n".join([header, *sorted(rows, reverse=True), ""])
    (folder / "heads.csv").write_bytes(text.replace("2026-08-24", "8/24/2026").encode("utf-8-sig"))
    assert edits(folder) == []
    (folder / "heads.csv").write_bytes(text.replace(f",{WEIGHT},", ",199,").encode("utf-8-sig"))
    assert len(edits(folder)) == 1


def test_a_corrected_value_changed_by_hand_is_named(folder: Path) -> None:
    """With what it was corrected to; the reason given afterwards ends it, and so does the corrected value."""
    put_right(folder, weight_g="142")
    edit(folder, "142", "150")
    table, cell = edits(folder)
    assert 'column weight_g: found "150". Expected "142", as corrected by adviser on 2026-10-02' in cell
    assert "trialkit correct DIR BUCKET HEAD weight_g=VALUE --why TEXT" in cell
    merge_files(folder)
    assert edits(folder) == [cell]
    (correction,) = put_right(folder, weight_g="150").corrections
    assert (correction.before, correction.after) == ("142", "150")
    assert edits(folder) == []
    assert table.startswith("heads.csv: ")


def test_a_value_chosen_after_a_correction_is_no_hand_edit(folder: Path, tmp_path: Path) -> None:
    """A conflict with the correction, settled for what was returned."""
    put_right(folder, weight_g="142")
    place = GOOD.tables["heads"].index(HEAD)
    (tmp_path / "third.csv").write_text(GOOD.with_cell("heads", place, "weight_g", "99").csv(), encoding="utf-8")
    (conflict,) = merge_files(folder, [tmp_path / "third.csv"]).conflicts
    assert merge_files(folder, given=Given(choices={conflict.id: "returned"})).ok
    assert in_record(folder, "weight_g") == "99"
    assert edits(folder) == []
