"""A ledger withstands what is done to it: every change is named, by every command, and branches are merged."""

import hashlib
import json
import shutil
import subprocess
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from commands import DATA_ERROR, DONE, NOT_COMPUTED, WRONG_CALL, run, start
from seasons import ON, accept, new_entry
from trialkit.documents.document import as_data, as_text, from_text
from trialkit.documents.ledger_entry import Began, Manifest, Recommending, SummaryMean
from trialkit.documents.recommended import Recommended
from trialkit.documents.results import Results
from trialkit.evidence import ledger as ledgers
from trialkit.evidence import ledger_index, versions
from trialkit.evidence.ledger import add, document_of, withdraw
from trialkit.evidence.ledger_contents import evidence_digest, read_ledger
from trialkit.evidence.ledger_index import LedgerDamaged, as_line, read_index
from trialkit.evidence.pooling import read_buckets
from trialkit.evidence.summary_results import summary_entry
from trialkit.evidence.verifying import verify
from trialkit.evidence.versions import recommend_anew
from unset_sheets import unset_sheets

Seasons = tuple[Path, tuple[Path, ...]]
COMMANDS = (["evidence", "list", "--ledger"], ["evidence", "pool", "--ledger"], ["recommend"])
MARKS = ("<<<<<<<", "=======", ">>>>>>>")
PAGES = {".gitignore", ".gitattributes", ".ledger.lock"}


@pytest.fixture(scope="module")
def lived(first: tuple[Path, Recommended], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger with a withdrawal, an addition anew and a version: its newest line is a withdrawal."""
    ledger = Path(shutil.copytree(first[0], tmp_path_factory.mktemp("lived") / "ledger"))
    withdraw(ledger, "three", "the wrong nutrient was sold", date(2026, 12, 1))
    return ledger


@pytest.fixture
def copy(lived: Path, tmp_path: Path) -> Path:
    """One that a test may change."""
    return Path(shutil.copytree(lived, tmp_path / "ledger"))


def no_proposal(*_: object) -> None:
    """What costs time, and is not asked here."""


def named(ledger: Path) -> str:
    """What a ledger is told to suffer from."""
    found = verify(ledger)
    return "\n".join([*found.problems, found.copy_problem]).strip()


def files_of(ledger: Path) -> list[Path]:
    """Every file that a ledger stands on."""
    return sorted(path for path in ledger.rglob("*") if path.is_file() and path.name not in PAGES)


def mutations(data: bytes, regions: int) -> Iterator[tuple[str, bytes]]:
    """A file with a bit turned in each region, cut short anywhere, and with lines taken away, doubled and swapped."""
    for place in sorted({*range(0, len(data), max(len(data) // regions, 1)), len(data) - 1}):
        yield f"byte {place}", data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]
        yield f"cut at {place}", data[:place]
    yield "longer by a line", data + b"\n"
    yield "longer by a space", data + b" "
    yield "with carriage returns", data.replace(b"\n", b"\r\n")
    lines = data.splitlines(keepends=True)
    for place in sorted({*range(0, len(lines), max(len(lines) // regions, 1)), len(lines) - 1}):
        before, line, after = lines[:place], lines[place], lines[place + 1 :]
        yield f"without line {place}", b"".join([*before, *after])
        yield f"line {place} twice", b"".join([*before, line, line, *after])
        if after and after[0] != line:
            yield f"line {place} after the next", b"".join([*before, after[0], line, *after[1:]])


def test_every_change_of_every_file_is_named(copy: Path) -> None:
    """Whatever is done to a file, the ledger is not called whole, and the file is named."""
    assert named(copy) == ""
    one = copy / "entries" / read_index(copy).listed[0].id
    tried = {path: 12 for path in files_of(copy) if "entries" not in path.parts}
    tried |= {one / name: 2 for name in ("entry.json", "heads.csv", "buckets.csv", "results.json")}
    missed = []
    for path, regions in tried.items():
        data = path.read_bytes()
        for what, changed in mutations(data, regions):
            if changed != data:
                path.write_bytes(changed)
                if path.name not in named(copy):
                    missed.append(f"{path.relative_to(copy)}: {what}: {named(copy)!r}")
        path.unlink()
        if path.name not in named(copy):
            missed.append(f"{path.relative_to(copy)}: taken away: {named(copy)!r}")
        path.with_name("strange.json").write_bytes(data)
        if path.parent != copy and path.name != "entry.json" and "strange.json" not in named(copy):
            missed.append(f"{path.relative_to(copy)}: under another name: {named(copy)!r}")
        path.with_name("strange.json").rename(path)
    assert missed == []
    assert named(copy) == ""


def reworded(path: Path, old: str, new: str) -> None:
    """Change words in a file that has them."""
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")


def version_of(ledger: Path) -> Path:
    """The file of its one version."""
    return next((ledger / "history").iterdir())


FAULTS: dict[str, tuple[Callable[[Path], object], str]] = {
    "a word of the history": (lambda one: reworded(version_of(one), "Fenleaf", "Larkmoor Butter"), "recommended-0001"),
    "no history": (lambda one: shutil.rmtree(one / "history"), "recommended-0001"),
    "a version forged": (
        lambda one: (one / "history" / "recommended-0002.json").write_bytes(version_of(one).read_bytes()),
        "recommended-0002.json is no version that the index tells of",
    ),
    "the last line lost": (
        lambda one: (one / "index.jsonl").write_bytes(
            b"".join((one / "index.jsonl").read_bytes().splitlines(keepends=True)[:-1])
        ),
        "index.jsonl: the line",
    ),
    "a title of the index": (lambda one: reworded(one / "index.jsonl", "A small trial", "A large trial"), "line 2"),
    "no seal": (lambda one: (one / "seal.txt").unlink(), "seal.txt is missing"),
    "no index": (lambda one: (one / "index.jsonl").unlink(), "index.jsonl is missing"),
    "an older index": (
        lambda one: (one / "index.jsonl").write_text('{"event": "began", "format": "trialkit-ledger-1"}\n', "utf-8"),
        "index.jsonl, line 1",
    ),
    "a deep index": (lambda one: (one / "index.jsonl").write_bytes(b'{"event":' * 200_000), "index.jsonl, line 1"),
    "an index in another encoding": (
        lambda one: (one / "index.jsonl").write_bytes((one / "index.jsonl").read_text("utf-8").encode("utf-16")),
        "index.jsonl, line 1",
    ),
    "an endless index": (lambda one: (one / "index.jsonl").write_bytes(b"\n" * 1_000_000), "more than 20000 lines"),
    "a seal of nonsense": (lambda one: (one / "seal.txt").write_bytes(b"\xff\xfe"), "seal.txt is not as trialkit"),
    "marks of a merge": (
        lambda one: reworded(one / "index.jsonl", '{"event": "withdrawn"', '<<<<<<< HEAD\n{"event": "withdrawn"'),
        "a mark of a merge",
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_every_command_names_it(copy: Path, fault: str) -> None:
    """List, pool and recommend each name the file; nothing is written."""
    spoil, said = FAULTS[fault]
    spoil(copy)
    before = {path: path.read_bytes() for path in files_of(copy)}
    for command in COMMANDS:
        done = run(*command, copy)
        assert done.returncode == (DATA_ERROR if "list" in command else WRONG_CALL)
        assert said in done.stderr
    assert {path: path.read_bytes() for path in files_of(copy)} == before


@unset_sheets()
def test_a_copy_that_was_changed_is_written_anew(copy: Path) -> None:
    """recommended.json is a copy: list and pool name it, recommend says so and puts it right."""
    reworded(copy / "recommended.json", "Fenleaf", "Larkmoor Butter")
    for command in COMMANDS:
        done = run(*command, copy)
        assert "recommended.json was changed" in done.stderr + done.stdout
        assert (done.returncode == DONE) == (command == ["recommend"])
    assert named(copy) == ""


@pytest.mark.parametrize("at", ["copy", "index", "seal", "name"])
def test_recommending_that_was_stopped_leaves_a_whole_ledger(
    copy: Path, first: tuple[Path, Recommended], monkeypatch: pytest.MonkeyPatch, at: str
) -> None:
    """Wherever it is stopped, there is the old version or the new one, and recommending again gives the new one."""
    found, for_copy, write = read_ledger(copy), copy / "recommended.json", versions.write_bytes
    second = replace(
        first[1], version=2, after=(found.versions[0].sha256,), evidence_sha256=evidence_digest(found.index)
    )
    monkeypatch.setattr(versions, "_next_version", lambda *_: second)  # what costs time

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    def stop_at_copy(path: Path, data: bytes) -> None:
        write(path, data) if path != for_copy else stop()

    with monkeypatch.context() as patch:
        where = {"copy": (versions, "write_bytes"), "index": (ledgers, "write_index"), "seal": (ledger_index, "finish")}
        patch.setattr(*where.get(at, (Path, "rename")), stop_at_copy if at == "copy" else stop)
        with pytest.raises(KeyboardInterrupt):
            recommend_anew(copy, "0.1.0", no_proposal)
    assert named(copy) == ""
    assert recommend_anew(copy, "0.1.0", no_proposal).document == second
    assert named(copy) == ""
    assert [one.document.version for one in read_ledger(copy).versions] == [1, 2]
    assert len(list((copy / "history").iterdir())) == 2


def git(folder: Path, *arguments: str, status: int = 0) -> str:
    """Run git in a folder, as nobody in particular."""
    done = subprocess.run(
        ["git", "-c", "user.name=adviser", "-c", "user.email=adviser@example.org", *arguments],
        cwd=folder, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == status, done.stdout + done.stderr
    return done.stdout


@pytest.mark.skipif(shutil.which("git") is None, reason="there is no git")
def test_branches_of_a_ledger_are_merged(seasons: Seasons, tmp_path: Path) -> None:
    """Two branches each add a trial and recommend; merged either way the ledger is whole, and says the same."""
    ledger, trials = tmp_path / "ledger", seasons[1]
    accept(ledger, trials[0])
    one = recommend_anew(ledger, "0.1.0", no_proposal).document
    git(ledger, "init", "-q", "-b", "main")
    for branch, trial in (("left", trials[1]), ("right", trials[2])):
        git(ledger, "add", "-A")
        git(ledger, "commit", "-q", "--allow-empty", "-m", "a step")
        git(ledger, "checkout", "-qb", branch, *(["main"] if branch == "right" else []))
        accept(ledger, trial)
        recommend_anew(ledger, "0.1.0", no_proposal)
        git(ledger, "add", "-A")
        git(ledger, "commit", "-q", "-m", branch)
    said, states = [], []
    for ours, theirs in (("left", "right"), ("right", "left")):
        git(ledger, "checkout", "-q", ours)
        git(ledger, "checkout", "-qb", f"{ours} and {theirs}".replace(" ", "-"))
        git(ledger, "merge", "-q", theirs, status=1)  # recommended.json stays ours, and is to be made anew
        assert git(ledger, "diff", "--name-only", "--diff-filter=U").split() == ["recommended.json"]
        assert named(ledger) == ""
        found = read_ledger(ledger)
        assert [version.document.version for version in found.versions] == [1, 2, 2]
        states.append(read_index(ledger).state)
        three = recommend_anew(ledger, "0.1.0", no_proposal).document
        assert named(ledger) == ""
        assert (three.version, len(three.after), len(three.evidence)) == (3, 2, 3)
        assert three.current.treatment == found.versions[-1].document.recommended.treatment
        said.append((ledger / "recommended.json").read_bytes())
        git(ledger, "add", "-A")
        git(ledger, "commit", "-q", "-m", "merged")
    assert one.after == ()
    assert states[0] == states[1]
    assert said[0] == said[1]


def branches(tmp_path: Path) -> tuple[Path, Path]:
    """Two copies of a small ledger, as two branches of it."""
    base = tmp_path / "left"
    add(base, new_entry("base"), ON)
    return base, Path(shutil.copytree(base, tmp_path / "right"))


def united(ours: Path, theirs: Path) -> None:
    """Do what git does by line: after our lines those of theirs that we lack."""
    for name in ("index.jsonl", "seal.txt"):
        mine, its = ((one / name).read_bytes().splitlines(keepends=True) for one in (ours, theirs))
        (ours / name).write_bytes(b"".join([*mine, *(line for line in its if line not in mine)]))
    shutil.copytree(theirs / "entries", ours / "entries", dirs_exist_ok=True)


@pytest.mark.parametrize("is_ours", [True, False])
def test_a_withdrawal_holds_against_an_addition_that_did_not_know_of_it(tmp_path: Path, is_ours: bool) -> None:
    """One branch withdraws and adds again, the other withdraws: whoever merges whom, the entry is withdrawn."""
    left, right = branches(tmp_path)
    withdraw(left, "base", "a mistake", ON)
    add(left, new_entry("base"), ON)
    withdraw(right, "base", "the wrong nutrient", ON)
    ours, theirs = (left, right) if is_ours else (right, left)
    united(ours, theirs)
    assert named(ours) == ""
    assert [one.why for one in read_index(ours).listed] == ["the wrong nutrient"]
    add(ours, new_entry("base"), ON)
    assert [one.why for one in read_index(ours).listed] == [None]
    assert len(read_index(ours).newest) == 1


def test_two_branches_with_records_of_one_trial_are_asked_about(tmp_path: Path) -> None:
    """Each was alone in its branch; merged, one is to be withdrawn, and then the ledger is whole."""
    left, right = branches(tmp_path)
    add(left, new_entry("one", "x1"), ON)
    two = add(right, new_entry("one", "x2"), ON)
    united(left, right)
    assert "Two entries hold records of the trial “one”" in named(left)
    withdraw(left, two.id, "the later copy", ON)
    assert named(left) == ""


@pytest.mark.skipif(shutil.which("git") is None, reason="there is no git")
def test_a_merge_without_our_attributes_is_told_how_to_end(tmp_path: Path) -> None:
    """Where version control leaves its marks, the lines of both sides are what is wanted."""
    ledger = branches(tmp_path)[0]
    (ledger / ".gitattributes").write_text("* -text\n", "utf-8")
    git(ledger, "init", "-q", "-b", "main")
    for branch in ("left", "right"):
        git(ledger, "add", "-A")
        git(ledger, "commit", "-q", "--allow-empty", "-m", "a step")
        git(ledger, "checkout", "-qb", branch, *(["main"] if branch == "right" else []))
        add(ledger, new_entry(branch), ON)
    git(ledger, "add", "-A")
    git(ledger, "commit", "-q", "-m", "right")
    git(ledger, "merge", "-q", "left", status=1)
    said = named(ledger).splitlines()
    assert sum("a mark of a merge. Keep the lines of both sides" in one for one in said) == 3
    assert any("seal.txt has marks of a merge" in one for one in said)
    for name in ("index.jsonl", "seal.txt"):
        lines = (ledger / name).read_text("utf-8").splitlines(keepends=True)
        (ledger / name).write_text("".join(line for line in lines if line[:7] not in MARKS), "utf-8")
    assert named(ledger) == ""
    assert {one.trial for one in read_index(ledger).listed} == {"base", "left", "right"}


def as_it_was(ledger: Path) -> None:
    """Make a ledger what earlier versions of trialkit wrote: lines not bound, no seal, versions by number."""
    lines = []
    for line in read_index(ledger).lines:
        if not isinstance(line, Recommending):
            plain = replace(line, after=None)
            old = replace(plain, format="trialkit-ledger-1") if isinstance(plain, Began) else plain
            lines.append(as_line(old))
    (ledger / "index.jsonl").write_bytes(b"".join(lines))
    (ledger / "seal.txt").unlink()
    for number, path in enumerate(sorted((ledger / "history").iterdir()), 1):
        document = json.loads(path.read_text("utf-8"))
        del document["after"]
        text = json.dumps(document, indent=1, ensure_ascii=False) + "\n"
        path.unlink()
        (ledger / "history" / f"recommended-{number:04d}.json").write_text(text, "utf-8")
        (ledger / "recommended.json").write_text(text, "utf-8")


def test_a_ledger_of_earlier_versions_is_read_and_bound(copy: Path) -> None:
    """It is read, with a word; the next line binds it from its beginning, its versions too."""
    as_it_was(copy)
    before = list(read_index(copy).listed)
    assert named(copy) == ""
    assert (
        "An older trialkit wrote this ledger without binding its lines"
        in run("evidence", "list", "--ledger", copy).stdout
    )
    document = recommend_anew(copy, "0.1.0", no_proposal).document
    assert document.version == 2
    index = read_index(copy)
    assert index.is_bound
    assert list(index.listed) == before
    assert [one.version for one in index.versions] == [1, 2]
    assert named(copy) == ""
    reworded(copy / "history" / "recommended-0001.json", "Fenleaf", "Larkmoor Butter")
    assert "recommended-0001.json was changed" in named(copy)


def test_an_unbound_history_that_was_cut_is_named(copy: Path) -> None:
    """A version missing before another is named without digests, too."""
    as_it_was(copy)
    path = copy / "history" / "recommended-0001.json"
    path.rename(path.with_name("recommended-0002.json"))
    assert "recommended-0002.json is not version 2 as it was written" in named(copy)


def test_links_are_refused(copy: Path, seasons: Seasons, tmp_path: Path) -> None:
    """A link anywhere in a ledger or a trial, to a file or a folder, is named by whoever reads or writes."""
    one = copy / "entries" / read_index(copy).listed[0].id
    trial = Path(shutil.copytree(seasons[1][0], tmp_path / "trial"))
    commands = (
        *([*command, copy] for command in COMMANDS),
        ["evidence", "withdraw", "two", "--why", "x", "--ledger", copy],
    )
    ours = (one / "heads.csv", one, copy / "entries", copy / "history", copy / "index.jsonl", copy / "recommended.json")
    its = (trial / "heads.csv", trial / "results" / "results.json", trial / "results", trial / "trial.toml")
    of_trial = [[name, trial] for name in ("check", "analyse", "report", "pack", "forms", "layout")]
    of_trial += [["plan", trial], ["evidence", "add", trial, "--ledger", tmp_path / "new"]]
    for path, asked in [*((path, commands) for path in ours), *((path, of_trial) for path in its)]:
        elsewhere = tmp_path / "elsewhere"
        path.rename(elsewhere)
        path.symlink_to(elsewhere)
        for command in asked:
            done = run(*command)
            assert done.returncode in (DATA_ERROR, WRONG_CALL)
            assert f"{path} is a symbolic link" in done.stderr
        path.unlink()
        elsewhere.rename(path)
    (tmp_path / "way").symlink_to(trial)
    assert run("check", tmp_path / "way").returncode == DONE
    assert named(copy) == ""


def test_results_altered_by_hand_are_refused(seasons: Seasons, tmp_path: Path) -> None:
    """Altered, they are told from those that were written; altered with their digest, from what the records give."""
    trial = Path(shutil.copytree(seasons[1][0], tmp_path / "trial"))
    path, ledger = trial / "results" / "results.json", tmp_path / "ledger"
    results = from_text(Results, path.read_text("utf-8"))
    reworded(path, '"verdict": "', '"verdict":  "')  # the same content
    assert run("report", trial).returncode == DONE
    decision = results.decision
    assert decision is not None
    better = replace(decision, recommended=decision.current)
    forged = as_text(replace(results, decision=better))
    path.write_text(forged.replace(json.loads(forged)["sha256"], results.sha256), "utf-8")
    for command in (
        ["report", trial],
        ["report", trial, "--verify"],
        ["pack", trial],
        ["evidence", "add", trial, "--ledger", ledger],
    ):
        done = run(*command)
        assert done.returncode == NOT_COMPUTED
        assert f"{path} was changed since it was written: run trialkit analyse {trial} again." in done.stderr
    path.write_text(forged, "utf-8")
    done = run("evidence", "add", trial, "--ledger", ledger)
    assert done.returncode == WRONG_CALL
    assert "results.json is not what these records give: decision. Nothing was added." in done.stderr
    assert not ledger.exists()


def test_a_report_in_another_encoding_is_named(seasons: Seasons, tmp_path: Path) -> None:
    """Verifying names a page that is no text, and results that are none."""
    trial = Path(shutil.copytree(seasons[1][0], tmp_path / "trial"))
    page, path = trial / "results" / "report.html", trial / "results" / "results.json"
    page.write_bytes(b"\xff\xfe<html>")
    done = run("report", trial, "--verify")
    assert (done.returncode, f"{page} is not what the records give" in done.stderr) == (DATA_ERROR, True)
    path.write_bytes(path.read_text("utf-8").encode("utf-16"))
    done = run("report", trial, "--verify")
    assert (done.returncode, f"{path} is damaged" in done.stderr) == (NOT_COMPUTED, True)


def test_means_of_one_citation_are_asked_about(copy: Path, tmp_path: Path) -> None:
    """A second table with another mean of the same treatment is refused, one of other treatments is taken."""
    header = "citation,season,started_on,cultivar,n_mg_l,acidifier,mean_g,se_g,gardens,buckets\n"
    for name, rows in {
        "old": "An old report,,,Fenleaf,90,,160,7,3,18\n",
        "again": "An old report,,,Fenleaf,90,,140,7,3,18\n",
        "more": "An old report,,,Fenleaf,45,,120,7,3,18\n",
    }.items():
        (tmp_path / f"{name}.csv").write_text(header + rows, "utf-8")
    other = Path(shutil.copytree(copy, tmp_path / "other"))
    assert run("evidence", "add", tmp_path / "old.csv", "--ledger", copy).returncode == DONE
    done = run("evidence", "add", tmp_path / "again.csv", "--ledger", copy)
    assert done.returncode == WRONG_CALL
    assert "A mean of “An old report” is in the ledger already" in done.stderr
    assert "160 g (standard error 7 g) of Fenleaf, 90 mg/L there, 140 g" in done.stderr
    assert run("evidence", "add", tmp_path / "more.csv", "--ledger", copy).returncode == DONE
    add(other, summary_entry(tmp_path / "again.csv"), ON)
    united(copy, other)
    for command in COMMANDS:
        assert "Two entries hold a mean of one treatment of “An old report”" in run(*command, copy).stderr


MARK = "what is put here"
DEEP, HUGE, FAR, NONE = "[" * 50_000 + "]" * 50_000, "9" * 5_000, "1e308", "NaN"
WRONG = {str: ("1", DEEP, HUGE), int: ('"x"', DEEP, HUGE), float: ('"x"', DEEP, HUGE, FAR, NONE), bool: ('"x"', DEEP)}


def spoilt(value: Any, text: Callable[[], str]) -> Iterator[str]:
    """A document with the wrong type, a deep list, a huge number or none at each of its places, and cut short."""
    if isinstance(value, dict | list):
        for key in list(value) if isinstance(value, dict) else range(len(value))[:1]:
            kept = value[key]
            yield from spoilt(kept, text)
            value[key] = MARK
            for wrong in WRONG.get(type(kept), ('"x"', "5", DEEP) if kept is not None else (DEEP,)):
                yield text().replace(f'"{MARK}"', wrong)
            value[key] = kept


@pytest.mark.parametrize("which", ["trial", "means", "version"])
def test_documents_of_a_wrong_shape_are_named(first: tuple[Path, Recommended], tmp_path: Path, which: str) -> None:
    """Whatever stands at any place of a manifest or a version, though its digest is right: the file, no traceback."""
    kind: type[Any] = Manifest
    if which == "version":
        kind, data = Recommended, next((first[0] / "history").iterdir()).read_text("utf-8")
    else:
        entries = [one.folder for one in verify(first[0]).entries]
        data = (entries[0] / "entry.json").read_text("utf-8")
    document = json.loads(data)
    if which == "means":
        row = SummaryMean("A report", "", "", "Fenleaf", 90.0, "none", 160.0, 7.0, None)
        document |= {"kind": "means", "facts": {"means": [as_data(row)]}}
    path = tmp_path / "document.json"
    assert document_of(kind, path, json.dumps(document).encode())
    texts = [*spoilt(document, lambda: json.dumps(document)), data[:-20], "", "[" * 100_000, "null"]
    for text in [text.encode() for text in texts] + [data.encode("utf-16"), b"\xff" + data.encode(), b"\0"]:
        with pytest.raises(LedgerDamaged, match=r"document\.json (is not as trialkit wrote it|was written by another)"):
            document_of(kind, path, text)


@pytest.mark.parametrize(
    "cell",
    [("planned", ""), ("usable", "x"), ("recorded", "9" * 400), ("yield_g", "-1"), ("days", "1e308"), ("n_mg_l", "inf"),
     ("dose_tsp", "x"), ("site", '"'), ("cultivar", '"a\nb"'), ("cultivar", "\udce9")],
)  # fmt: skip
def test_tables_of_buckets_of_a_wrong_shape_are_named(copy: Path, cell: tuple[str, str]) -> None:
    """Of all entries, that one is named whose table cannot be one of trialkit's, though its digest is right."""
    sound, other, *_ = verify(copy).entries
    path = other.folder / "buckets.csv"
    header, row, *rest = path.read_text("utf-8").split("\n")
    cells = row.split(",")
    cells[header.split(",").index(cell[0])] = cell[1]
    data = "\n".join([header, ",".join(cells), *rest]).encode("utf-8", "surrogateescape")
    path.write_bytes(data)
    manifest = replace(other.manifest, files={"buckets.csv": hashlib.sha256(data).hexdigest()})
    with pytest.raises(LedgerDamaged, match=r"buckets\.csv is no table of buckets") as told:
        read_buckets([sound, replace(other, manifest=manifest)])
    assert str(sound.folder) not in str(told.value)


def test_a_process_names_it(copy: Path) -> None:
    """A real one, as a user sees it: exit status, and one line of what is wrong."""
    FAULTS["a deep index"][0](copy)
    done = start("evidence", "list", "--ledger", copy)
    assert done.returncode == DATA_ERROR
    assert "index.jsonl, line 1" in done.stderr
    assert "Traceback" not in done.stderr
