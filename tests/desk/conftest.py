"""Desks to be asked without a network."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from desk_visitor import Visitor, visit
from returned_files import Good, good_return


@pytest.fixture
def visitor(tmp_path: Path) -> Iterator[Visitor]:
    """A visitor of a desk in an empty folder."""
    yield from visit(tmp_path / "desk")


@pytest.fixture
def good() -> Good:
    """What a garden returns."""
    return good_return()


@pytest.fixture
def laid_out(visitor: Visitor, good: Good) -> Visitor:
    """A desk with one trial that is laid out, without any record."""
    good.write_trial(visitor.desk.workspace.folder / "fern")
    return visitor
