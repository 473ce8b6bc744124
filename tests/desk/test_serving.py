"""A desk as a process: it listens on this machine alone, ends when told or idle, and a kill leaves old or new."""

from __future__ import annotations

import http.cookiejar
import re
import shutil
import signal
import socket
import time
import urllib.parse
import urllib.request
from pathlib import Path

import pytest

from commands import run
from desk_server import served
from trialkit.protocol.starting import example_folder


class Caller:
    """Who opened a link, over a real connection."""

    def __init__(self, link: str) -> None:
        self.base = link.partition("/open")[0]
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
        self.home = self.opener.open(link, timeout=30).read().decode()

    def post(self, path: str) -> str:
        """Send a button's form; return where it leads."""
        token = re.search(r'name="token" value="(\w+)"', self.home)
        assert token
        data = urllib.parse.urlencode({"token": token[1]}).encode()
        request = urllib.request.Request(self.base + path, data, {"Origin": self.base})
        with self.opener.open(request, timeout=60) as answer:
            return str(answer.url)


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
        caller.post("/close")
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


def test_a_killed_desk_leaves_old_or_new(tmp_path: Path) -> None:
    """Killed in the middle of an analysis; its worker ends with it, and the next command goes on from what is there."""
    trial = tmp_path / "summer"
    shutil.copytree(example_folder("volunteer_cultivars"), trial)
    before = {path.name: path.read_bytes() for path in trial.iterdir() if path.is_file()}
    for moment in (0.3, 2.5):
        with served(tmp_path) as (process, link):
            Caller(link).post("/trial/summer/answer/analyse")
            time.sleep(moment)
            process.kill()
            process.wait(20)
        now = {path.name: path.read_bytes() for path in trial.iterdir() if path.is_file() and path.name in before}
        assert now == before
        assert run("check", trial).returncode == 0
    time.sleep(1.0)
    assert run("analyse", trial).returncode == 0  # no lock is left


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    """In words, with what to do."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        failed = run("desk", tmp_path, "--no-browser", "--port", port)
    assert failed.returncode == 2
    assert f"cannot listen at port {port}" in failed.stderr
