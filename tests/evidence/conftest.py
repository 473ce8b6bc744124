"""One ledger of three small seasons and its defaults, read by many tests and changed by none."""

import os
import shutil
from pathlib import Path

import pytest
from filelock import FileLock

from seasons import three_seasons
from trialkit.documents.recommended import Recommended
from trialkit.evidence.versions import recommend_anew


@pytest.fixture(scope="session")
def seasons(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[Path, ...]]:
    """The ledger, and the folders of its trials: made once, however many processes run the tests."""
    place = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        place = place.parent
    with FileLock(place / "seasons.lock"):
        made = place / "seasons"
        if not (made / "done").exists():
            three_seasons(made / "ledger", made)
            (made / "done").touch()
    return made / "ledger", tuple(made / name for name in ("one", "two", "three"))


@pytest.fixture(scope="session")
def first(seasons: tuple[Path, tuple[Path, ...]], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Recommended]:
    """A copy of the ledger with its first version, and that version."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path_factory.mktemp("first") / "ledger"))
    return ledger, recommend_anew(ledger, "0.1.0").document
