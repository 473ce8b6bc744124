"""Whatever a trial's folder is made into has the same bytes in another process, with everything about it changed."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

WORK = """
import sys
from trialkit.cli.main import group
for words in (["plan", "--simulations", "100"], ["check", "--html"], ["forms"], ["analyse"], ["report"], ["pack"]):
    group.main([*words, sys.argv[1]], standalone_mode=False)
"""
CHANGES = {
    "hash seed": {"PYTHONHASHSEED": "4711"},
    "time zone": {"TZ": "Pacific/Kiritimati"},
    "locale": {"LC_ALL": "C", "PYTHONUTF8": "0"},
    "threads of the linear algebra": {"OPENBLAS_NUM_THREADS": "2"},
}


def made(records: Path, folder: Path, environment: dict[str, str]) -> dict[str, str]:
    """Do the whole work on a copy, in a new interpreter; return the digest of every file."""
    shutil.copytree(records, folder, ignore=shutil.ignore_patterns("results", "forms"))
    as_usual = os.environ | {"PYTHONHASHSEED": "0", "TZ": "UTC", "OPENBLAS_NUM_THREADS": "1"}
    subprocess.run(
        [sys.executable, "-c", WORK, str(folder)], env=as_usual | environment, check=True, capture_output=True
    )
    files = (path for path in sorted(folder.rglob("*")) if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def test_the_same_bytes(small: Path, tmp_path: Path) -> None:
    """Plan, check, forms, results, report and data package, with everything changed; if not, with one after another."""
    usual = made(small, tmp_path / "usual", {})
    assert len(usual) > 18
    everything = {name: value for change in CHANGES.values() for name, value in change.items()}
    found = made(small, tmp_path / "elsewhere", everything)
    if found != usual:
        to_blame = [name for name, change in CHANGES.items() if made(small, tmp_path / name, change) != usual]
        changed = sorted(file for file in usual | found if found.get(file) != usual.get(file))
        raise AssertionError(f"{to_blame} change {changed}")
