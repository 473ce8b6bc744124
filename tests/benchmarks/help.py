"""How long the command takes to say what it can do: python tests/benchmarks/help.py.

Aimed at: `trialkit --help` and the completion of a command in under 0.3 s, the interpreter's start included.
"""

import os
import subprocess
import sys
import time

TIMES = 10
COMPLETION = {"_TRIALKIT_COMPLETE": "bash_complete", "COMP_WORDS": "trialkit ", "COMP_CWORD": "1"}
CODE = "import sys; sys.argv = ['trialkit', *sys.argv[1:]]; from trialkit.cli import main; main()"


def main() -> None:
    """Print the best and the median of several runs of each."""
    asked = {"--help": (["--help"], {}), "plan --help": (["plan", "--help"], {}), "completion": ([], COMPLETION)}
    for name, (words, environment) in asked.items():
        spent = []
        for _ in range(TIMES):
            begun = time.perf_counter()
            subprocess.run([sys.executable, "-c", CODE, *words], env=os.environ | environment, capture_output=True)
            spent.append(time.perf_counter() - begun)
        print(f"{name}: {min(spent):.2f} s at best, {sorted(spent)[TIMES // 2]:.2f} s the median of {TIMES}")


if __name__ == "__main__":
    main()
