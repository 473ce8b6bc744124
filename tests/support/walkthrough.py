"""Run the commands that a page of documentation shows, and compare or renew the outputs beside them.

``python tests/support/walkthrough.py reports/first_trial.md`` renews a page. A shell block is followed by a text block
with what its last command prints on standard output; a line of three dots in it stands for lines left out.
"""

import os
import re
import shlex
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from commands import run

BLOCK = re.compile(r"```sh\n(?P<commands>.*?)```\n(?:\n```text\n(?P<output>.*?)```\n)?", re.DOTALL)
DOTS = "...\n"


def steps(page: str) -> Iterator[tuple[re.Match[str], list[str]]]:
    """Yield each block with its trialkit commands; lines go on after a backslash, other programs are left out."""
    for block in BLOCK.finditer(page):
        lines = block["commands"].replace("\\\n", " ").splitlines()
        yield block, [line for line in lines if line.startswith("trialkit ")]


def outputs(page: str) -> Iterator[tuple[re.Match[str], str]]:
    """Run every block in the working folder and yield what its last command printed."""
    for block, commands in steps(page):
        printed = ""
        for command in commands:
            done = run(*shlex.split(command, comments=True)[1:])
            if done.returncode:
                raise RuntimeError(f"{command}\n{done.stdout}{done.stderr}")
            printed = done.stdout
        yield block, printed


def is_like(printed: str, shown: str) -> bool:
    """Whether an output is what a page shows, lines left out included."""
    pattern = "(?:.*\n)*".join(map(re.escape, shown.split(DOTS)))
    return re.fullmatch(pattern, printed) is not None


def renewed(page: str) -> str:
    """Return the page with the outputs as they are now."""
    made, at = [], 0
    for block, printed in outputs(page):
        if block["output"] is None:
            continue
        if not is_like(printed, block["output"]):
            made += [page[at : block.start("output")], printed]
            at = block.end("output")
    return "".join([*made, page[at:]])


if __name__ == "__main__":
    path = Path(sys.argv[1]).resolve()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        path.write_text(renewed(path.read_text("utf-8")), "utf-8")
