"""What many tests read and none changes is made once, however many processes run them."""

import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import pytest
from filelock import FileLock

T = TypeVar("T")


def once(places: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """Return a folder that is made by the first who asks, while others who ask wait."""
    place = places.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        place = place.parent
    with FileLock(place / f"{name}.lock"):
        if not (place / f"{name}.done").exists():
            (place / name).mkdir()
            make(place / name)
            (place / f"{name}.done").touch()
    return place / name


def value_once(places: pytest.TempPathFactory, name: str, make: Callable[[], T]) -> T:
    """Return a value that is made by the first who asks; each who asks has a copy of it."""
    folder = once(places, name, lambda place: (place / "value").write_bytes(pickle.dumps(make())))
    value: T = pickle.loads((folder / "value").read_bytes())
    return value
