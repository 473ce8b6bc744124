"""Whatever a trial's folder is made into has the same bytes in another process, with everything about it changed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from commands import run
from contents import contents
from small_trial import write_small_trial

WORK = (["plan", "--simulations", "100"], ["check", "--html"], ["forms"], ["analyse"], ["report"], ["pack"])
IN_A_NEW_INTERPRETER = f"""
import sys
from trialkit.cli.main import group
for words in {WORK!r}:
    group.main([*words, sys.argv[1]], standalone_mode=False)
"""
CHANGES = {
    "hash seed": {"PYTHONHASHSEED": "4711"},
    "time zone": {"TZ": "Pacific/Kiritimati"},
    "locale": {"LC_ALL": "C", "PYTHONUTF8": "0", "MPLBACKEND": "agg"},
    "threads of the linear algebra": {"OPENBLAS_NUM_THREADS": "2"},
    "a new interpreter": {},
}


def made_here(records: Path, folder: Path) -> dict[str, bytes]:
    """Do the whole work on a copy, in this process; return every file."""
    shutil.copytree(records, folder)
    for words in WORK:
        done = run(*words, folder)
        assert done.returncode == 0, done.stderr
    return contents(folder)


def made_elsewhere(records: Path, folder: Path, environment: dict[str, str]) -> dict[str, bytes]:
    """Do it in a new interpreter, beside a reader's own plotting settings."""
    shutil.copytree(records, folder)
    at_work = Path(tempfile.mkdtemp(dir=folder.parent))
    (at_work / "matplotlibrc").write_text("font.size: 31\naxes.facecolor: pink\nsvg.hashsalt: other\n", "utf-8")
    as_usual = os.environ | {"PYTHONHASHSEED": "0", "TZ": "UTC", "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-c", IN_A_NEW_INTERPRETER, str(folder)]
    subprocess.run(command, env=as_usual | environment, check=True, capture_output=True, cwd=at_work)
    return contents(folder)


def test_the_same_bytes(tmp_path: Path) -> None:
    """Plan, check, forms, results, report and data package, with everything changed; if not, with one after another."""
    write_small_trial(tmp_path / "records", sites=3, blocks=2, doses=4)
    small = tmp_path / "records"
    usual = made_here(small, tmp_path / "usual")
    assert len(usual) > 18
    everything = {name: value for change in CHANGES.values() for name, value in change.items()}
    found = made_elsewhere(small, tmp_path / "elsewhere", everything)
    if found != usual:
        blamed = [name for name, change in CHANGES.items() if made_elsewhere(small, tmp_path / name, change) != usual]
        changed = sorted(file for file in usual | found if found.get(file) != usual.get(file))
        raise AssertionError(f"{blamed} change {changed}")
