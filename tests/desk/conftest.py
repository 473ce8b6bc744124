"""Desks to be asked without a network."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from desk_visitor import Visitor, visit


@pytest.fixture
def visitor(tmp_path: Path) -> Iterator[Visitor]:
    """A visitor of a desk in an empty folder."""
    yield from visit(tmp_path / "desk")
