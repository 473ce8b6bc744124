"""Pages and files that trialkit published, shown as they are: each brings its own policy, under which it loads nothing.

Only files of ours are shown, found by their names among those that are there: never what a stranger put into a folder.
"""

from __future__ import annotations

from collections.abc import Collection
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
    response.headers["Content-Security-Policy"] = "frame-ancestors 'self'"  # a page of the desk shows it within
    response.headers["X-Frame-Options"] = "SAMEORIGIN"
    return response


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
