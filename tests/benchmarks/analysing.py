"""How long `trialkit analyse` takes on the example trials, the interpreter's start included.

Run: python tests/benchmarks/analysing.py. Aimed at: under 5 s for the largest on an ordinary laptop; the yardstick
says how fast this machine runs plain Python beside one (7 microseconds or so, from memory).
"""

import shutil
import subprocess
import sys
import tempfile
import time
import timeit
from pathlib import Path

EXAMPLES = Path(__file__).parents[2] / "example_trials"
TIMES = 5


def main() -> None:
    """Print the best and the median of several runs of each."""
    yardstick = min(timeit.repeat("sum(range(1000))", number=10_000, repeat=5)) / 10_000
    print(f"yardstick: sum(range(1000)) in {yardstick * 1e6:.1f} microseconds")
    with tempfile.TemporaryDirectory() as folder:
        for example in sorted(path.name for path in EXAMPLES.iterdir()):
            trial = Path(folder) / example
            shutil.copytree(EXAMPLES / example, trial)
            spent = []
            for _ in range(TIMES):
                begun = time.perf_counter()
                subprocess.run(
                    [sys.executable, "-m", "trialkit", "analyse", str(trial)], check=True, capture_output=True
                )
                spent.append(time.perf_counter() - begun)
            print(f"{example}: {min(spent):.1f} s at best, {sorted(spent)[TIMES // 2]:.1f} s the median of {TIMES}")


if __name__ == "__main__":
    main()
