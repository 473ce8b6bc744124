"""Stop every command and desk at each call by which it changes files, and let every two commands meet; print counts.

Usage: python tests/benchmarks/kills.py [--every N] [--meetings N] [--signals N] [--seed N] [COMMAND]...

Each command is killed, interrupted, and met with a full, a read-only and a forbidden disk at every N-th call (1);
every pair of commands on one trial or ledger meets at N of its calls (6); and real processes get SIGINT, SIGTERM and
SIGKILL at N random moments (3 a command). Names of commands are those of tests/support/writing_commands.py. What a desk
does is killed likewise, at every N-th call: "desk" and a name of tests/support/desk_kills.py, such as "desk merge". An
AssertionError names the first state that is neither old nor new, or that the next run does not end by itself.
"""

# ruff: noqa: E402 - what the tests share stands in a folder of theirs
import argparse
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from errno import EACCES, ENOSPC, EROFS
from functools import partial
from pathlib import Path

from trialkit._startup import begin_lightly

begin_lightly()
sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from desk_kills import DEEDS, desk_sweep_of
from kill_sweep import interleaved, sweep_of
from writing_commands import COMMANDS, TOGETHER, Writing, left_over, made_world, make_world, put_back, seen, state_of

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGKILL)


def signalled(base: Path, one: Writing, number: int, draws: random.Random) -> Counter[str]:
    """Send real processes signals at random moments; the command run again must end in what it ends in undisturbed."""
    found: Counter[str] = Counter()
    with made_world(base, one) as (_, words):
        command = [sys.executable, "-m", "trialkit", *words]
        before = state_of(one.changes)
        began = time.monotonic()
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        takes = time.monotonic() - began
        after = seen(state_of(one.changes))
        for sent in SIGNALS * number:
            put_back(before, one.changes)
            process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
            time.sleep(draws.uniform(0.1, takes))
            process.send_signal(sent)
            _, told = process.communicate(timeout=60)
            begun = "Stopped" not in told  # an interpreter that still loads has its own words
            # Interrupted within an exec() of text, the interpreter ends as by Ctrl-C, whichever came.
            ended = {done.returncode, 128 + sent, -sent, -signal.SIGINT}
            assert process.returncode in ended or begun, (process.returncode, told)
            state = seen(state_of(one.changes))
            found["old" if state == seen(before) else "new" if state == after else "between"] += 1
            again = subprocess.run(command, capture_output=True, text=True, check=False)
            told = again.stdout + again.stderr
            assert again.returncode == done.returncode or (one.again and one.again in told), told
            assert seen(state_of(one.changes)) == after
            assert not left_over(state_of(one.changes))
    return found


def main() -> None:
    """Sweep, and print a table."""
    parser = argparse.ArgumentParser(description=str(__doc__).partition("\n")[0])
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--meetings", type=int, default=6)
    parser.add_argument("--signals", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("commands", nargs="*", metavar="COMMAND")
    given = parser.parse_args()
    wanted = given.commands or [*COMMANDS, *(f"desk {name}" for name in DEEDS)]
    draws = random.Random(given.seed)
    base = Path(tempfile.mkdtemp())
    make_world(base)
    total: Counter[str] = Counter()

    def tell(kind: str, name: str, count: Callable[[], Counter[str]]) -> None:
        found = count()
        total[kind] += found.total()
        print(f"{kind:<12}{name:<34}" + ", ".join(f"{n} {what}" for what, n in sorted(found.items())), flush=True)

    try:
        for name in [name for name in wanted if name in COMMANDS] if given.every else ():
            with sweep_of(base, COMMANDS[name]) as sweep:
                tell("killed", name, partial(sweep.killed, given.every))
                tell("interrupted", name, partial(sweep.interrupted, given.every))
                for kind, reason in (("full", ENOSPC), ("read-only", EROFS), ("forbidden", EACCES)):
                    tell(kind, name, partial(sweep.refused, reason, given.every))
        for name in [name for name in DEEDS if f"desk {name}" in wanted] if given.every else ():
            with tempfile.TemporaryDirectory() as aside, desk_sweep_of(base, DEEDS[name], Path(aside)) as at_desk:
                tell("killed", f"desk {name}", partial(at_desk.swept, given.every))
        for group in TOGETHER if given.meetings else ():
            for one in group:
                for other in group:
                    if {one.name, other.name} & {*wanted}:
                        met = f"{one.name} / {other.name}"
                        tell("met", met, partial(interleaved, base, one, other, given.meetings))
        for name in [name for name in wanted if name in COMMANDS] if given.signals else ():
            tell("signalled", name, partial(signalled, base, COMMANDS[name], given.signals, draws))
    finally:
        shutil.rmtree(base)
    print(", ".join(f"{n} {kind}" for kind, n in total.items()))


if __name__ == "__main__":
    main()
