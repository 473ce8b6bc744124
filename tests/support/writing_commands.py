"""Every command that writes, on small trials and a ledger of its own, and what it left behind."""

import pickle
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, chdir, contextmanager
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any
from unittest.mock import patch

from commands import run
from returned_files import good_return, other_values
from small_trial import write_small_trial
from trialkit.documents.document import as_text
from trialkit.evidence.ledger import WRITTEN_ASIDE
from trialkit.evidence.ledger_index import NEXT_INDEX
from trialkit.steps.trial_steps import Step
from trialkit.tables.committing import COMMITTED, LOCK
from unset_sheets import unset_sheets

State = Mapping[str, bytes | None]
"""What stands in a folder: bytes of files, None for folders."""


@dataclass(frozen=True)
class Writing:
    """A command that writes: what it is given, and the folders that it changes."""

    name: str
    words: tuple[str, ...]
    changes: tuple[str, ...]
    again: str = ""
    """What it says where it was done already; empty if doing it again is no other."""
    prepare: Callable[[Path], object] = lambda _: None


def _with_stale_page(world: Path) -> None:
    """A garden was asked something by an earlier check, and is asked nothing now; another page is somebody's own."""
    heads = world / "trial" / "heads.csv"
    before = heads.read_bytes()
    lines = before.decode().splitlines()
    column = lines[0].split(",").index("weight_g")
    cells = lines[1].split(",")
    cells[column] = "1900"
    heads.write_text("\n".join([lines[0], ",".join(cells), *lines[2:]]) + "\n", "utf-8")
    run("check", "trial", "--html")
    heads.write_bytes(before)
    (world / "trial" / "results" / "check-mine.html").write_text("<!DOCTYPE html>\nmine", "utf-8")


def _without_hill(_: Path) -> None:
    """A garden joined and withdrew."""
    for words in (("--add",), ("--withdraw",)):
        run("site", "merged", "HILL", *words, *WHY)


def _without_results(world: Path) -> None:
    shutil.rmtree(world / "trial" / "results", ignore_errors=True)


def _with_another_trial(_: Path) -> None:
    run("evidence", "add", "trial", "--ledger", "ledger")


def _with_second(_: Path) -> None:
    run("merge", "merged", "second.json")


def _withdrawn(_: Path) -> None:
    run("evidence", "withdraw", "other", "--why", "x", "--ledger", "ledger")


NEW = ("--question", "Which?", "--site", "FERN", "--cultivar", "A", "--cultivar", "B", "--current", "A", "--seed", "1")
WHY = ("--why", "asked to", "--on", "2026-09-01")
RIGHT = ("BUCKET", "1", "weight_g=99", "--why", "x")
LEDGER = ("--ledger", "ledger")
COMMANDS = {
    one.name: one
    for one in (
        Writing("new", ("new", "started", *NEW), ("started",), "is not empty"),
        Writing("new here", ("new", "empty", *NEW), ("empty",), "is not empty"),
        Writing("new example", ("new", "started", "--example", "spring_dose"), ("started",), "is not empty"),
        Writing("demo", ("demo", "--into", "started"), ("started",), "is not empty"),
        Writing("set", ("set", "planned", "trial.season=spring", "--table", "sites=planned/sites.csv"), ("planned",)),
        Writing("plan", ("plan", "planned"), ("planned",)),
        Writing("layout", ("layout", "planned"), ("planned",)),
        Writing("forms", ("forms", "laid"), ("laid",)),
        Writing("merge", ("merge", "merged", "second.json"), ("merged",)),
        Writing(
            "take back",
            ("merge", "merged", "--take-back", "second.json", *WHY[:2]),
            ("merged",),
            "taken back already",
            _with_second,
        ),
        Writing("correct", ("correct", "merged", *RIGHT), ("merged",), "so already"),
        Writing("site add", ("site", "laid", "HILL", "--add", *WHY), ("laid",), "HILL"),
        Writing("site withdraw", ("site", "merged", "FERN", "--withdraw", *WHY), ("merged",), "withdrew already"),
        Writing("site rejoin", ("site", "merged", "HILL", "--rejoin", *WHY), ("merged",), "takes part", _without_hill),
        Writing("check", ("check", "trial", "--html"), ("trial",), prepare=_with_stale_page),
        Writing("analyse", ("analyse", "trial"), ("trial",), prepare=_without_results),
        Writing("report", ("report", "trial"), ("trial",)),
        Writing("pack", ("pack", "trial"), ("trial",)),
        Writing("pack into", ("pack", "trial", "--into", "out/trial.zip"), ("trial", "out")),
        Writing("add", ("evidence", "add", "trial", *LEDGER), ("ledger",), "in the ledger already"),
        Writing("withdraw", ("evidence", "withdraw", "other", "--why", "x", *LEDGER), ("ledger",), "withdrawn already"),
        Writing(
            "readmit", ("evidence", "readmit", "other", "--why", "x", *LEDGER), ("ledger",), "not withdrawn", _withdrawn
        ),
        Writing("pool", ("evidence", "pool", *LEDGER), ("ledger",)),
        Writing("recommend", ("recommend", "ledger"), ("ledger",), prepare=_with_another_trial),
    )
}

"""Each by itself."""


def _with_another_seed(world: Path) -> None:
    """What laying out anew would write is another layout."""
    protocol = world / "laid" / "trial.toml"
    protocol.write_text(protocol.read_text("utf-8").replace("seed = 20260820", "seed = 5"), "utf-8")


TOGETHER: tuple[tuple[Writing, ...], ...] = (
    (
        Writing("layout", ("layout", "laid"), ("laid",), prepare=_with_another_seed),
        Writing("forms", ("forms", "laid"), ("laid",)),
        Writing("merge", ("merge", "laid", "first.csv"), ("laid",)),
        Writing("site add", ("site", "laid", "HILL", "--add", *WHY), ("laid",)),
        Writing("check", ("check", "laid", "--html"), ("laid",)),
        Writing("plan", ("plan", "laid"), ("laid",)),
    ),
    (
        Writing("analyse", ("analyse", "trial"), ("trial",), prepare=_without_results),
        Writing("report", ("report", "trial"), ("trial",)),
        Writing("pack", ("pack", "trial"), ("trial",)),
        Writing("correct", ("correct", "trial", *RIGHT), ("trial",)),
        Writing("site withdraw", ("site", "trial", "s1", "--withdraw", *WHY), ("trial",)),
        Writing("check", ("check", "trial", "--html"), ("trial",)),
        Writing("layout", ("layout", "trial"), ("trial",)),
        Writing("forms", ("forms", "trial"), ("trial",)),
    ),
    tuple(COMMANDS[name] for name in ("merge", "take back", "correct", "site withdraw", "site rejoin", "check")),
    tuple(COMMANDS[name] for name in ("add", "withdraw", "readmit", "pool", "recommend")),
    tuple(COMMANDS[name] for name in ("new", "demo", "new example")),
)
"""On one trial or ledger."""


def make_world(base: Path) -> None:
    """Make the trials and the ledger, and keep what took long beside them."""
    world = base / "world"
    good = good_return()
    for name in ("laid", "merged"):
        good.write_trial(world / name)
    (world / "first.csv").write_text(good.csv(), "utf-8")
    (world / "second.json").write_bytes(other_values(good).phone())
    for name in ("trial", "other"):
        write_small_trial(world / name, cultivars=2, id=name, seed=len(name), days=False)
    (world / "planned").mkdir()
    for name in ("trial.toml", "sites.csv", "products.csv"):
        shutil.copy(world / "other" / name, world / "planned" / name)
    (world / "empty").mkdir()
    with chdir(world), quick():
        for words in (
            ("merge", "merged", "first.csv"),
            ("analyse", "trial"),
            ("analyse", "other"),
            ("evidence", "add", "other", "--ledger", "ledger"),
            ("recommend", "ledger"),
        ):
            done = run(*words)
            assert done.returncode < 2, done.stderr
    (base / "remembered").write_bytes(pickle.dumps(_remembered))


@cache
def _recall(base: Path) -> None:
    """Know what took long when the world was made, by whichever process."""
    _remembered.update(pickle.loads((base / "remembered").read_bytes()))


@contextmanager
def made_world(base: Path, one: Writing) -> Iterator[tuple[Path, tuple[str, ...]]]:
    """Give a world of its own to a command, in which it stands, and its words; `make_world` made what it is like."""
    _recall(base)
    with tempfile.TemporaryDirectory() as aside:
        place = Path(shutil.copytree(base / "world", Path(aside, one.name.replace(" ", "-"))))
        with chdir(place), quick():
            one.prepare(place)
            yield place, words_of(one)


def words_of(one: Writing) -> tuple[str, ...]:
    """Return what a command is given: a bucket with records, where it needs one."""
    if "BUCKET" not in one.words:
        return one.words
    bucket = Path(one.words[1], "heads.csv").read_text("utf-8").splitlines()[1].partition(",")[0]
    return tuple(bucket if word == "BUCKET" else word for word in one.words)


_remembered: dict[Any, Any] = {}


def _once(module: str, name: str, key: Callable[..., Any]) -> Any:
    """Work something out once for each key: what is sought here is what is written, and when."""
    function = getattr(import_module(module), name)

    def remembered(*arguments: Any, **options: Any) -> Any:
        at = module, name, key(*arguments)
        if at not in _remembered:
            _remembered[at] = function(*arguments, **options)
        return _remembered[at]

    return patch(f"{module}.{name}", remembered)


def _digests(trial: Any, *others: Any) -> str:
    return str((sorted(trial.sha256.items()), [one for one in others if isinstance(one, str)]))


SLOW: tuple[tuple[str, str, Callable[..., Any]], ...] = (
    ("trialkit.evidence.accepting", "analyse", _digests),
    ("trialkit.analysis", "analyse", _digests),
    ("trialkit.planning.trial_plan", "make_plan", _digests),
    ("trialkit.forms.workbook", "record_workbook", _digests),
    ("trialkit.report.data_package", "data_package", lambda *given: (_digests(*given), given[-1])),
    ("trialkit.report.page", "report_html", as_text),
    ("trialkit.report.plan_page", "plan_html", as_text),
    ("trialkit.report.evidence_page", "evidence_html", as_text),
    ("trialkit.evidence.versions", "recommend", lambda found, last, *_: (str(found.index), last and as_text(last))),
)
"""What takes long, and what it rests on."""


@contextmanager
def quick() -> Iterator[None]:
    """Work out what takes long only once, set no sheet, and do no more in the demo than its first two steps."""
    for module, _, _ in SLOW:
        import_module(module)  # one that were loaded below would keep what is remembered instead of its own, for ever
    with unset_sheets(), ExitStack() as held:
        for module, name, key in SLOW:
            held.enter_context(_once(module, name, key))
        demo = import_module("trialkit.steps.trial_steps").demo_steps
        held.enter_context(patch("trialkit.cli.demo_command.demo_steps", lambda folder: _first(demo(folder))))
        yield


def _first(steps: Sequence[Step]) -> Sequence[Step]:
    return steps[:2]


def state_of(folders: Sequence[str]) -> State:
    """Return what stands in folders of the world, all of it."""
    found: dict[str, bytes | None] = {}
    for folder in map(Path, folders):
        for path in [folder, *sorted(folder.rglob("*"))]:
            if path.exists():
                found[path.as_posix()] = path.read_bytes() if path.is_file() else None
    return found


def put_back(state: State, folders: Sequence[str]) -> None:
    """Have folders of the world hold what they held."""
    for folder in folders:
        shutil.rmtree(folder, ignore_errors=True)
    for name, data in state.items():
        if data is None:
            Path(name).mkdir(parents=True, exist_ok=True)
        else:
            Path(name).parent.mkdir(parents=True, exist_ok=True)
            Path(name).write_bytes(data)


def seen(state: State) -> State:
    """What of a state whoever opens the folder sees: files but for those with hidden names."""
    return {
        name: data
        for name, data in state.items()
        if data is not None and not any(part.startswith(".") for part in Path(name).parts)
    }


def left_over(state: State) -> list[str]:
    """Name what a command must not leave."""
    own = (LOCK, ".ledger.lock", ".gitignore", ".gitattributes")
    return [name for name in state if any(part.startswith(".") and part not in own for part in Path(name).parts)]


def is_committed(state: State) -> bool:
    """Whether new versions count, and are not in place yet; those of a ledger stand under hidden names until then."""
    return any(
        part in (COMMITTED, NEXT_INDEX) or WRITTEN_ASIDE.fullmatch(part) for name in state for part in Path(name).parts
    )
