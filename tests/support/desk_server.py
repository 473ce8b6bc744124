"""A desk as one starts it: a process that prints its link."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

LINK = re.compile(r"http://127\.0\.0\.1:\d+/open\?key=\S+")


@contextmanager
def served(folder: Path, *options: str, browser: Path | None = None) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Start a desk on a folder; give its process and its link, and end it afterwards; no browser but one given."""
    none = [] if browser else ["--no-browser"]
    command = [sys.executable, "-m", "trialkit", "desk", str(folder), *none, *options]
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"} | ({"BROWSER": str(browser)} if browser else {})
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment
    ) as process:
        try:
            assert process.stdout is not None
            link = None
            for line in process.stdout:
                if link := LINK.search(line):
                    break
            assert link, "the desk told no link"
            yield process, link[0]
        finally:
            if process.poll() is None:
                process.send_signal(signal.SIGINT)
                try:
                    process.wait(20)
                except subprocess.TimeoutExpired:
                    process.kill()
