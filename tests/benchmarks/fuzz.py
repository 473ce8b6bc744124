"""Changes valid files at random and looks for what goes wrong: python tests/benchmarks/fuzz.py MINUTES [SEED].

Files of what is found (a traceback, a warning of a library, a value that changed in silence) are written to the folder
``fuzz_findings`` where it runs; once put right, such a file goes into tests/damaged/found, where the tests replay it.
"""

import sys
import time
from collections import Counter
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from fuzzing import Case, cases, complaint, keep

FOUND = Path("fuzz_findings")
MOST_ALIKE = 3


def main(minutes: float, seed: int) -> int:
    """Look for so many minutes; return how many files something was found in."""
    until = time.monotonic() + 60 * minutes
    tried: Counter[str] = Counter()
    alike: Counter[str] = Counter()
    number = 0
    while time.monotonic() < until:
        case: Case = cases(Random(f"{seed} {number}"))
        number += 1
        tried[f"{case.command} {case.name}"] += 1
        if wrong := complaint(case):
            alike[wrong[:40]] += 1
            if alike[wrong[:40]] <= MOST_ALIKE:
                print(f"{seed} {number - 1}: {keep(FOUND, case)}: {wrong}", flush=True)
    print(f"{number} files tried ({dict(tried)}), {sum(alike.values())} with something wrong: {dict(alike)}")
    return sum(alike.values())


if __name__ == "__main__":
    sys.exit(bool(main(float(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)))
