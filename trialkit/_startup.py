"""How a process of ours begins, before it loads anything."""

from __future__ import annotations

import gc
import os

THREAD_SETTINGS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def begin_lightly() -> None:
    """Spare threads and memory checks that cost more than they bring.

    Our matrices are small: threads inside the linear algebra cost several times what they save. Loading libraries makes
    objects by the hundred thousand that live as long as the process: looking through them for cycles after every 700
    takes a tenth of a command's time.
    """
    for name in THREAD_SETTINGS:  # read when the libraries load, which is later
        os.environ.setdefault(name, "1")
    gc.set_threshold(300_000, 10, 10)
