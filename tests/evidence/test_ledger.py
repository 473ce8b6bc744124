"""The ledger: nothing is lost or silently replaced, and what was changed is found."""

import json
import os
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from contents import contents
from seasons import ON, accept, new_entry
from trialkit.documents.ledger_entry import Added
from trialkit.domain.errors import WrongCall
from trialkit.evidence import ledger as ledgers
from trialkit.evidence import ledger_index
from trialkit.evidence.ledger import add, find, open_entry, readmit, withdraw
from trialkit.evidence.ledger_index import LedgerDamaged, grown, read_index, write_index
from trialkit.evidence.verifying import verify

Seasons = tuple[Path, tuple[Path, ...]]


@pytest.fixture
def copy(seasons: Seasons, tmp_path: Path) -> Path:
    """A ledger that a test may change."""
    return Path(shutil.copytree(seasons[0], tmp_path / "ledger"))


def test_an_entry_is_what_was_put_there(seasons: Seasons) -> None:
    """Every file of the trial and its results stand in the entry, byte for byte, under the digest of its manifest."""
    ledger, trials = seasons
    index = read_index(ledger).listed
    assert [one.trial for one in index] == ["one", "two", "three"]
    assert verify(ledger).problems == ()
    entry = open_entry(ledger, index[0])
    for name in ("trial.toml", "heads.csv", "layout.csv", "sites.csv", "products.csv"):
        assert entry.read(name) == (trials[0] / name).read_bytes()
    assert entry.read("results.json") == (trials[0] / "results" / "results.json").read_bytes()
    assert "trialkit" in entry.of_trial.made_with


def test_the_same_records_are_refused(seasons: Seasons, copy: Path) -> None:
    """Neither the same trial twice, nor other records of a trial that counts; the index stays as it was."""
    before = (copy / "index.jsonl").read_bytes()
    with pytest.raises(WrongCall, match="in the ledger already"):
        accept(copy, seasons[1][0])
    with pytest.raises(WrongCall, match="Other records of the trial “one”"):
        add(copy, new_entry("one"), ON)
    assert (copy / "index.jsonl").read_bytes() == before
    assert len(list((copy / "entries").iterdir())) == 3


def test_a_withdrawn_entry_stays_and_can_come_back(seasons: Seasons, copy: Path) -> None:
    """Withdrawing marks it with the reason; adding the same again counts it again; both are in the index."""
    one = withdraw(copy, "one", "the wrong\n nutrient was sold", date(2026, 12, 1))
    assert (one.withdrawn_on, one.why, one.counts) == ("2026-12-01", "the wrong nutrient was sold", False)
    assert read_index(copy).listed[0] == one
    assert (copy / "entries" / one.id / "heads.csv").is_file()
    with pytest.raises(WrongCall, match="withdrawn already"):
        withdraw(copy, one.id[:8], "again", ON)
    assert accept(copy, seasons[1][0], date(2026, 12, 2)).id == one.id
    assert read_index(copy).listed[0].counts
    lines = (copy / "index.jsonl").read_text("utf-8").splitlines()
    assert [json.loads(line)["event"] for line in lines] == ["began", *["added"] * 3, "withdrawn", "added"]
    assert verify(copy).problems == ()


def test_a_withdrawn_entry_is_readmitted(copy: Path) -> None:
    """It counts again, by a line with the reason; what rivals it meanwhile is refused; its files are looked at."""
    one = withdraw(copy, "one", "the wrong nutrient was sold", ON)
    entries = contents(copy / "entries")
    back = readmit(copy, "one", " the label\nwas right ", date(2026, 12, 2))
    assert (back.id, back.counts) == (one.id, True)
    assert read_index(copy).listed[0] == back
    assert contents(copy / "entries") == entries
    assert verify(copy).problems == ()
    line = json.loads((copy / "index.jsonl").read_text("utf-8").splitlines()[-1])
    assert (line["event"], line["on"], line["why"]) == ("readmitted", "2026-12-02", "the label was right")
    with pytest.raises(WrongCall, match="counts: it was added on"):
        readmit(copy, "one", "again", ON)
    withdraw(copy, "one", "other records take its place", ON)
    assert not read_index(copy).listed[0].counts
    add(copy, new_entry("one"), ON)
    with pytest.raises(WrongCall, match="Other records of the trial “one”"):
        readmit(copy, one.id[:8], "these after all", ON)
    withdraw(copy, "two", "x", ON)
    (copy / "entries" / read_index(copy).listed[1].id / "entry.json").write_text("{}")
    with pytest.raises(LedgerDamaged, match=r"entry\.json was changed"):
        readmit(copy, "two", "y", ON)


def test_a_readmission_holds_against_the_withdrawals_that_it_knew(copy: Path, tmp_path: Path) -> None:
    """On another branch the entry was withdrawn once more: that holds, in whichever order the lines are merged."""
    withdraw(copy, "one", "x", ON)
    other = Path(shutil.copytree(copy, tmp_path / "other"))
    readmit(copy, "one", "y", ON)
    readmit(other, "one", "z", ON)
    withdraw(other, "one", "for good", ON)
    lines = [(folder / "index.jsonl").read_text("utf-8").splitlines() for folder in (copy, other)]
    for mine, theirs in (lines, lines[::-1]):
        merged = list(dict.fromkeys((*mine, *theirs)))
        (copy / "index.jsonl").write_text("\n".join(merged) + "\n", "utf-8")
        (copy / "seal.txt").write_text("".join(f"{json.loads(one[-1])['line_sha256']}\n" for one in lines), "utf-8")
        assert read_index(copy).listed[0].why == "for good"


def test_a_reason_and_a_name_are_asked_for(copy: Path) -> None:
    """No reason, no such entry, too few figures: each is said, and nothing is written."""
    before = (copy / "index.jsonl").read_bytes()
    for start, why, said in (
        ("one", " \n", "Say why"),
        ("nine", "x", "No entry is called 'nine'"),
        ("", "x", "No entry"),
    ):
        with pytest.raises(WrongCall, match=said):
            withdraw(copy, start, why, ON)
    assert find(copy, read_index(copy).listed[1].id[:6]).trial == "two"
    assert (copy / "index.jsonl").read_bytes() == before


def test_damage_is_named(copy: Path) -> None:
    """A changed byte, a missing file, a strange one, a changed manifest and an entry without a line are each found."""
    first, second, third = (copy / "entries" / one.id for one in read_index(copy).listed)
    data = bytearray((first / "heads.csv").read_bytes())
    data[100] ^= 1
    (first / "heads.csv").write_bytes(data)
    (second / "sites.csv").unlink()
    (second / "more.csv").write_text("x")
    (third / "entry.json").write_text((third / "entry.json").read_text("utf-8") + " ", "utf-8")
    (copy / "entries" / "0123").mkdir()
    found = "\n".join(verify(copy).problems)
    for said in (
        "heads.csv was changed",
        "sites.csv is missing",
        "more.csv does not belong",
        "0123 is not in the index",
    ):
        assert said in found
    assert f"{third.name}/entry.json was changed" in found.replace(os.sep, "/")
    assert len(verify(copy).problems) == 5


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("spring 2026", "spring 2025", 1),
        lambda text: text.replace('"added"', '"removed"', 1),
        lambda text: text[:-20],
        lambda text: text + "{}\n",
        lambda text: text + "\u0000\n",
        lambda text: text + "[1]\n",
    ],
)
def test_a_changed_index_is_refused(copy: Path, change: object) -> None:
    """A line that is not as it was written is named by its number."""
    path = copy / "index.jsonl"
    path.write_text(change(path.read_text("utf-8")), "utf-8")  # type: ignore[operator]
    with pytest.raises(LedgerDamaged, match=r"line \d"):
        read_index(copy)


def test_an_index_cannot_lead_out_of_the_ledger(copy: Path, tmp_path: Path) -> None:
    """A line whose identity is a path, and a manifest that names one, are refused, though their digests are right."""
    (tmp_path / "secret.txt").write_text("x")
    index = read_index(copy)
    one = next(line for line in index.lines if isinstance(line, Added))

    def forge(name: str, manifest: bytes) -> None:
        """A line whose digests are all right, and an entry for it."""
        (copy / "entries" / name).mkdir(exist_ok=True)
        (copy / "entries" / name / "entry.json").write_bytes(manifest)
        write_index(copy, grown(index, [replace(one, id=name)]))

    forge("../../" + "0" * 26, b"")
    with pytest.raises(LedgerDamaged, match="line 5"):
        read_index(copy)
    manifest = json.loads((copy / "entries" / one.id / "entry.json").read_text("utf-8"))
    manifest["files"]["../../../secret.txt"] = ledgers._digest(b"x")
    data = json.dumps(manifest).encode()
    forge(ledgers._digest(data)[:32], data)
    with pytest.raises(LedgerDamaged, match="names a file"):
        open_entry(copy, read_index(copy).listed[-1])
    data = data.replace(b'"files"', b'"fires"')
    forge(ledgers._digest(data)[:32], data)
    with pytest.raises(LedgerDamaged, match="not as trialkit wrote it: damaged at files"):
        open_entry(copy, read_index(copy).listed[-1])


def test_what_is_no_ledger(tmp_path: Path) -> None:
    """A folder without an index is none, and one with other things in it does not become one."""
    with pytest.raises(WrongCall, match="is no ledger"):
        read_index(tmp_path)
    (tmp_path / "holiday.txt").write_text("x")
    with pytest.raises(WrongCall, match="something else already"):
        add(tmp_path, new_entry("one"), ON)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["holiday.txt"]
    link = tmp_path / "link"
    link.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(WrongCall, match="ordinary folder"):
        add(link, new_entry("one"), ON)


ADDER = """
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from trialkit.documents.ledger_entry import Added, TrialFacts
from trialkit.evidence.ledger import NewEntry, add
for i in range(int(sys.argv[3])):
    name = f"{sys.argv[2]}-{i}"
    facts = TrialFacts({}, None, (), None)
    entry = NewEntry("trial", name, "", "", "", 1, 1, 1, {"a": name.encode()}, {}, facts)
    add(Path(sys.argv[1]), entry, date(2026, 1, 1))
"""


def test_two_processes_add_at_once(tmp_path: Path) -> None:
    """Nothing that either adds is lost, and the index is whole."""
    ledger = tmp_path / "ledger"
    adders = [subprocess.Popen([sys.executable, "-c", ADDER, str(ledger), name, "12"]) for name in ("left", "right")]
    assert [one.wait() for one in adders] == [0, 0]
    names = {one.trial for one in read_index(ledger).listed}
    assert names == {f"{name}-{i}" for name in ("left", "right") for i in range(12)}
    assert verify(ledger).problems == ()


STOPS = {
    "file": (ledgers, "write_bytes", ["one"]),
    "index": (ledgers, "write_index", ["one"]),
    "seal": (ledger_index, "finish", ["one", "two"]),
    "name": (Path, "rename", ["one", "two"]),
}


@pytest.mark.parametrize("at", STOPS)
def test_an_interrupt_leaves_the_ledger_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: str) -> None:
    """Stopped anywhere, a ledger is as before or as after, whole, and adding goes on from there."""
    ledger = tmp_path / "ledger"
    add(ledger, new_entry("one"), ON)
    where, what, left = STOPS[at]

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(where, what, stop)
        with pytest.raises(KeyboardInterrupt):
            add(ledger, new_entry("two", "y"), ON)
    assert [one.trial for one in read_index(ledger).listed] == left
    assert verify(ledger).problems == ()
    if left == ["one"]:
        add(ledger, new_entry("two", "y"), ON)
    add(ledger, new_entry("three", "z"), ON)
    assert [one.trial for one in read_index(ledger).listed] == ["one", "two", "three"]
    assert verify(ledger).problems == ()
    assert sorted(path.name for path in ledger.rglob(".*")) == [".gitattributes", ".gitignore", ".ledger.lock"]
    assert len(list((ledger / "entries").iterdir())) == 3


def test_results_of_other_records_are_refused(seasons: Seasons, tmp_path: Path) -> None:
    """Where a table changed since the analysis, it is named and nothing is added."""
    folder = Path(shutil.copytree(seasons[1][0], tmp_path / "trial"))
    path = folder / "heads.csv"
    path.write_text(path.read_text("utf-8").rstrip("\n") + "\n\n", "utf-8")
    with pytest.raises(WrongCall, match=r"heads.csv changed"):
        accept(tmp_path / "ledger", folder)
    assert not (tmp_path / "ledger").exists()
