"""Consoles of other systems: code pages that lack what strangers write, line ends, and names that Windows refuses.

What a Windows machine does itself (its file locks, its console) cannot be tried here; DEVELOPERS.md says so.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path, PureWindowsPath

import pytest

from commands import run
from trialkit.protocol.starting import example_folder

STRANGE = "漢字é☃🥬"


@pytest.fixture(scope="module")
def odd(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trial with a cell that no code page can show."""
    folder = tmp_path_factory.mktemp("odd") / "où 漢"
    shutil.copytree(example_folder("volunteer_cultivars"), folder)
    heads = folder / "heads.csv"
    heads.write_text(heads.read_text("utf-8").replace(",harvested,", f",{STRANGE},", 1), "utf-8")
    return folder


def _check(folder: Path, encoding: str, *options: str) -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, "-m", "trialkit", "check", str(folder), *options]
    return subprocess.run(command, capture_output=True, env={**os.environ, "PYTHONIOENCODING": encoding}, check=False)


@pytest.mark.parametrize("encoding", ["cp437", "cp1252", "cp850", "ascii", "utf-8"])
def test_cells_of_strangers_are_told_on_any_console(odd: Path, encoding: str) -> None:
    """Spelt where the code page lacks them; the program goes on, and JSON stays JSON."""
    told = _check(odd, encoding)
    assert told.returncode == 1
    assert b"Traceback" not in told.stderr
    assert b"heads.csv, row" in told.stdout
    answer = json.loads(_check(odd, encoding, "--json").stdout.decode(encoding))
    assert STRANGE in {problem["found"].strip('"') for problem in answer["answer"]["problems"]}


def test_tables_with_the_line_ends_of_windows_are_the_same(tmp_path: Path) -> None:
    """And with the mark that its programs put before the text."""
    folder = tmp_path / "crlf"
    shutil.copytree(example_folder("volunteer_cultivars"), folder)
    for path in [*folder.glob("*.csv"), folder / "trial.toml"]:
        data = path.read_bytes().replace(b"\r\n", b"\n").replace(b"\n", b"\r\n")
        path.write_bytes((b"\xef\xbb\xbf" if path.suffix == ".csv" else b"") + data)
    assert run("check", folder).returncode == 0
    assert run("analyse", folder).returncode == 0


def test_every_file_has_a_name_that_windows_takes(tmp_path: Path) -> None:
    """No mark that it refuses, no device, no end that it drops, no two that differ in capitals alone; short ways."""
    folder = tmp_path / "trial"
    shutil.copytree(example_folder("volunteer_cultivars"), folder)
    for words in (("analyse", folder), ("report", folder), ("check", folder, "--html"), ("forms", folder)):
        assert run(*words).returncode == 0
    assert run("evidence", "add", folder, "--ledger", tmp_path / "ledger").returncode == 0
    names = [path.relative_to(tmp_path) for path in tmp_path.rglob("*")]
    assert len(names) > 50
    for name in names:
        assert not set(name.name) & set('<>:"|?*\\'), name
        assert not PureWindowsPath(name.name).is_reserved(), name
        assert not name.name.endswith((".", " ")), name
        assert len(str(name)) < 150, name
    assert len({str(name).casefold() for name in names}) == len(names)
