"""Opening a browser on the secret link, so that no list of processes tells the link to other users of the machine."""

from __future__ import annotations

import shutil
import sys
import tempfile
import webbrowser
from html import escape
from pathlib import Path
from threading import Event

ARGUMENTS_ARE_PRIVATE = sys.platform in ("win32", "darwin")
"""Windows shows them to nobody else; on macOS a browser is told what to open by a message."""
LONGEST_WAIT_S = 60.0


def open_browser(link: str, folder: Path, opened: Event) -> None:
    """Open a browser on a link, through a page that only we can read and that leads on to it where that is needed.

    The page stands in the folder of the desk, for a moment: browsers that are kept apart from the rest of a system see
    neither temporary nor hidden folders. Where it cannot be, no browser is opened: the link was told.

    Parameters
    ----------
    link : str
    folder : Path
    opened : Event
        Set once the link was used, or nobody waits for it any more.
    """
    if ARGUMENTS_ARE_PRIVATE:
        webbrowser.open(link)
        return
    try:
        private = Path(tempfile.mkdtemp(prefix="opening-", dir=folder))  # for nobody else to look into
    except OSError:
        return
    try:
        page = private / "open.html"
        page.touch(0o600, exist_ok=False)
        page.write_text(_leading_to(link), "utf-8")
        webbrowser.open(page.as_uri())
        opened.wait(LONGEST_WAIT_S)
    except OSError:
        pass
    finally:
        shutil.rmtree(private, ignore_errors=True)


def _leading_to(link: str) -> str:
    address = escape(link)
    return (
        '<!DOCTYPE html><html lang="en"><meta charset="utf-8"><title>trialkit desk</title>'
        f'<meta http-equiv="refresh" content="0; url={address}"><a href="{address}">trialkit desk</a></html>\n'
    )
