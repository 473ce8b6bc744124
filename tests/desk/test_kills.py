"""A desk that is killed in any deed leaves old or new, ends its job with it, and another desk goes on.

Here one place of each deed; all of them: tests/benchmarks/kills.py.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from desk_kills import DEEDS, desk_sweep_of

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="processes are forked from one that has all loaded")


@pytest.mark.parametrize("name", DEEDS)
def test_killed_anywhere_a_desk_leaves_old_or_new(world: Path, tmp_path: Path, name: str) -> None:
    """By SIGKILL at a call by which the deed changes files, each deed at another part of its way."""
    with desk_sweep_of(world, DEEDS[name], tmp_path) as sweep:
        part = (list(DEEDS).index(name) * 5 + 3) % 11 / 11
        assert sweep.killed(1 + int(part * len(sweep.calls))) in ("old", "new", "between")
