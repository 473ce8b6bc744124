"""Deeds for jobs: they stand where a process of its own finds them."""

from __future__ import annotations

import errno
import time
from pathlib import Path

from trialkit.desk.deeds import Told
from trialkit.domain.errors import WrongCall


def count(told: Told) -> None:
    """Count to three."""
    for done in range(3):
        told("counting", done, 3)


def refuse(told: Told) -> None:  # noqa: ARG001
    """Say what cannot be."""
    raise WrongCall("This cannot be.")


def fill_the_disk(told: Told) -> None:  # noqa: ARG001
    """Find no room."""
    raise OSError(errno.ENOSPC, "No space left on device", "heads.csv")


def fall(told: Told) -> None:  # noqa: ARG001
    """Have a bug."""
    raise RuntimeError("a bug")


def sleep(mark: Path, told: Told) -> None:
    """Say that it began, then take long."""
    told("sleeping", 0, 1)
    mark.write_text("began")
    time.sleep(60)
    mark.write_text("ended")
