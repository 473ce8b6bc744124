"""Deeds that take long, each in a process of its own: it says how far it is, and can be stopped at any moment.

Whatever a process was stopped in, files are as before or as after: that is how `trialkit.tables.committing` writes.
"""

from __future__ import annotations

import multiprocessing
import secrets
import signal
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection
from threading import Lock, Thread
from typing import TYPE_CHECKING, Annotated, Literal

from trialkit._processes import end_with_parent
from trialkit._startup import begin_lightly
from trialkit.desk.deeds import Deed, Told, WentWrong, trouble_of
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.progress import watched
from trialkit.languages import Language, gettext, speaking, spoken
from trialkit.tables.problem import TrialError

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess

State = Literal["working", "done", "failed", "stopped"]
MOST_KEPT = 100
"""Of jobs that ended, the last so many are remembered."""
STOP_SECONDS = 5.0


@dataclass(frozen=True)
class Job:
    """A deed that was begun, and how it stands."""

    id: str
    deed: Deed
    where_next: Annotated[str, "Page to go to once it is done."]
    where_begun: Annotated[str, "Page to go back to if it is not."] = "/"
    state: State = "working"
    doing: Annotated[str, "What it says it is at."] = ""
    done: int = 0
    of: int = 0
    trouble: WentWrong | None = None


@dataclass
class Jobs:
    """All jobs of a desk."""

    when_done: Callable[[Deed], None] = lambda _: None
    """Told of each deed that came to its end."""
    _lock: Lock = field(default_factory=Lock)
    _jobs: dict[str, Job] = field(default_factory=dict)
    _processes: dict[str, BaseProcess] = field(default_factory=dict)

    def start(self, deed: Deed, where_next: str, where_begun: str = "/") -> Job:
        """Begin a deed in a process of its own."""
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe(duplex=False)
        process = context.Process(target=_work, args=(theirs, deed.run, spoken()), daemon=True)
        job = Job(secrets.token_urlsafe(9), deed, where_next, where_begun)
        try:
            process.start()  # before anybody can stop it, or wait for one that never was
        except BaseException:
            ours.close()
            raise
        finally:
            theirs.close()  # so that we notice when the process's own end is gone
        with self._lock:
            self._forget()
            self._jobs[job.id], self._processes[job.id] = job, process
        ended = gettext("It ended before its time: perhaps memory ran out. Nothing is half done. Try again.")
        Thread(target=self._listen, args=(job.id, ours, ended), daemon=True).start()
        return job

    def get(self, job_id: str) -> Job | None:
        """How a job stands; None where there is none of this id."""
        with self._lock:
            return self._jobs.get(job_id)

    def working(self) -> tuple[Job, ...]:
        """Those that are still at work, in the order in which they began."""
        with self._lock:
            return tuple(job for job in self._jobs.values() if job.state == "working")

    def stop(self, job_id: str) -> None:
        """Stop one, wherever it is."""
        with self._lock:
            job, process = self._jobs.get(job_id), self._processes.get(job_id)
            if job is None or process is None or job.state != "working":
                return
            self._jobs[job_id] = replace(job, state="stopped")
        process.terminate()
        process.join(STOP_SECONDS)
        if process.is_alive():
            process.kill()

    def stop_all(self) -> None:
        """Stop whatever is at work."""
        for job_id in list(self._processes):
            self.stop(job_id)

    def _listen(self, job_id: str, connection: Connection, ended: str) -> None:
        """Take in what the process says, until it ends."""
        last: object = None
        with suppress(EOFError, OSError):
            while True:
                last = connection.recv()
                if isinstance(last, tuple):
                    doing, done, of = last
                    self._change(job_id, doing=doing, done=done, of=of)
                else:
                    break
        if isinstance(last, WentWrong):
            self._change(job_id, state="failed", trouble=last)
        elif last == "done":
            self._change(job_id, state="done")
        else:
            self._change(job_id, state="failed", trouble=WentWrong((ended,)))
        with self._lock:
            process = self._processes.pop(job_id, None)
        if process is not None:
            process.join(STOP_SECONDS)

    def _change(self, job_id: str, **values: object) -> None:
        with self._lock:
            job = self._jobs[job_id]
            if job.state == "working":
                if values.get("state") == "done":
                    self.when_done(job.deed)
                self._jobs[job_id] = replace(job, **values)  # type: ignore[arg-type]

    def _forget(self) -> None:
        ended = [job.id for job in self._jobs.values() if job.state != "working"]
        for job_id in ended[: max(len(ended) - MOST_KEPT, 0)]:
            del self._jobs[job_id]


def _work(connection: Connection, run: Callable[[Told], None], language: Language) -> None:
    """Run a deed in this process, and say how it goes: what went wrong in the language of who began it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # a terminal sends it to all: the desk decides
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    Thread(target=end_with_parent, daemon=True).start()  # nobody would know of what a killed desk left at work
    begin_lightly()

    def tell(doing: str, done: int, of: int) -> None:
        connection.send((doing, done, of))

    try:
        with watched(tell):
            run(tell)
    except (TrialError, WrongCall, NotComputed, OSError) as error:
        with speaking(language):
            connection.send(trouble_of(error))
    except KeyboardInterrupt:
        return
    else:
        connection.send("done")
    finally:
        connection.close()
