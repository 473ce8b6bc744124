"""How a process of ours begins, before it loads anything."""

from __future__ import annotations

import gc
import os
from contextlib import suppress

TRIM_THRESHOLD, TOP_PAD, MMAP_THRESHOLD = -1, -2, -3
"""Names of the settings in malloc.h."""
THREAD_SETTINGS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def begin_lightly() -> None:
    """Spare threads and memory checks that cost more than they bring.

    Our matrices are small: threads inside the linear algebra cost several times what they save. Loading libraries makes
    objects by the hundred thousand that live as long as the process: looking through them for cycles after every 700
    takes a tenth of a command's time.
    """
    for name in THREAD_SETTINGS:  # read when the libraries load, which is later
        os.environ.setdefault(name, "1")
    gc.set_threshold(1_000_000, 10, 10)
    _keep_memory()


def _keep_memory() -> None:
    """Have memory of large arrays kept for the next ones; given back each time, its pages are cleared each time anew.

    The settings are those of the GNU C library; another has none of them, and keeps its ways.
    """
    import ctypes

    with suppress(AttributeError, OSError, TypeError):
        for setting, octets in ((MMAP_THRESHOLD, 1 << 30), (TRIM_THRESHOLD, 1 << 30), (TOP_PAD, 64 << 20)):
            ctypes.CDLL(None).mallopt(setting, octets)
