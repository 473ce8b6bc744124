"""One ledger of three small seasons and its defaults, read by many tests and changed by none."""

import shutil
from pathlib import Path

import pytest

from once import once
from seasons import three_seasons
from trialkit.documents.recommended import Recommended
from trialkit.evidence.versions import recommend_anew
from trialkit.planning.next_trial import propose


@pytest.fixture(scope="session")
def seasons(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[Path, ...]]:
    """The ledger, and the folders of its trials: made once, however many processes run the tests."""
    made = once(tmp_path_factory, "seasons", lambda place: three_seasons(place / "ledger", place))
    return made / "ledger", tuple(made / name for name in ("one", "two", "three"))


@pytest.fixture(scope="session")
def first(seasons: tuple[Path, tuple[Path, ...]], tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Recommended]:
    """A copy of the ledger with its first version, and that version."""
    ledger = Path(shutil.copytree(seasons[0], tmp_path_factory.mktemp("first") / "ledger"))
    return ledger, recommend_anew(ledger, "0.1.0", propose).document
