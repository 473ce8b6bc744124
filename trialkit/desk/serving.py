"""How a desk begins, is found and ends."""

from __future__ import annotations

import socket
import threading
import time
import webbrowser
from collections.abc import Callable
from pathlib import Path

from trialkit.desk.application import make_application
from trialkit.desk.guard import Guard

LOOPBACK = "127.0.0.1"
IDLE_HOURS = 12.0
"""Without a page asked for, a desk ends by itself."""
LOOK_EVERY_S = 5.0


def serve(folder: Path, *, port: int, idle_hours: float, told: Callable[[str], None], open_browser: bool) -> None:
    """Serve a desk until it is told to end, or nobody has asked it for anything in so many hours.

    Parameters
    ----------
    folder : Path
    port : int
        0 for any that is free.
    idle_hours : float
    told : callable
        Told the link.
    open_browser : bool
        Whether to open it.

    Raises
    ------
    OSError
        If the port is taken.
    """
    from waitress.server import create_server

    with socket.create_server((LOOPBACK, port)) as listening:
        guard = Guard(LOOPBACK, listening.getsockname()[1])
        application = make_application(folder, guard)
        here = application.extensions["desk"]
        server = create_server(application, sockets=[listening], threads=8, ident=None)
        ending = threading.Event()
        here.stop = ending.set

        def watch() -> None:
            while not ending.wait(LOOK_EVERY_S):
                if not here.jobs.working() and time.monotonic() - here.last_asked > idle_hours * 3600:
                    break
            time.sleep(0.5)  # for the last page to be sent
            server.close()

        threading.Thread(target=watch, daemon=True).start()
        told(guard.link)
        if open_browser:
            threading.Thread(target=webbrowser.open, args=(guard.link,), daemon=True).start()
        try:
            server.run()
        finally:
            ending.set()
            here.jobs.stop_all()
