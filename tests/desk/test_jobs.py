"""Deeds in processes of their own: what they say, that they can be stopped, and what is left when they are."""

from __future__ import annotations

import errno
import multiprocessing
import time
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from desk_deeds import count, fall, fill_the_disk, refuse, sleep
from desk_visitor import Visitor, told
from trialkit.desk.deeds import Deed
from trialkit.desk.jobs import Job, Jobs
from trialkit.languages import speaking


def _wait(jobs: Jobs, job: Job, seconds: float = 60.0) -> Job:
    until = time.monotonic() + seconds
    while (now := jobs.get(job.id)) is not None and now.state == "working" and time.monotonic() < until:
        time.sleep(0.02)
    assert now is not None
    return now


def _deed(run: object) -> Deed:
    return Deed("A deed", (("check", "spring"),), run)  # type: ignore[arg-type]


def test_what_a_job_says() -> None:
    """How far it is; that it is done; what went wrong, in words; a bug is no word of ours, but an end."""
    jobs = Jobs()
    done = _wait(jobs, jobs.start(_deed(count), "/"))
    assert (done.state, done.doing, done.done, done.of) == ("done", "counting", 2, 3)
    refused = _wait(jobs, jobs.start(_deed(refuse), "/"))
    assert refused.state == "failed"
    assert refused.trouble is not None
    assert refused.trouble.sentences == ("This cannot be.",)
    with speaking("es"):
        full = _wait(jobs, jobs.start(_deed(fill_the_disk), "/"))
    assert full.trouble is not None
    assert full.trouble.sentences[0].startswith("heads.csv: el disco está lleno")
    fallen = _wait(jobs, jobs.start(_deed(fall), "/"))
    assert fallen.state == "failed"
    assert not jobs.working()


def test_a_job_can_be_stopped(tmp_path: Path) -> None:
    """At once, wherever it is."""
    jobs, mark = Jobs(), tmp_path / "mark"
    job = jobs.start(_deed(partial(sleep, mark)), "/")
    until = time.monotonic() + 60
    while not mark.exists() and time.monotonic() < until:
        time.sleep(0.02)
    assert jobs.working()
    jobs.stop(job.id)
    stopped = jobs.get(job.id)
    assert stopped is not None
    assert stopped.state == "stopped"
    assert mark.read_text() == "began"
    assert not jobs.working()


class Unstartable:
    """A process that the system has no room for."""

    def start(self) -> None:
        """Fail, as the system does when there are too many."""
        raise BlockingIOError(errno.EAGAIN, "Resource temporarily unavailable")


def test_a_desk_at_work_asks_before_it_is_closed(visitor: Visitor, tmp_path: Path) -> None:
    """With what is at work; only who is sure closes it, and the last page says how it is opened again."""
    ends: list[str] = []
    visitor.desk.stop = lambda: ends.append("told")
    visitor.desk.jobs.start(_deed(partial(sleep, tmp_path / "mark")), "/")
    asked = visitor.post("/close")
    assert "Something is at work still" in told(asked)
    assert "A deed" in told(asked)
    assert ends == []
    closed = visitor.post("/close", {"sure": "1"})
    assert f"trialkit desk {visitor.desk.workspace.folder}" in told(closed)
    assert "<button" not in closed.text
    assert ends == ["told"]


def test_a_job_that_cannot_begin_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Else the desk would wait for it for ever, and never end by itself."""
    jobs = Jobs()
    context = multiprocessing.get_context("spawn")
    monkeypatch.setattr(type(context), "Process", lambda *_, **__: Unstartable())
    with pytest.raises(BlockingIOError):
        jobs.start(_deed(count), "/")
    assert not jobs.working()
    jobs.stop_all()


def test_a_job_is_known_only_once_it_can_be_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever stops all at the moment at which one begins meets no half of it."""
    jobs = Jobs()
    context = multiprocessing.get_context("spawn")
    begin = context.Process.start

    def start_while_all_are_stopped(process: Any) -> None:
        jobs.stop_all()
        begin(process)

    monkeypatch.setattr(context.Process, "start", start_while_all_are_stopped)
    job = jobs.start(_deed(partial(sleep, tmp_path / "mark")), "/")
    known = jobs.get(job.id)
    assert known is not None
    assert known.state == "working"
    jobs.stop_all()
    stopped = jobs.get(job.id)
    assert stopped is not None
    assert stopped.state == "stopped"


class SlowList(list[tuple[int, Deed]]):
    """A list at which another thread always has its turn in between."""

    def __getitem__(self, at: Any) -> Any:
        """Look, then wait."""
        found = super().__getitem__(at)
        time.sleep(0.002)
        return found


def test_deeds_done_at_once_have_each_a_number_of_its_own(visitor: Visitor) -> None:
    """By which its files are handed out."""
    here = visitor.desk
    here.remember(_deed(count))
    here.done = SlowList(here.done)
    with ThreadPoolExecutor(8) as threads:
        list(threads.map(lambda _: here.remember(_deed(count)), range(40)))
    numbers = [number for number, _ in here.done]
    assert len(set(numbers)) == len(numbers)


def test_commands_are_written_as_one_types_them() -> None:
    """With quotation marks where they are needed."""
    deed = Deed("", (("evidence", "withdraw", "ab", "--why", "the wrong feed"),), count)
    assert deed.command_lines == ("trialkit evidence withdraw ab --why 'the wrong feed'",)
