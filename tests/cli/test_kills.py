"""Every command that writes, stopped wherever it may be, leaves old or new, and the next run needs no repair by hand.

Here a few places of each; all of them, and every pair of commands: tests/benchmarks/kills.py.
"""

import os
import resource
import signal
import subprocess
import sys
from errno import ENOSPC, EROFS
from pathlib import Path

import pytest

from commands import DATA_ERROR, DONE, WRONG_CALL, run, start
from kill_sweep import interleaved, sweep_of
from writing_commands import COMMANDS, TOGETHER

SWEPT = ("new", "new here", "set", "demo", "layout", "check", "report", "withdraw", "readmit", "take back", "recommend")
"""Merging, correcting, gardens that join and additions to a ledger have tests of their own; the others write as report
does."""
UNREAD = 141


@pytest.mark.parametrize("name", SWEPT)
def test_stopped_anywhere_a_command_leaves_old_or_new(world: Path, name: str) -> None:
    """By a kill, Ctrl-C, or a disk that is full or read-only; in between only what the next run ends."""
    with sweep_of(world, COMMANDS[name]) as sweep:
        calls = len(sweep.calls)
        assert sweep.killed(max(1, len(sweep.states) // 5)).total() >= 3
        assert sweep.interrupted(calls // 2 + 1).total() >= 1
        assert sweep.refused(ENOSPC, calls // 5 + 1).total() >= 1
        assert sweep.refused(EROFS, calls // 2 + 1).total() >= 1


MEETINGS = {
    "layout and forms": TOGETHER[0][:2],
    "merge and correct": (COMMANDS["merge"], COMMANDS["correct"]),
    "take back and correct": (COMMANDS["take back"], COMMANDS["correct"]),
    "recommend and withdraw": (COMMANDS["recommend"], COMMANDS["withdraw"]),
    "demo twice": (COMMANDS["demo"], COMMANDS["demo"]),
}


@pytest.mark.parametrize("name", MEETINGS)
def test_two_commands_at_once_are_as_if_in_turn(world: Path, name: str) -> None:
    """One does its work within the other, or is told that the other is at work."""
    one, other = MEETINGS[name]
    found = interleaved(world, one, other, 2)
    assert set(found) == {"both", "refused"}


def test_two_processes_start_one_trial(tmp_path: Path) -> None:
    """One starts it, the other is refused, and the folder is whole."""
    words = [sys.executable, "-m", "trialkit", "new", "x", "--example", "spring_dose"]
    both = [subprocess.Popen(words, cwd=tmp_path, stderr=subprocess.PIPE, text=True) for _ in range(2)]
    told = [process.communicate(timeout=120)[1] for process in both]
    assert sorted(process.returncode for process in both) == [DONE, WRONG_CALL], told
    assert "is not empty" in "".join(told)
    assert run("check", tmp_path / "x").returncode == DONE


@pytest.mark.skipif(sys.platform == "win32", reason="limits and signals are those of POSIX")
def test_a_limit_of_the_system_is_told_in_words(tmp_path: Path) -> None:
    """A file may not become as large as it would: nothing is there, and the remedy is."""
    done = subprocess.run(
        [sys.executable, "-m", "trialkit", "new", str(tmp_path / "x"), "--example", "spring_dose"],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (2000, 2000)),
    )
    assert done.returncode == WRONG_CALL
    assert "files may not become so large there, so no file was left half-written" in done.stderr
    assert "then run trialkit new again" in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(sys.platform == "win32", reason="pipes are those of POSIX")
def test_output_that_nobody_reads_ends_quietly(tmp_path: Path) -> None:
    """As by `| head`: exit status 141, without a word; a closed or full output is no traceback either."""
    reading, writing = os.pipe()
    os.close(reading)
    command = [sys.executable, "-m", "trialkit", "new", str(tmp_path / "x"), "--example", "spring_dose"]
    done = subprocess.run(command, stdout=writing, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writing)
    assert (done.returncode, done.stderr) == (UNREAD, "")
    assert run("check", tmp_path / "x").returncode == DONE
    if Path("/dev/full").exists():
        with Path("/dev/full").open("w") as full:
            done = subprocess.run([*command[:3], "schema"], stdout=full, stderr=subprocess.PIPE, text=True, check=False)
        assert done.returncode == WRONG_CALL
        assert "the disk is full" in done.stderr
    done = subprocess.run(["sh", "-c", f'"{sys.executable}" -m trialkit schema >&-'], capture_output=True, check=False)
    assert (done.returncode, done.stderr) == (DONE, b"")


@pytest.mark.skipif(sys.platform == "win32", reason="signals are those of POSIX")
def test_the_system_may_end_it(tmp_path: Path) -> None:
    """SIGTERM is taken as Ctrl-C is, and told as such by the exit status."""
    code = "import os, signal, sys; sys.path[:0] = [{!r}]; from trialkit.cli import main, speaking\n" + (
        "def end(*_, **__): os.kill(os.getpid(), signal.SIGTERM)\n"
        "speaking.tell = end; main(['new', {!r}, '--example', 'spring_dose'])"
    )
    command = [sys.executable, "-c", code.format(str(Path(__file__).parents[2]), str(tmp_path / "x"))]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 128 + signal.SIGTERM
    assert "Stopped. No file is left half-written." in done.stderr


def test_help_says_the_exit_statuses() -> None:
    """All that a script may meet."""
    told = " ".join(run("--help").stdout.split())
    assert DATA_ERROR == 1
    for status in ("130 means that you stopped it by Ctrl-C", "143 that the system did", "141 that nobody read on"):
        assert status in told
    assert start("--version").returncode == DONE
