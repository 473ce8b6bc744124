"""A merged file is taken back: the record is as if it had never come; nothing of another file is lost."""

import csv
import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import trialkit
from contents import contents
from returned_files import Good, good_return, other_values
from trialkit.documents.returns import Answers, TakeBackOutcome, cells_in
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.returns.answering import Given
from trialkit.returns.journal import Reason
from trialkit.returns.merge_files import merge_files
from trialkit.returns.taking_back import take_back
from trialkit.rules.kept_documents import kept_documents
from trialkit.rules.trial_folder import check_trial
from trialkit.tables.table_schema import load_schema

GOOD = good_return()
WRONG = Reason("it was of last season", "adviser", date(2026, 10, 2))
TABLES = ("heads", "solution", "visits")
LACKS_BUCKETS = ("TK-R32",)
FIRST, SECOND = GOOD.buckets[:2]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A trial that is laid out, without any record."""
    return GOOD.write_trial(tmp_path / "trial")


def merged(folder: Path, name: str, text: str | bytes) -> None:
    """Merge a file, which may lack buckets."""
    path = folder.parent / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    outcome = merge_files(folder, [path], Given(Answers(accepted=LACKS_BUCKETS)))
    assert all(one.merged for one in outcome.files), outcome.files


def heads(*rows: str) -> str:
    """Write a table of heads of the first two buckets: bucket, head, day before, note."""
    cells = [row.format(a=FIRST, b=SECOND) for row in rows]
    return "\n".join(["bucket,head,transplanted_on,note", *cells]) + "\n"


def record(folder: Path) -> dict[str, list[dict[str, str]]]:
    """What the tables say, without empty rows of tables that are not there."""
    found = {}
    for name in TABLES:
        path = folder / f"{name}.csv"
        if path.exists():
            with path.open(encoding="utf-8", newline="") as stream:
                found[name] = [{k: v for k, v in row.items() if v} for row in csv.DictReader(stream)]
    return {name: rows for name, rows in found.items() if rows}


def waiting(folder: Path) -> set[tuple[object, ...]]:
    """Open conflicts: cell, what is kept and by whom, what was returned and by whom."""
    return {
        (one.cell, one.kept, one.kept_by, one.returned, frozenset(one.returned_by))
        for one in kept_documents(folder).conflicts.open
    }


Cells = Mapping[tuple[str, str, str], str]
ROWS = (("heads", f"{FIRST} 1"), ("heads", f"{FIRST} 2"), ("heads", f"{SECOND} 1"), ("visits", "FERN 2026-08-24"))
COLUMNS = {"heads": ("transplanted_on", "note"), "visits": ("observer_role", "note")}
VALUES = {"transplanted_on": ("2026-08-24", "2026-08-25"), "note": ("slugs", "limp"), "observer_role": ("volunteer",)}


@st.composite
def phone_tables(draw: st.DrawFn) -> Mapping[str, list[dict[str, str]]]:
    """Some rows, with some of their cells filled in; a visit may be told without a word beside it."""
    tables: dict[str, list[dict[str, str]]] = {}
    for table, key in draw(st.lists(st.sampled_from(ROWS), min_size=1, max_size=4, unique=True)):
        names = ("bucket", "head") if table == "heads" else ("site", "visited_on")
        fewest = 1 if table == "heads" else 0
        columns = draw(st.lists(st.sampled_from(COLUMNS[table]), min_size=fewest, max_size=2, unique=True))
        row = dict(zip(names, key.split(), strict=True))
        tables.setdefault(table, []).append(row | {one: draw(st.sampled_from(VALUES[one])) for one in columns})
    return tables


@settings(max_examples=12, deadline=None)
@given(
    files=st.lists(phone_tables(), min_size=2, max_size=4),
    gone=st.integers(0, 3),
    twice=st.booleans(),
)
def test_without_a_file_the_record_is_that_of_the_others(
    files: Sequence[Mapping[str, list[dict[str, str]]]], gone: int, twice: bool
) -> None:
    """Whatever they have in common, in any order; merged again it is as if it had come last."""
    gone %= len(files)
    others = [number for number in range(len(files)) if number != gone]
    with TemporaryDirectory() as place:
        parts = {}
        for number, tables in enumerate(files):
            parts[number] = Path(place, f"{number}.json")
            parts[number].write_bytes(Good(tables=tables).phone(by=f"P{number}"))  # type: ignore[arg-type]

        def trial_of(name: str, numbers: Sequence[int]) -> Path:
            folder = GOOD.write_trial(Path(place, name))
            for number in numbers:
                assert merge_files(folder, [parts[number]]).files[0].merged
            return folder

        all_of_them = trial_of("all", [*range(len(files)), *([gone] if twice else [])])
        without, last = trial_of("without", others), trial_of("last", [*others, gone])
        take_back(all_of_them, f"{gone}.json", WRONG)
        assert (record(all_of_them), waiting(all_of_them)) == (record(without), waiting(without))
        assert merge_files(all_of_them, [parts[gone]]).files[0].merged
        assert (record(all_of_them), waiting(all_of_them)) == (record(last), waiting(last))
        take_back(all_of_them, f"{gone}.json", WRONG)
        assert (record(all_of_them), waiting(all_of_them)) == (record(without), waiting(without))
        for number in others:
            take_back(all_of_them, f"{number}.json", WRONG)
        assert (record(all_of_them), waiting(all_of_them)) == ({}, set())


@settings(max_examples=12, deadline=None)
@given(
    files=st.lists(phone_tables(), min_size=3, max_size=4),
    gone=st.lists(st.integers(0, 3), min_size=1, max_size=3, unique=True),
    choices=st.lists(st.sampled_from(["kept", "returned", None]), min_size=4, max_size=4),
)
def test_whatever_was_chosen_nothing_of_another_file_is_lost(
    files: Sequence[Mapping[str, list[dict[str, str]]]], gone: Sequence[int], choices: Sequence[str | None]
) -> None:
    """Each cell says what one of the other files says; what others say otherwise waits, or was decided against."""
    with TemporaryDirectory() as place:
        folder = GOOD.write_trial(Path(place, "trial"))
        for number, tables in enumerate(files):
            path = Path(place, f"{number}.json")
            path.write_bytes(Good(tables=tables).phone(by=f"P{number}"))  # type: ignore[arg-type]
            merge_files(folder, [path])
            chosen = {one.id: choices[number] for one in kept_documents(folder).conflicts.open if choices[number]}
            merge_files(folder, [], Given(choices=chosen))  # type: ignore[arg-type]
        left = dict(enumerate(files))
        for number in gone:
            if left.pop(number, None) is not None:
                take_back(folder, f"{number}.json", WRONG)
        now = {cell: value for name, rows in record(folder).items() for cell, value in cells_of(name, rows)}
        told: dict[tuple[str, ...], set[str]] = {}
        for tables in left.values():
            for name, rows in tables.items():
                for cell, value in cells_of(name, rows):
                    told.setdefault(cell, set()).add(value)
        assert now.keys() == told.keys()
        assert all(value in told[cell] for cell, value in now.items())
        conflicts = kept_documents(folder).conflicts
        waits = {(one.table, *one.key, one.column, one.returned) for one in conflicts.open}
        decided = {(one.table, *one.key, one.column, one.rejected) for one in conflicts.conflicts}
        assert all(now[one.table, *one.key, one.column] == one.kept for one in conflicts.open)
        assert waits <= {(*cell, value) for cell, values in told.items() for value in values}
        others = {(*cell, value) for cell, values in told.items() for value in values - {now[cell]}}
        assert others <= waits | decided


def cells_of(table: str, rows: Sequence[Mapping[str, str]]) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield cells of rows: table, key, column; and what they say."""
    for row in rows:
        key = [row[name] for name in load_schema(table).primary_key]  # type: ignore[arg-type]
        yield from (((table, *key, column), value) for column, value in row.items())


def test_what_is_kept_of_it(folder: Path) -> None:
    """Who, when and why, the original, and which cells; the tables count as we wrote them."""
    merged(folder, "fern.xlsx", GOOD.workbook())
    merged(folder, "fern.json", other_values(GOOD).phone())
    outcome = take_back(folder, "fern.json", WRONG)
    one = outcome.taken_back
    (kept,) = kept_documents(folder).journal.taken_back
    assert kept == one
    assert (one.name, one.by, one.on, one.why) == (
        "fern.json (by A.B., for FERN)",
        "adviser",
        "2026-10-02",
        "it was of last season",
    )
    bolted = (GOOD.tables["heads"][5]["bucket"], GOOD.tables["heads"][5]["head"])
    assert list(cells_in(one.emptied)) == [("heads", bolted, "note")]
    assert (one.others, one.stayed) == ({}, {})
    assert [(each.returned, each.choice) for each in outcome.closed] == [("150", "taken back")]
    assert (outcome.ok, outcome.conflicts) == (True, ())
    assert (folder / "returned" / one.file).read_bytes() == other_values(GOOD).phone()
    assert not {problem.rule for problem in check_trial(folder).problems} & {"TK-R51", "TK-R59", "TK-R60"}
    alone = GOOD.write_trial(folder.parent / "alone")
    merged(alone, "fern.xlsx", GOOD.workbook())
    for name in TABLES:
        assert (folder / f"{name}.csv").read_bytes() == (alone / f"{name}.csv").read_bytes()


def test_what_was_corrected_or_changed_since_stays_and_is_told(folder: Path) -> None:
    """A correction, one that emptied a cell, and a change by hand; the rest of the row goes."""
    merged(folder, "one.csv", heads("{a},1,2026-08-24,slugs", "{a},2,2026-08-24,limp", "{b},1,2026-08-24,eaten"))
    merged(folder, "two.csv", heads("{a},2,2026-08-24,limp"))
    trial = trialkit.Trial(folder)
    trial.correct(FIRST, 1, why="misheard", note="snails")
    trial.correct(FIRST, 2, why="not so", note="")
    path = folder / "heads.csv"
    path.write_text(path.read_text("utf-8").replace("eaten", "eaten by hares"), "utf-8")
    outcome = take_back(folder, "one.csv", WRONG)
    assert set(cells_in(outcome.taken_back.stayed)) == {
        ("heads", (FIRST, "1"), "note"),
        ("heads", (SECOND, "1"), "note"),
    }
    assert record(folder)["heads"] == [
        {"bucket": FIRST, "head": "1", "note": "snails"},
        {"bucket": FIRST, "head": "2", "transplanted_on": "2026-08-24"},
        {"bucket": SECOND, "head": "1", "note": "eaten by hares"},
    ]
    assert [(one.rule, one.case) for one in check_trial(folder).problems if one.rule == "TK-R60"] == [("TK-R60", "")]
    assert len(kept_documents(folder).corrections.corrections) == 2


@pytest.mark.parametrize("choice", ["kept", "returned"])
@pytest.mark.parametrize("gone", ["one.csv", "two.csv"])
def test_a_choice_that_rested_on_it_counts_no_more(folder: Path, choice: str, gone: str) -> None:
    """What the other file says stands, whichever was chosen; a choice between two that stay is kept."""
    values = {"one.csv": "slugs", "two.csv": "snails"}
    for name, value in values.items():
        merged(folder, name, heads(f"{{a}},1,2026-08-24,{value}"))
    (conflict,) = kept_documents(folder).conflicts.open
    assert merge_files(folder, [], Given(choices={conflict.id: choice})).ok  # type: ignore[dict-item]
    chosen_goes = (choice == "kept") == (gone == "one.csv")
    outcome = take_back(folder, gone, WRONG)
    (other,) = set(values) - {gone}
    assert record(folder)["heads"][0]["note"] == values[other]
    assert [one.choice for one in kept_documents(folder).conflicts.conflicts] == [
        "taken back" if chosen_goes else choice
    ]
    assert (len(outcome.closed), outcome.ok) == (int(chosen_goes), True)
    assert not merge_files(folder, [folder.parent / gone]).conflicts if not chosen_goes else True


def test_a_choice_between_others_is_kept(folder: Path) -> None:
    """Three files, two of which say what was chosen."""
    for name, value in (("one.csv", "slugs"), ("two.csv", "snails"), ("three.csv", "slugs")):
        more = ["{b},1,2026-08-24,"] if name == "three.csv" else []  # else it would be the first file once more
        merged(folder, name, heads(f"{{a}},1,2026-08-24,{value}", *more))
        if name == "two.csv":
            (conflict,) = kept_documents(folder).conflicts.open
            merge_files(folder, [], Given(choices={conflict.id: "kept"}))
    outcome = take_back(folder, "one.csv", WRONG)
    assert record(folder)["heads"][0]["note"] == "slugs"
    assert (outcome.closed, outcome.conflicts) == ((), ())
    take_back(folder, "three.csv", WRONG)
    assert record(folder)["heads"][0]["note"] == "snails"


def test_what_the_table_said_before_any_file_comes_back(folder: Path) -> None:
    """A file's value was chosen against one that somebody had typed, or against a correction."""
    (folder / "heads.csv").write_text(heads("{a},1,2026-08-24,typed", "{a},2,2026-08-24,"))
    trialkit.Trial(folder).correct(FIRST, 2, why="told by telephone", note="corrected")
    merged(folder, "one.csv", heads("{a},1,2026-08-24,slugs", "{a},2,2026-08-24,slugs"))
    choices = {one.id: "returned" for one in kept_documents(folder).conflicts.open}
    assert merge_files(folder, [], Given(choices=choices)).ok  # type: ignore[arg-type]
    assert [row["note"] for row in record(folder)["heads"]] == ["slugs", "slugs"]
    take_back(folder, "one.csv", WRONG)
    assert [row["note"] for row in record(folder)["heads"]] == ["typed", "corrected"]


def test_a_conflict_that_two_returned_waits_on(folder: Path) -> None:
    """With the name of the file alone that still says so."""
    merged(folder, "one.csv", heads("{a},1,2026-08-24,slugs"))
    merged(folder, "two.csv", heads("{a},1,2026-08-24,snails"))
    merged(folder, "three.csv", heads("{a},1,2026-08-24,snails", "{b},1,2026-08-24,"))
    outcome = take_back(folder, "two.csv", WRONG)
    assert [one.returned_by for one in outcome.conflicts] == [("three.csv",)]
    assert not outcome.ok


def test_headings_and_answers_are_those_of_the_merge(folder: Path) -> None:
    """It is read again as it was read: with its own answers, and what headings stand for."""
    text = heads("{a},1,24/08/26,slugs").replace("note", "what else").replace("24/08/26", "03/09/26")
    path = folder.parent / "one.csv"
    path.write_text(text, "utf-8")
    answers = {"dates": "day-first", "accept": LACKS_BUCKETS, "headings": {"what else": "note"}}
    assert trialkit.Trial(folder).merge(path, **answers).ok
    assert trialkit.Trial(folder).take_back("one.csv", why="x").ok
    assert record(folder) == {}


def test_a_wrong_call_changes_nothing(folder: Path) -> None:
    """No such file, several of the name, one that was taken back, no reason; what there is is named."""
    with pytest.raises(WrongCall, match="None was merged yet"):
        take_back(folder, "one.csv", WRONG)
    merged(folder, "one.csv", heads("{a},1,2026-08-24,slugs"))
    merged(folder, "one.csv", heads("{a},2,2026-08-24,slugs"))
    merged(folder, "two.csv", heads("{b},1,2026-08-24,slugs"))
    take_back(folder, "two.csv", WRONG)
    before = contents(folder)
    with pytest.raises(WrongCall, match=r"Several files were merged as .one\.csv.\. .*1 row of heads"):
        take_back(folder, "one.csv", WRONG)
    with pytest.raises(WrongCall, match=r"two\.csv was taken back already, on 2026-10-02: it was of last season"):
        take_back(folder, "two.csv", WRONG)
    with pytest.raises(WrongCall, match=r"Did you mean one\.csv"):
        take_back(folder, "on.csv", WRONG)
    with pytest.raises(WrongCall, match="No file was merged as"):
        take_back(folder, "", WRONG)
    with pytest.raises(WrongCall, match="A reason is needed"):
        Reason(" ", "adviser", WRONG.on)
    assert contents(folder) == before
    first = kept_documents(folder).journal.returns[0].file
    assert isinstance(take_back(folder, first[:8], WRONG), TakeBackOutcome)
    assert [row["head"] for row in record(folder)["heads"]] == ["2"]


def test_an_original_that_is_gone_or_changed_stops_it(folder: Path) -> None:
    """Its own or another's: else what that told could be lost."""
    merged(folder, "one.csv", heads("{a},1,2026-08-24,slugs"))
    merged(folder, "two.csv", heads("{a},1,2026-08-24,slugs", "{b},1,2026-08-24,"))
    original = folder / "returned" / kept_documents(folder).journal.returns[1].file
    data = original.read_bytes()
    for change, said in ((original.unlink, "is gone"), (lambda: original.write_bytes(data + b"\n"), "no longer what")):
        change()
        before = contents(folder)
        with pytest.raises(NotComputed, match=said):
            take_back(folder, "one.csv", WRONG)
        assert contents(folder) == before
    original.write_bytes(data)
    assert take_back(folder, "one.csv", WRONG).ok


def test_documents_of_before_are_read(folder: Path) -> None:
    """A journal that knows nothing of taking back, as trialkit wrote it before."""
    merged(folder, "one.csv", heads("{a},1,2026-08-24,slugs"))
    path = folder / "returned" / "returns.json"
    told = {
        key: item for key, item in json.loads(path.read_text("utf-8")).items() if key not in ("taken_back", "sha256")
    }
    path.write_text(json.dumps(told), "utf-8")
    assert take_back(folder, "one.csv", WRONG).ok
