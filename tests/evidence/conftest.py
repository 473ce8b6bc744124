"""One ledger of three small seasons, read by many tests and changed by none."""

from __future__ import annotations

from pathlib import Path

import pytest

from seasons import three_seasons


@pytest.fixture(scope="session")
def seasons(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[Path, ...]]:
    """The ledger, and the folders of its trials."""
    place = tmp_path_factory.mktemp("seasons")
    return place / "ledger", three_seasons(place / "ledger", place)
