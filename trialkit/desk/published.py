"""Pages and files that trialkit published, shown as they are, but trusted with nothing.

Only files with our mark are shown, found by their names among those that are there. A mark can be forged, and what
stands in a folder may have been sent by anybody. So a page is shown as of an origin of its own (`sandbox`): it can read
no page of the desk and has no cookie. No script runs in it but ours, and it loads, sends and frames nothing.
"""

from __future__ import annotations

from collections.abc import Collection
from functools import cache
from mimetypes import guess_type
from pathlib import Path

from flask import Response, abort

from trialkit.domain.errors import WrongCall
from trialkit.tables.own_files import kind_of, ordinary_folder

SHOWN_IN_PLACE = (".html", ".pdf")


def files_of(folder: Path, endings: Collection[str]) -> tuple[str, ...]:
    """Names of the files in a folder with one of these endings, links aside; none where the folder is not there."""
    try:
        inside = ordinary_folder(folder)
        found = [path for path in inside.iterdir() if path.is_file() and not path.is_symlink()]
    except (WrongCall, OSError):
        return ()
    return tuple(sorted(path.name for path in found if path.suffix in endings))


def show(folder: Path, file: str, endings: Collection[str]) -> Response:
    """Send a file of ours: pages and PDF files to be read in place, others to be kept."""
    if file not in files_of(folder, endings):
        abort(404)
    data = (folder / file).read_bytes()  # at once: a file held open cannot be written anew on Windows
    ending = Path(file).suffix
    if ending == ".html" and kind_of(data) is None:
        abort(404)
    response = Response(data, mimetype=guess_type(file)[0] or "application/octet-stream")
    if ending not in SHOWN_IN_PLACE:
        response.headers.set("Content-Disposition", "attachment", filename=file)
    response.headers["Content-Security-Policy"] = _policy(ending)
    response.headers["X-Frame-Options"] = "SAMEORIGIN"
    return response


def _policy(ending: str) -> str:
    """Policy of a file; a page of the desk may show it within.

    A PDF runs nothing at the desk's address, and readers of them in browsers may be shut out by a sandbox.
    """
    frames = "frame-ancestors 'self'"
    return frames if ending == ".pdf" else f"{_policy_of_pages()}; {frames}"


@cache
def _policy_of_pages() -> str:
    from trialkit.forms.phone import phone_script
    from trialkit.pages.shell import digest, page_script

    scripts = " ".join(map(digest, (page_script(), phone_script())))
    return (
        f"sandbox allow-scripts allow-downloads allow-modals; default-src 'none'; script-src {scripts}; "
        "style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
    )


def attachment(folder: Path, file: str, called: str) -> Response:
    """Send what a stranger sent us, to be kept under a name: never shown in place, whatever it is."""
    try:
        path = ordinary_folder(folder) / file
        if path.is_symlink() or not path.is_file():
            abort(404)
        data = path.read_bytes()
    except (WrongCall, OSError):
        abort(404)
    response = Response(data, mimetype="application/octet-stream")
    response.headers.set("Content-Disposition", "attachment", filename=called)
    return response
