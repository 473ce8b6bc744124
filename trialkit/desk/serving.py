"""How a desk begins, is found and ends."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from werkzeug.http import parse_cookie

from trialkit.desk.application import MOST_BYTES, make_application
from trialkit.desk.guard import Guard
from trialkit.desk.opening import open_browser

if TYPE_CHECKING:
    from flask import Flask

LOOPBACK = "127.0.0.1"
IDLE_HOURS = 12.0
"""Without a page asked for, a desk ends by itself."""
LOOK_EVERY_S = 5.0
MOST_SPOOLED_BYTES = 4 * MOST_BYTES
"""Of who was let in, so that the desk itself can say in words that it is too much."""
MOST_CONNECTIONS = 40
SILENT_SECONDS = 30
"""After which a connection that says nothing is closed."""


def listen(port: int) -> socket.socket:
    """Take a port of this machine; 0 for any that is free.

    Raises
    ------
    OSError
        If it is taken.
    """
    return socket.create_server((LOOPBACK, port))


def serve(
    folder: Path, listening: socket.socket, *, idle_hours: float, told: Callable[[str], None], with_browser: bool
) -> None:
    """Serve a desk until it is told to end, or nobody has asked it for anything in so many hours.

    Parameters
    ----------
    folder : Path
    listening : socket
        As `listen` gives it; it is closed at the end.
    idle_hours : float
    told : callable
        Told the link.
    with_browser : bool
        Whether to open it.
    """
    with listening:
        guard = Guard(LOOPBACK, listening.getsockname()[1])
        application = make_application(folder, guard)
        here = application.extensions["desk"]
        server = _server(application, listening, guard)
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
        opening = threading.Thread(target=open_browser, args=(guard.link, folder, here.opened), daemon=True)
        if with_browser:
            opening.start()
        try:
            server.run()
        finally:
            ending.set()
            here.opened.set()
            if with_browser:
                opening.join(LOOK_EVERY_S)
            here.jobs.stop_all()


def _server(application: Flask, listening: socket.socket, guard: Guard) -> Any:
    """Make a server that takes in no byte of what a stranger sends beyond the heading: a body waits on the disk."""
    from waitress.channel import HTTPChannel
    from waitress.parser import HTTPRequestParser, ParsingError
    from waitress.server import create_server

    class Parser(HTTPRequestParser):  # type: ignore[misc]
        """Refuses what the application would refuse, before there is anything to keep."""

        def parse_header(self, header_plus: bytes) -> None:
            super().parse_header(header_plus)
            if self.body_rcv is not None and guard.refuses(self.command, self._header, self._session):
                raise ParsingError("This desk takes nothing from strangers.")

        def _header(self, name: str) -> str | None:
            found: str | None = self.headers.get(name.upper().replace("-", "_"))
            return found

        @property
        def _session(self) -> str:
            return parse_cookie(self._header("Cookie")).get(guard.cookie, "")

    class Channel(HTTPChannel):  # type: ignore[misc]
        parser_class = Parser

    server = create_server(
        application,
        sockets=[listening],
        threads=8,
        ident=None,
        max_request_body_size=MOST_SPOOLED_BYTES,
        connection_limit=MOST_CONNECTIONS,
        channel_timeout=SILENT_SECONDS,
        cleanup_interval=SILENT_SECONDS,
    )
    server.channel_class = Channel
    return server
