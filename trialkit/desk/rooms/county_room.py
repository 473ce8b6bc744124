"""The county: who stands behind the handout, with its logo."""

from __future__ import annotations

import base64
import tempfile
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from flask import Blueprint, Response, redirect, request

from trialkit.desk import deeds
from trialkit.desk.application import desk, do, page
from trialkit.desk.deeds import Deed
from trialkit.domain.units import Measures
from trialkit.languages import gettext

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

room = Blueprint("county", __name__, url_prefix="/county")
TEXTS = ("name", "programme", "contact", "sowing", "language", "measures")
LOGO = "logo.png"


@room.get("/")
def form() -> Response:
    """Show what is set, to be changed."""
    from trialkit.protocol.county import read_county

    block = read_county(desk().workspace.folder)
    said = {key: str(getattr(block.county, key) or "") if block else "" for key in TEXTS}
    logo = base64.b64encode(block.logo).decode() if block and block.logo else ""
    return page("county", said=said, logo=logo, measures=get_args(Measures))


@room.post("/")
def change() -> AnyResponse:
    """Set what was changed."""
    from trialkit.protocol.county import read_county

    folder = desk().workspace.folder
    block = read_county(folder)
    before = {key: str(getattr(block.county, key) or "") if block else "" for key in TEXTS}
    before["measures"] = before["measures"] or "both"  # as the form shows it where nothing is set
    given = {key: request.form.get(key, "").strip() for key in TEXTS}
    changes = {key: value for key, value in given.items() if value != before[key]}
    uploaded = request.files.get("logo")
    data = uploaded.read() if uploaded else b""
    if request.form.get("no_logo"):
        changes["logo"] = ""
    with tempfile.TemporaryDirectory() as aside:
        if data:
            path = Path(aside) / LOGO
            path.write_bytes(data)
            changes["logo"] = str(path)
        if changes:
            shown = changes | ({"logo": LOGO} if data else {})
            words = [word for key, value in shown.items() for word in (f"--{key}", value)]
            do(Deed(gettext("County"), (("county", *words),), partial(deeds.set_county, folder, changes)), "/county/")
    return redirect("/county/", 303)
