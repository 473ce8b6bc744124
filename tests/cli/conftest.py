"""A small trial, analysed once for all tests of commands."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from commands import run
from once import once
from small_trial import write_small_trial


def _analysed(folder: Path) -> None:
    write_small_trial(folder / "trial", sites=3, blocks=2, cultivars=2, days=False)
    done = run("analyse", folder / "trial")
    assert done.returncode == 0, done.stderr


@pytest.fixture(scope="session")
def analysed_trial(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A trial that is quickly analysed, and its results; not to be changed."""
    return once(tmp_path_factory, "analysed", _analysed) / "trial"


@pytest.fixture
def analysed(analysed_trial: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    return Path(shutil.copytree(analysed_trial, tmp_path / "small"))


@pytest.fixture
def small(analysed: Path) -> Path:
    """A copy of it as it was before the analysis."""
    shutil.rmtree(analysed / "results")
    return analysed
