"""Desks as processes, killed at the calls by which a deed changes files, and what is left then.

A desk is forked from a process that has everything loaded, and so are its jobs, as far as their work goes: each is a
process of its own, with the program's own arguments, asked over HTTP. Calls are counted over all of them; at the chosen
one the desk gets SIGKILL. A job stays in that call until it ends because the desk is gone.
"""

from __future__ import annotations

import io
import multiprocessing
import os
import re
import secrets
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, replace
from html import unescape
from pathlib import Path
from typing import Any
from unittest.mock import patch

from PIL import Image

from desk_caller import Caller
from desk_server import LINK
from desk_visitor import Visitor, visit
from file_calls import at_every_call
from returned_files import good_return, other_values
from trialkit.desk.begun import FOLDER as BEGUN
from trialkit.desk.begun import changing
from trialkit.desk.drafts import Drafts
from trialkit.desk.jobs import Job, Jobs
from trialkit.desk.tray import Tray
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.tables.problem import TrialError
from writing_commands import (
    COMMANDS,
    State,
    Writing,
    is_committed,
    left_over,
    made_world,
    put_back,
    quick,
    recall,
    remember,
    seen,
    state_of,
)

LOADED = (
    "desk_kills", "flask", "waitress.server", "trialkit.desk.rooms", "trialkit.desk.serving", "trialkit.cli.main",
    "trialkit.cli.desk_command", "trialkit.interface.trial_object", "trialkit.interface.ledger_object",
    "trialkit.analysis", "trialkit.report.page", "trialkit.report.data_package", "trialkit.planning.trial_plan",
    "trialkit.evidence.versions", "trialkit.forms.workbook", "trialkit.returns.merge_files", "babel", "pandas",
)  # fmt: skip
SEED = 7
"""Drawn wherever one is drawn: a deed done again comes to the same."""
SECONDS = 60.0
NEVER = 1_000_000

Send = Callable[[str, Mapping[str, Any]], None]
Page = Callable[[str], str]


@dataclass(frozen=True)
class DeskDeed:
    """Something that is done at the desk: what is sent, and what in the desk's folder it changes."""

    name: str
    ask: Callable[[Page], tuple[str, Mapping[str, Any]]]
    changes: tuple[str, ...]
    before: Callable[[Visitor], object] = lambda _: None
    in_steps: bool = False
    """Whether it writes several times, each whole: an answer and its report, a page of a ledger and its handout."""


def _was(page: str) -> dict[str, str]:
    return {name: unescape(value) for name, value in re.findall(r'name="(was[-.][^"]+)" value="([^"]*)"', page)}


def _settings(page: Page) -> tuple[str, Mapping[str, Any]]:
    was = _was(page("/trial/planned/settings/"))
    return "/trial/planned/settings/", {**was, "trial-season": "spring 2031", "layout-blocks": "2"}


def _gardens(page: Page) -> tuple[str, Mapping[str, Any]]:
    shown = re.search(r'name="seen" value="(\w+)"', page("/trial/planned/list/sites/"))
    assert shown
    return "/trial/planned/list/sites/", {"text": "Site\nFERN\nMILL\n", "seen": shown[1], "go": "save"}


def _correction(page: Page) -> tuple[str, Mapping[str, Any]]:
    bucket = Path("merged/heads.csv").read_text("utf-8").splitlines()[1].partition(",")[0]
    path = f"/trial/merged/post/correct/heads/{bucket}/1"
    was = _was(page(path))
    typed = {name.removeprefix("was."): value for name, value in was.items()}
    return path, {**was, **typed, "weight_g": "99", "why": "read 66"}


def _files(*given: tuple[str, bytes]) -> dict[str, Any]:
    return {"files": [(io.BytesIO(data), name) for name, data in given]}


def _dropped(visitor: Visitor) -> None:
    file = "second.json", other_values(good_return()).phone()
    assert visitor.post("/trial/merged/post/drop", _files(file)).status_code == 303


def _waiting() -> str:
    return Tray(Path("merged")).files()[0].id if Tray(Path("merged")).files() else "gone"


def _logo() -> io.BytesIO:
    drawn = io.BytesIO()
    Image.new("RGB", (60, 30), "green").save(drawn, "png")
    return io.BytesIO(drawn.getvalue())


def _sent(path: str, **data: str) -> Callable[[Page], tuple[str, Mapping[str, Any]]]:
    return lambda _: (path, data)


def _by_command(name: str) -> Callable[[Visitor], object]:
    return lambda visitor: COMMANDS[name].prepare(visitor.desk.workspace.folder)


TYPED = {"question": "Which?", "cultivars": "A\nB", "practice_cultivar": "A", "gardens": "FERN", "name": "started"}
WHY = {"why": "asked to", "on": "2026-09-01"}


def _typed(visitor: Visitor) -> None:
    """The draft that starting keeps first, and takes away last."""
    assert visitor.post("/new/keep", {"draft": "0" * 16, "at": "4", **TYPED}).status_code == 204


DEEDS = {
    one.name: one
    for one in (
        DeskDeed("draft", _sent("/new/keep", draft="0" * 16, at="1", **TYPED), (".desk",)),
        DeskDeed("start", _sent("/new/", draft="0" * 16, at="4", go="start", **TYPED), ("started", ".desk"), _typed),
        DeskDeed("settings", _settings, ("planned",)),
        DeskDeed("gardens", _gardens, ("planned",)),
        DeskDeed(
            "take back",
            _sent("/trial/planned/take-back"),
            ("planned",),
            lambda visitor: visitor.post(*_settings(lambda path: str(visitor.get(path).text))),
        ),
        DeskDeed("plan", _sent("/trial/planned/plan"), ("planned",)),
        DeskDeed("layout", _sent("/trial/planned/layout"), ("planned",)),
        DeskDeed("forms", _sent("/trial/laid/forms"), ("laid",)),
        DeskDeed("check", _sent("/trial/trial/check"), ("trial",), _by_command("check")),
        DeskDeed(
            "drop",
            lambda _: ("/trial/laid/post/drop", _files(("a.csv", b"bucket,head\n" * 9), ("b.csv", b"bucket\n"))),
            ("laid",),
        ),
        DeskDeed(
            "answers",
            lambda _: ("/trial/merged/post/answers", {"do": "look", f"{_waiting()}.why": "read", "conflict.x": "kept"}),
            ("merged",),
            _dropped,
        ),
        DeskDeed(
            "throw away",
            lambda _: ("/trial/merged/post/answers", {"do": f"throw:{_waiting()}"}),
            ("merged",),
            _dropped,
        ),
        DeskDeed("merge", _sent("/trial/merged/post/answers", do="merge"), ("merged",), _dropped),
        DeskDeed("correct", _correction, ("merged",)),
        DeskDeed("garden joins", _sent("/trial/laid/garden/", site="HILL", **WHY), ("laid",)),
        DeskDeed("garden gives up", _sent("/trial/merged/garden/FERN/withdraw", **WHY), ("merged",)),
        DeskDeed("analyse", _sent("/trial/trial/answer/analyse"), ("trial",), _by_command("analyse"), in_steps=True),
        DeskDeed("pack", _sent("/trial/trial/answer/pack"), ("trial",)),
        DeskDeed("keep", _sent("/trial/trial/answer/keep"), ("ledger",), in_steps=True),
        DeskDeed("recommend", _sent("/ledger/recommend"), ("ledger",), _by_command("recommend"), in_steps=True),
        DeskDeed("withdraw", _sent("/ledger/withdraw", entry="other", why="x"), ("ledger",)),
        DeskDeed("next trial", _sent("/ledger/next", folder="following"), ("following",)),
        DeskDeed(
            "county",
            lambda _: ("/county/", {"name": "Larkmoor", "measures": "both", "logo": (_logo(), "logo.png")}),
            ("county.toml", "county-logo.png", ".merged", ".merging", ".trialkit.lock"),
        ),
    )
}


@dataclass(frozen=True)
class Control:
    """How the processes of a desk are watched."""

    base: Path
    aside: Path
    kill_at: int

    @property
    def armed(self) -> Path:
        """There while calls count."""
        return self.aside / "armed"

    @property
    def calls(self) -> Path:
        """One byte a call."""
        return self.aside / "calls"

    @property
    def told(self) -> Path:
        """What the desk prints."""
        return self.aside / "told"

    @property
    def workers(self) -> Path:
        """A line for each job: its number as a process."""
        return self.aside / "workers"


@contextmanager
def alike() -> Iterator[None]:
    """Draw the same seed everywhere."""
    with patch.object(secrets, "randbelow", lambda _: SEED):
        yield


@contextmanager
def _watched(control: Control, desk: int) -> Iterator[None]:
    """Count the calls of this process, and kill the desk at the chosen one."""
    counted = os.open(control.calls, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

    def each(_: str) -> None:
        if os.path.exists(control.armed):  # noqa: PTH110 - at every call
            os.write(counted, b".")
            if os.fstat(counted).st_size == control.kill_at:
                os.kill(desk, signal.SIGKILL)
                time.sleep(SECONDS)  # a job; it ends here, at this call, because its desk is gone

    recall(control.base)
    with ExitStack() as held:
        for one in (quick(), alike(), at_every_call(each)):
            held.enter_context(one)
        yield


class _Forked:
    """Starts jobs as the desk does, but from a process that has all loaded."""

    def __init__(self, control: Control) -> None:
        self.control, self.context = control, multiprocessing.get_context("forkserver")

    def Pipe(self, *, duplex: bool) -> Any:
        return self.context.Pipe(duplex)

    def Process(self, *, target: Any, args: Any, daemon: bool) -> Any:
        return self.context.Process(target=_job, args=(self.control, os.getpid(), target, args), daemon=daemon)


def _job(control: Control, desk: int, target: Callable[..., None], given: tuple[Any, ...]) -> None:
    with control.workers.open("a") as out:
        out.write(f"{os.getpid()}\n")
    with _watched(control, desk):
        target(*given)


def _desk(control: Control, folder: Path) -> None:
    """Be a desk."""
    from trialkit.cli.main import main

    forked = _Forked(control)
    with control.told.open("w", buffering=1) as out:
        sys.stdout = sys.stderr = out
        with patch("trialkit.desk.jobs.multiprocessing.get_context", lambda _: forked), _watched(control, os.getpid()):
            main(["desk", str(folder), "--no-browser"])


def _at_once(jobs: Jobs, deed: Any, where_next: str, where_begun: str) -> Job:
    """Do what takes long in this process, before going on."""
    job = Job(secrets.token_urlsafe(9), deed, where_next, where_begun, "done")
    try:
        deed.run(lambda *_: None)
    except (TrialError, WrongCall, NotComputed):
        job = replace(job, state="failed")
    jobs._jobs[job.id] = job
    return job


Begun = tuple[object, ...]


def begun_in(folder: Path) -> Begun:
    """What is begun: what waits in every trial with its answers, and drafts."""
    drafts = [Drafts(folder).find(one.id) for one in Drafts(folder).listed()]
    trays = [Tray(folder / name) for name in ("laid", "merged")]
    waiting = [[(one.name, one.path.read_bytes(), one.answered) for one in tray.files()] for tray in trays]
    return drafts, waiting, [tray.choices() for tray in trays]


class DeskSweep:
    """One deed at a desk in a world of its own, done once as it should be; each kill begins from the same state.

    Attributes
    ----------
    calls : list of str
        Every call by which it changes files, but for those of processes that a desk starts.
    """

    def __init__(self, base: Path, one: DeskDeed, place: Path, aside: Path, visitor: Visitor) -> None:
        self.base, self.one, self.place, self.aside, self.visitor = base, one, place, aside, visitor
        one.before(visitor)
        self.before, self.begun_before = state_of(one.changes), begun_in(place)
        self.calls: list[str] = []
        with at_every_call(self.calls.append):
            self._do()
        self.after, self.begun_after = state_of(one.changes), begun_in(place)
        assert seen(self.after) != seen(self.before) or self.begun_after != self.begun_before, one.name
        assert not left_over(self.after), left_over(self.after)
        remember(base)

    def _do(self) -> None:
        """Do it at a desk that is opened in this process."""
        path, data = self.one.ask(lambda path: str(self.visitor.get(path).text))
        with patch.object(Jobs, "start", _at_once):
            answer = self.visitor.post(path, dict(data))
        assert answer.status_code < 500, answer.text

    def killed(self, kill_at: int) -> str:
        """Kill a desk at a call, and tell what is left; "not reached" where it makes fewer."""
        put_back(self.before, self.one.changes)
        for left in self.aside.iterdir():
            left.unlink()
        control = Control(self.base, self.aside, kill_at)
        context: Any = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(list(LOADED))
        process = context.Process(target=_desk, args=(control, self.place))
        process.start()
        try:
            caller = Caller(_link(control))
            path, data = self.one.ask(caller.page)
            control.armed.touch()
            with suppress(OSError, ValueError):  # which is how a killed desk answers
                _, location = caller.send(path, data)
                if location.startswith("/job/"):
                    caller.wait(location)
            reached = control.calls.exists() and control.calls.stat().st_size >= kill_at
            if not reached:
                process.kill()
            process.join(SECONDS)
            assert process.exitcode == -signal.SIGKILL, control.told.read_text()
        finally:
            process.kill()
            process.join()
        _wait_for_the_end(control)
        return self.judge(state_of(self.one.changes)) if reached else "not reached"

    def judge(self, state: State) -> str:
        """Tell whether a state is old or new, or between them with what ends it; then do it again at another desk.

        What is left of a document of what is begun is cleared by whoever changes that next.
        """
        old, new, now = seen(self.before), seen(self.after), seen(state)
        half = [name for name in now if now[name] not in (old.get(name, b"none"), new.get(name, b"none"))]
        assert not half, half
        found = "old" if now == old else "new" if now == new else "between"
        assert found != "between" or is_committed(state) or self.one.in_steps, sorted({*now} ^ {*old})
        begun = begun_in(self.place)
        assert begun in (self.begun_before, self.begun_after), begun
        if old == new:
            found = "old" if begun == self.begun_before else "new"
        if found == "old" or old != new:  # a file that is dropped again waits twice
            self._do()
        Drafts(self.place).throw_away()
        for name in self.one.changes:
            if Path(name, BEGUN).is_dir():
                with changing(Path(name)):
                    pass
        final = state_of(self.one.changes)
        assert seen(final) == new, (found, {name for name, _ in seen(final).items() ^ new.items()})
        assert old != new or begun_in(self.place) == self.begun_after
        assert not left_over(final), left_over(final)
        return found

    def swept(self, every: int) -> Counter[str]:
        """Kill at every call, or at one of so many, once a desk has done it undisturbed."""
        assert self.killed(NEVER) == "not reached"
        number = (self.aside / "calls").stat().st_size
        found = seen(state_of(self.one.changes)), begun_in(self.place)
        assert found == (seen(self.after), self.begun_after), "a desk does otherwise than the one in this process"
        return Counter(map(self.killed, range(1, number + 1, every)))


def _link(control: Control) -> str:
    until = time.monotonic() + SECONDS
    while time.monotonic() < until:
        if control.told.exists() and (found := LINK.search(control.told.read_text())):
            return found[0]
        time.sleep(0.01)
    raise AssertionError(control.told.read_text() if control.told.exists() else "the desk told nothing")


def _wait_for_the_end(control: Control) -> None:
    """No job outlives its desk."""
    workers = control.workers.read_text().split() if control.workers.exists() else []
    until = time.monotonic() + SECONDS / 2
    while any(_is_running(int(one)) for one in workers):
        assert time.monotonic() < until, "a job outlived its desk"
        time.sleep(0.01)


def _is_running(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


@contextmanager
def desk_sweep_of(base: Path, one: DeskDeed, aside: Path) -> Iterator[DeskSweep]:
    """Give the sweep of a deed, in its own world."""
    with made_world(base, Writing(one.name, (), one.changes)) as (place, _), alike():
        for visitor in visit(place):
            yield DeskSweep(base, one, place, aside, visitor)
