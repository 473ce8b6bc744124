"""Seasons that went badly through every command: python tests/benchmarks/bad_seasons.py COUNT SEED.

Prints what is wrong, season by season; exit status 1 if anything is. Two seconds or so of a processor for each season.
"""

import signal
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import cache
from pathlib import Path
from types import FrameType
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from bad_seasons import TRIALS, Season, seasons, told

WORKERS = 2
HANGS_AFTER_S = 60
"""Of a processor: however busy the machine is."""
ONWARD = 4
"""Of so many seasons, one goes as far as the next trial, which takes longest."""


class Found(NamedTuple):
    """A season, what is wrong, and what was refused, with the reason."""

    season: Season
    wrong: tuple[str, ...]
    refused: dict[str, str]


class Hangs(BaseException):
    """A season that is not done in time: no command may take it for something that it can tell."""


def _hang(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
    raise Hangs(f"not done after {HANGS_AFTER_S} s, at {''.join(traceback.format_stack(frame)[-8:])}")


@cache
def whole() -> Callable[[str], Path]:
    """Make each trial once, in a folder that lives as long as this process."""
    place = Path(tempfile.mkdtemp(prefix="whole-"))

    @cache
    def made(name: str) -> Path:
        TRIALS[name](place / name)
        return place / name

    return made


def through(season: Season) -> Found:
    """Take one season through the commands."""
    signal.signal(signal.SIGPROF, _hang)
    signal.setitimer(signal.ITIMER_PROF, HANGS_AFTER_S)
    with tempfile.TemporaryDirectory() as name:
        try:
            season.write(Path(name) / "trial", whole())
            found = told(Path(name) / "trial", Path(name) / "ledger", onward=season.seed % ONWARD == 0)
        except Hangs as error:
            return Found(season, (str(error),), {})
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
    return Found(season, tuple(found.wrong), {step: text.replace(name, "") for step, text in found.refused.items()})


def main(count: int, seed: int) -> int:
    """Draw seasons, print what is wrong with each and what was refused; return the exit status."""
    failed, refused = 0, Counter[str]()
    with ProcessPoolExecutor(WORKERS) as pool:
        for found in pool.map(through, seasons(count, seed)):
            if found.wrong:
                failed += 1
                print(found.season, *found.wrong, sep="\n    ", flush=True)
            refused.update(f"{step}: {text}" for step, text in found.refused.items())
    print(f"{count} seasons, seed {seed}: {failed} with something wrong. Refused:")
    for text, times in refused.most_common():
        print(f"  {times} x {text}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2])))
