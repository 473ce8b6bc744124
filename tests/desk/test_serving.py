"""A desk as a process: it listens on this machine alone, ends when told or idle, and a kill leaves old or new."""

from __future__ import annotations

import io
import shutil
import signal
import socket
import time
from contextlib import suppress
from pathlib import Path

import pytest

from commands import run
from desk_caller import Caller
from desk_server import served
from returned_files import good_return
from trialkit.protocol.starting import example_folder


def test_it_listens_on_this_machine_alone_and_ends_when_told(tmp_path: Path) -> None:
    """By its button; the port it was given is free again."""
    with served(tmp_path) as (process, link):
        caller = Caller(link)
        assert "There is no trial here yet" in caller.home
        port = int(caller.base.rpartition(":")[2])
        others = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)} - {"127.0.0.1"}
        for address in others:
            with pytest.raises(OSError, match=r"."), socket.create_connection((address, port), timeout=2):
                pass
        caller.send("/close")
        assert process.wait(30) == 0
    with socket.create_server(("127.0.0.1", port)):
        pass


@pytest.mark.parametrize("stop", ["idle", "SIGINT", "SIGTERM"])
def test_it_ends_by_itself_or_by_a_signal(tmp_path: Path, stop: str) -> None:
    """Idle for long enough, or stopped as any command is; without a traceback."""
    options = ("--idle-hours", "0.01") if stop == "idle" else ()
    with served(tmp_path, *options) as (process, link):
        Caller(link)
        if stop != "idle":
            process.send_signal(getattr(signal, stop))
        process.wait(90)
        assert process.stdout is not None
        assert "Traceback" not in process.stdout.read()


def children(process: int) -> set[int]:
    """Processes that one started."""
    found = set()
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):  # it ended meanwhile
            if int(path.read_text().rpartition(")")[2].split()[1]) == process:
                found.add(int(path.parent.name))
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="processes are looked up as on Linux")
def test_a_killed_desk_leaves_old_or_new(tmp_path: Path) -> None:
    """Killed in the middle of an analysis; its worker ends with it, and the next command goes on from what is there."""
    trial = tmp_path / "summer"
    shutil.copytree(example_folder("volunteer_cultivars"), trial)
    before = {path.name: path.read_bytes() for path in trial.iterdir() if path.is_file()}
    for moment in (0.3, 2.5):
        with served(tmp_path) as (process, link):
            Caller(link).send("/trial/summer/answer/analyse")
            time.sleep(moment)
            workers = children(process.pid)
            assert workers
            process.kill()
            process.wait(20)
        until = time.monotonic() + 60
        while any(Path(f"/proc/{one}").exists() for one in workers):
            assert time.monotonic() < until, "a worker outlived its desk"
            time.sleep(0.05)
        now = {path.name: path.read_bytes() for path in trial.iterdir() if path.is_file() and path.name in before}
        assert now == before
        assert run("check", trial).returncode == 0
    assert run("analyse", trial).returncode == 0  # no lock is left


def test_a_browser_that_closes_loses_nothing(tmp_path: Path) -> None:
    """In an upload, which then never came; in long work, which goes on. Were the desk killed then, another has all."""
    good = good_return()
    folder = good.write_trial(tmp_path / "fern")
    drop = "/trial/fern/post/drop"
    with served(tmp_path) as (process, link):
        caller = Caller(link)
        host = caller.base.removeprefix("http://")
        with socket.create_connection(("127.0.0.1", int(host.rpartition(":")[2]))) as closing:
            closing.sendall(f"POST {drop} HTTP/1.1\r\nHost: {host}\r\nContent-Length: 9000000\r\n\r\n--half".encode())
        assert caller.send(drop, {"files": [(io.BytesIO(good.csv().encode()), "heads.csv")]})[0] == 303
        status, job = caller.send("/trial/fern/check")
        assert (status, job[:5]) == (303, "/job/")
        later = Caller(link)  # the link opens the desk again
        assert f'href="{job}"' in later.home or "working" not in later.page(f"{job}/state")
        assert later.wait(job) == "done"
        assert (folder / "results" / "check.html").is_file()
        process.kill()
        process.wait(20)
    with served(tmp_path) as (_, link):
        page = Caller(link).page("/trial/fern/post/")
    assert "heads.csv" in page
    assert page.count("<article") == 1


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    """In words, with what to do."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        failed = run("desk", tmp_path, "--no-browser", "--port", port)
    assert failed.returncode == 2
    assert f"cannot listen at port {port}" in failed.stderr
