"""Run the command in a process of its own, forked from one that has loaded the libraries already.

The process is real: its own arguments, environment, standard streams and exit status. What it does not do is start the
interpreter anew, which takes three seconds each time; tests of that, and of signals, start one themselves.
"""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

SERVER = multiprocessing.get_context("forkserver" if sys.platform != "win32" else "spawn")
if sys.platform != "win32":
    SERVER.set_forkserver_preload(["warm_libraries"])


def run(*arguments: Any, typed: str = "", **environment: str) -> subprocess.CompletedProcess[str]:
    """Run ``trialkit`` with arguments, something typed into it, and more in its environment."""
    words = [str(argument) for argument in arguments]
    with tempfile.TemporaryDirectory() as folder:
        files = [Path(folder) / name for name in ("in", "out", "err")]
        files[0].write_text(typed, encoding="utf-8")
        wanted = dict(os.environ) | {"NO_COLOR": "1"} | environment
        process = SERVER.Process(target=_command, args=(words, wanted, str(Path.cwd()), [str(file) for file in files]))
        process.start()
        process.join()
        out, err = (file.read_text(encoding="utf-8") for file in files[1:])
    return subprocess.CompletedProcess(["trialkit", *words], int(process.exitcode or 0), out, err)


def _command(words: list[str], environment: Mapping[str, str], folder: str, files: list[str]) -> None:
    """Put on the environment and the streams of the process, and run the command to its end."""
    os.chdir(folder)
    os.environ.clear()
    os.environ.update(environment)
    modes = (os.O_RDONLY, os.O_WRONLY | os.O_CREAT, os.O_WRONLY | os.O_CREAT)
    for stream, (file, mode) in enumerate(zip(files, modes, strict=True)):
        os.dup2(os.open(file, mode), stream)
    sys.stdin, sys.stdout, sys.stderr = (
        open(stream, mode, encoding="utf-8", closefd=False)  # noqa: SIM115
        for stream, mode in enumerate("rww")
    )
    from trialkit.cli import main

    try:
        main(words)
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
