"""A merge that is killed at any instant leaves the old tables or the new ones, and no reader sees a mixture."""

import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from filelock import FileLock

import merge_crash_points
from contents import contents
from returned_files import good_return, other_values
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.returns.merge_files import merge_files
from trialkit.rules.trial_folder import CheckResult, check_trial
from trialkit.tables.committing import COMMITTED, LOCK, STAGING, at_work, commit

CHANGED = ("heads.csv", "solution.csv", "visits.csv", "returned/returns.json", "returned/conflicts.json")
State = dict[str, bytes]


def left_behind(folder: Path) -> tuple[object, ...]:
    """Return all that a killed process leaves in a folder, empty folders and permissions too."""
    return tuple(
        (str(path.relative_to(folder)), path.stat().st_mode, path.read_bytes() if path.is_file() else None)
        for path in sorted(folder.rglob("*"))
    )


def tables(folder: Path) -> State:
    """Return what a reader reads."""
    return {name: (folder / name).read_bytes() for name in CHANGED if (folder / name).exists()}


@pytest.fixture(scope="module")
def crashes(tmp_path_factory: pytest.TempPathFactory) -> tuple[State, State, list[Path], Path]:
    """A merge that changes every table, killed at each call: the folder before and after, the copies, the file."""
    base = tmp_path_factory.mktemp("crash")
    good = good_return()
    folder = good.write_trial(base / "trial")
    (base / "first.csv").write_text("\n".join(good.csv().splitlines()[:3]), encoding="utf-8")
    assert not merge_files(folder, [base / "first.csv"]).ok  # buckets are missing
    (base / "first.csv").write_text(good.csv(), encoding="utf-8")
    assert merge_files(folder, [base / "first.csv"]).ok
    file = base / "second.json"
    file.write_bytes(other_values(good).phone())
    into = base / "copies"
    into.mkdir()
    run = subprocess.run(
        [sys.executable, merge_crash_points.__file__, folder, into, file], capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stderr
    copies = [into / str(number) for number in range(int(run.stdout) + 1)]
    before, after = contents(folder), contents(copies[-1])
    for name in CHANGED:
        assert before.get(name) != after[name], name
    return before, after, copies, file


def test_killed_anywhere_the_tables_are_old_or_new(crashes: tuple[State, State, list[Path], Path]) -> None:
    """The next merge finds all tables, journal, conflicts and originals old or all new, and clears up the rest."""
    before, after, copies, file = crashes
    found: list[str] = []
    met: dict[tuple[object, ...], str] = {}
    for number, copy in enumerate(copies):
        left = left_behind(copy)
        if left in met and number % 8:  # killed at a call that leaves nothing else behind
            found.append(met[left])
            continue
        folder = Path(shutil.copytree(copy, copy.with_name(f"{copy.name}-next")))
        merge_files(folder)
        met[left] = "new" if contents(folder) == after else "old" if contents(folder) == before else "mixed"
        found.append(met[left])
        assert not (folder / STAGING).exists()
        assert not (folder / COMMITTED).exists()
        if number % 8 == 0:
            merge_files(folder, [file])
            assert contents(folder) == after
    assert set(found) == {"old", "new"}
    assert len(found) > 40
    assert found == sorted(found, reverse=True), "once new, always new"


def test_killed_anywhere_a_reader_sees_old_or_new_or_is_told(crashes: tuple[State, State, list[Path], Path]) -> None:
    """Check reads old tables or new ones; in between it reads none, and says how to go on."""
    before, after, copies, _ = crashes
    told = 0
    for copy in {left_behind(copy): copy for copy in copies}.values():
        rules = {problem.rule for problem in check_trial(copy).errors}
        if rules == {"TK-R55"}:
            told += 1
            continue
        assert "TK-R55" not in rules
        assert tables(copy) in ({name: before[name] for name in before if name in CHANGED},
                                {name: after[name] for name in CHANGED})  # fmt: skip
    assert told > 5


def test_a_reader_beside_merges_never_sees_a_mixture(crashes: tuple[State, State, list[Path], Path]) -> None:
    """While another thread puts old and new tables in place in turn, check sees one or the other or is told."""
    before, after, copies, _ = crashes
    folder = Path(shutil.copytree(copies[0], copies[0].with_name("beside")))
    versions = [{name: after[name] for name in CHANGED}]
    versions.append({name: before.get(name, after[name] + b" ") for name in CHANGED})
    versions[1]["solution.csv"] = b"bucket,measured_on\n"
    versions[1]["visits.csv"] = b"site,visited_on\n"
    for number, version in enumerate(versions):  # an open conflict would be an error of its own
        version["returned/conflicts.json"] = b'{"format": "trialkit-conflicts-1", "conflicts": []}' + b" " * number
    stop = threading.Event()
    seen: list[CheckResult] = []
    commit(folder, versions[0])

    def write() -> None:
        turn = 0
        while not stop.is_set():
            commit(folder, versions[turn % 2])
            turn += 1
            # The second check from here begins after this commit and ends before the next; the others may meet one.
            enough = len(seen) + 2
            while len(seen) < enough and not stop.is_set():
                time.sleep(0.001)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        # A check that is told of an unfinished commit returns at once: a slow disk lets many of these go by in one.
        last = time.monotonic() + 120
        while len(seen) < 25 or (not any(result.trial for result in seen) and time.monotonic() < last):
            seen.append(check_trial(folder))
    finally:
        stop.set()
        writer.join()
    read = {(len(result.trial.solution), len(result.trial.visits)) for result in seen if result.trial is not None}
    assert read
    assert read <= {(8, 2), (0, 0)}


def test_two_merges_at_once_wait(tmp_path: Path) -> None:
    """A merge waits for another, and says so when that does not end."""
    folder = good_return().write_trial(tmp_path / "trial")
    told = pytest.raises(WrongCall, match="Another trialkit command is at work")
    with FileLock(folder / LOCK), told, at_work(folder, timeout_s=0.1):
        pass


@pytest.mark.parametrize("name", ["../outside.csv", "returned/../../x", "/etc/passwd", "a/b/c/d", ".hidden"])
def test_nothing_is_written_elsewhere(tmp_path: Path, name: str) -> None:
    """A manifest that names a file elsewhere is refused, and so is a commit of it."""
    folder = good_return().write_trial(tmp_path / "trial")
    with pytest.raises(NotComputed):
        commit(folder, {name: b"x"})
    (folder / COMMITTED).mkdir()
    (folder / COMMITTED / "0.part").write_bytes(b"x")
    manifest = f'{{"files": [{{"name": "{name}", "part": "0.part", "sha256": "", "before": null}}]}}'
    (folder / COMMITTED / "manifest.json").write_text(manifest)
    with pytest.raises(NotComputed):
        merge_files(folder)
    assert not (tmp_path / "outside.csv").exists()


def test_a_folder_of_originals_that_leads_elsewhere_is_refused(tmp_path: Path) -> None:
    """Originals are not written through a link."""
    folder = good_return().write_trial(tmp_path / "trial")
    (tmp_path / "elsewhere").mkdir()
    (folder / "returned").symlink_to(tmp_path / "elsewhere")
    (tmp_path / "heads.csv").write_text(good_return().csv(), encoding="utf-8")
    with pytest.raises(WrongCall, match="ordinary folder"):
        merge_files(folder, [tmp_path / "heads.csv"])
    assert list((tmp_path / "elsewhere").iterdir()) == []
    assert not (folder / "heads.csv").exists()
