"""A ledger withstands what is done to it: every change is named, by every command, and branches are merged."""

import hashlib
import json
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest

from commands import DATA_ERROR, DONE, WRONG_CALL, run, start
from seasons import ON, accept
from trialkit.documents.recommended import Recommended
from trialkit.evidence.ledger import add, withdraw
from trialkit.evidence.ledger_contents import read_ledger
from trialkit.evidence.ledger_index import read_index
from trialkit.evidence.verifying import verify
from trialkit.evidence.versions import pool_now, recommend_anew
from trialkit.planning.next_trial import propose

Seasons = tuple[Path, tuple[Path, ...]]
COMMANDS = (["evidence", "list", "--ledger"], ["evidence", "pool", "--ledger"], ["recommend"])
PAGES = {".gitignore", ".gitattributes", ".ledger.lock"}


@pytest.fixture(scope="module")
def lived(seasons: Seasons, first: tuple[Path, Recommended], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger with a withdrawal, an addition anew and a version: its newest line is a withdrawal."""
    ledger = Path(shutil.copytree(first[0], tmp_path_factory.mktemp("lived") / "ledger"))
    withdraw(ledger, "three", "the wrong nutrient was sold", date(2026, 12, 1))
    return ledger


@pytest.fixture
def copy(lived: Path, tmp_path: Path) -> Path:
    """One that a test may change."""
    return Path(shutil.copytree(lived, tmp_path / "ledger"))


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
        if path.parent != copy and "strange.json" not in named(copy):
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


def test_a_copy_that_was_changed_is_written_anew(copy: Path) -> None:
    """recommended.json is a copy: list and pool name it, recommend says so and puts it right."""
    reworded(copy / "recommended.json", "Fenleaf", "Larkmoor Butter")
    for command in COMMANDS:
        done = run(*command, copy)
        assert "recommended.json was changed" in done.stderr + done.stdout
        assert (done.returncode == DONE) == (command == ["recommend"])
    assert named(copy) == ""


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
    one = recommend_anew(ledger, "0.1.0", propose).document
    git(ledger, "init", "-q", "-b", "main")
    for branch, trial in (("left", trials[1]), ("right", trials[2])):
        git(ledger, "add", "-A")
        git(ledger, "commit", "-q", "--allow-empty", "-m", "a step")
        git(ledger, "checkout", "-q", "-b", branch, "main") if branch == "right" else git(
            ledger, "checkout", "-qb", branch
        )
        accept(ledger, trial)
        recommend_anew(ledger, "0.1.0", propose)
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
        three = recommend_anew(ledger, "0.1.0", propose).document
        assert named(ledger) == ""
        assert (three.version, len(three.after), len(three.evidence)) == (3, 2, 3)
        assert three.current.treatment == found.versions[-1].document.recommended.treatment
        said.append((ledger / "recommended.json").read_bytes())
        git(ledger, "add", "-A")
        git(ledger, "commit", "-q", "-m", "merged")
    assert one.after == ()
    assert states[0] == states[1]
    assert said[0] == said[1]
