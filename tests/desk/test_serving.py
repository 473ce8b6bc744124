"""A desk as a process: it listens on this machine alone, ends when told or idle, and a kill leaves old or new."""

from __future__ import annotations

import errno
import io
import shutil
import signal
import socket
import time
import urllib.parse
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from commands import run
from desk_caller import Caller
from desk_server import served
from returned_files import good_return
from trialkit.cli.main import group
from trialkit.desk.application import MOST_BYTES
from trialkit.desk.opening import ARGUMENTS_ARE_PRIVATE
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


LARGE = 200 << 20


def _answered(base: str, heading: str, *, body: bytes = b"", most: int = 4096) -> str:
    """Send a heading and so much of a body, and return what is answered, before any more is sent."""
    host, _, port = base.removeprefix("http://").partition(":")
    with socket.create_connection((host, int(port)), timeout=30) as line:
        line.sendall(f"{heading}\nConnection: close\n\n".replace("\n", "\r\n").encode())
        with suppress(BrokenPipeError, ConnectionResetError):
            line.sendall(body)
        found = b""
        while len(found) < most and (data := line.recv(4096)):
            found += data
    return found.decode("utf-8", "replace")


@pytest.mark.parametrize("host", ["ours", "evil.example"])
@pytest.mark.parametrize("length", [f"Content-Length: {LARGE}", "Content-Length: 9", "Transfer-Encoding: chunked"])
def test_no_byte_of_a_body_is_taken_from_a_stranger(tmp_path: Path, host: str, length: str) -> None:
    """The answer comes after the heading: what is never received fills no disk, however large it is."""
    with served(tmp_path) as (_, link):
        base = link.partition("/open")[0]
        named = base.removeprefix("http://") if host == "ours" else host
        for cookie in ("", "\nCookie: desk=x"):
            told = _answered(base, f"POST /county/ HTTP/1.1\nHost: {named}\nOrigin: {base}\n{length}{cookie}")
            assert told.startswith("HTTP/1.1 400")
            assert "takes nothing from strangers" in told
        assert "There is no trial here yet" in Caller(link).home


def test_what_is_too_large_is_told_to_who_was_let_in(tmp_path: Path) -> None:
    """In words of ours, once it is there; what no form could hold is not received at all."""
    with served(tmp_path) as (_, link):
        caller = Caller(link)
        cookie = "; ".join(f"{one.name}={one.value}" for one in caller.jar)
        mine = f"Host: {caller.base.removeprefix('http://')}\nOrigin: {caller.base}\nCookie: {cookie}"
        kind = "Content-Type: multipart/form-data; boundary=x"
        size = MOST_BYTES + 1
        told = _answered(
            caller.base, f"POST /county/ HTTP/1.1\n{mine}\n{kind}\nContent-Length: {size}", body=b"x" * size
        )
        assert told.startswith("HTTP/1.1 413")
        assert "at most 64 MB at once" in told
        told = _answered(caller.base, f"POST /county/ HTTP/1.1\n{mine}\n{kind}\nContent-Length: {1 << 40}")
        assert told.startswith("HTTP/1.1 413")


@pytest.mark.skipif(ARGUMENTS_ARE_PRIVATE, reason="the browser is given the link where nobody sees it")
def test_the_secret_is_in_no_list_of_processes(tmp_path: Path, browser: Any) -> None:
    """The browser is started on a private page, which leads on; the page is gone once it did. Twice is no less good."""
    record = tmp_path / "record"
    program = tmp_path / "browser"
    program.write_text(f'#!/bin/sh\necho "$1" > "{record}.new" && mv "{record}.new" "{record}"\n')
    program.chmod(0o755)
    folder = tmp_path / "trials"
    folder.mkdir()
    with served(folder, browser=program) as (_, link):
        until = time.monotonic() + 60
        while not record.exists() and time.monotonic() < until:
            time.sleep(0.05)
        address = record.read_text().strip()
        key = link.partition("key=")[2]
        assert key not in address
        page = Path(urllib.parse.unquote(address.removeprefix("file://")))
        assert key in page.read_text()
        assert page.parent.stat().st_mode & 0o077 == 0
        assert page.is_relative_to(folder)
        context = browser.new_context()
        window = context.new_page()
        window.goto(address)
        window.wait_for_url(f"{link.partition('/open')[0]}/")
        assert "There is no trial here yet" in window.inner_text("main")
        context.close()
        until = time.monotonic() + 60
        while page.parent.exists() and time.monotonic() < until:
            time.sleep(0.05)
        assert list(folder.iterdir()) == []
        assert "There is no trial here yet" in Caller(link).home


def test_what_fails_while_it_serves_is_no_fault_of_the_port(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is told as what it is."""

    def fail(*_: object, **__: object) -> None:
        raise OSError(errno.EMFILE, "Too many open files")

    monkeypatch.setattr("trialkit.desk.serving.serve", fail)
    failed = CliRunner().invoke(group, ["desk", str(tmp_path), "--no-browser"])
    assert failed.exit_code == 2
    assert "too many files are open" in failed.output
    assert "port" not in failed.output


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    """In words, with what to do."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        failed = run("desk", tmp_path, "--no-browser", "--port", port)
    assert failed.returncode == 2
    assert f"cannot listen at port {port}" in failed.stderr
