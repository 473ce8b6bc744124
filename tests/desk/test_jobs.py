"""Deeds in processes of their own: what they say, that they can be stopped, and what is left when they are."""

from __future__ import annotations

import time
from functools import partial
from pathlib import Path

from desk_deeds import count, fall, fill_the_disk, refuse, sleep
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


def test_commands_are_written_as_one_types_them() -> None:
    """With quotation marks where they are needed."""
    deed = Deed("", (("evidence", "withdraw", "ab", "--why", "the wrong feed"),), count)
    assert deed.command_lines == ("trialkit evidence withdraw ab --why 'the wrong feed'",)
