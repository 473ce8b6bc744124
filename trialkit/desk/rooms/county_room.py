"""The county: who stands behind the handout, with its logo, and what its data packages tell alike."""

from __future__ import annotations

import base64
import tempfile
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, get_args

from flask import Blueprint, Response, redirect, request

from trialkit.desk import deeds
from trialkit.desk.application import desk, do, page
from trialkit.desk.deeds import Deed
from trialkit.desk.field_faults import FieldFault, by_field, faults_of
from trialkit.desk.rooms.settings import LISTS, people_text
from trialkit.desk.typed import form_values
from trialkit.domain.table_names import COUNTY_FILE
from trialkit.domain.units import Measures
from trialkit.languages import gettext
from trialkit.protocol.county import read_county
from trialkit.protocol.publication import Licence
from trialkit.tables.problem import TrialError

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

    from trialkit.documents.problems import Problem

room = Blueprint("county", __name__, url_prefix="/county")
TEXTS = ("name", "programme", "contact", "sowing", "language", "measures")
OF_DATA = ("publisher", "licence", "licence_holder", "country")
LOGO = "logo.png"


@room.get("/")
def form() -> Response:
    """Show what is set, to be changed."""
    return _shown(_set_now())


def _set_now() -> dict[str, str]:
    """What county.toml says, as the form shows it."""
    block = read_county(desk().workspace.folder)
    said = {key: str(getattr(block.county, key) or "") if block else "" for key in TEXTS}
    said |= {key: str(getattr(block.publication, key) or "") if block else "" for key in OF_DATA}
    people = [one.model_dump(exclude_defaults=True) for one in block.publication.people] if block else []
    return said | {"measures": said["measures"] or "both", "people": people_text(people)}


def _shown(
    said: Mapping[str, str], faults: Sequence[FieldFault] = (), before: Mapping[str, str] | None = None
) -> Response:
    block = read_county(desk().workspace.folder)
    logo = base64.b64encode(block.logo).decode() if block and block.logo else ""
    return page(
        "county",
        422 if faults else 200,
        said=said,
        before=_set_now() if before is None else before,
        logo=logo,
        measures=get_args(Measures),
        licence_choices=[("", "–"), *((one, one) for one in get_args(Licence))],
        faults=by_field(faults),
    )


@room.post("/")
def change() -> AnyResponse:
    """Set what was changed, or show what is wrong with it beside what was typed.

    What somebody else changed meanwhile is never overwritten. Where the county is that of the folder above, all of it
    is written here: what is set here counts alone.
    """
    folder, now, form = desk().workspace.folder, _set_now(), form_values(request.form)
    given = {key: form.get(key, now[key]).strip() for key in now}
    before = {key: form.get(f"was-{key}", now[key]).strip() for key in now}
    changed = [key for key in now if given[key] != before[key]]
    faults = [
        FieldFault(key, gettext("It was changed meanwhile, and says now: {now}", now=now[key] or "–"))
        for key in changed
        if now[key].strip() != before[key]
    ]
    if faults:
        return _shown(given, faults)
    block = read_county(folder)
    is_first = not (folder / COUNTY_FILE).exists()
    wanted = [key for key in now if given[key]] if is_first and changed and block else changed
    changes = {key: given[key] for key in wanted if key != "people"}
    files: dict[str, tuple[str, bytes]] = {}
    if "people" in wanted:
        files["people"] = (LISTS["people"], given["people"].encode("utf-8"))
    uploaded = request.files.get("logo")
    if data := uploaded.read() if uploaded else b"":
        files["logo"] = (LOGO, data)
    elif form.get("no_logo"):
        changes["logo"] = ""
    elif is_first and wanted and block and block.logo:
        files["logo"] = (LOGO, block.logo)
    if not changes and not files:
        return redirect("/county/", 303)
    shown = changes | {key: name for key, (name, _) in files.items()}
    words = [word for key, value in shown.items() for word in (f"--{key.replace('_', '-')}", value)]
    with tempfile.TemporaryDirectory() as aside:
        for key, (name, content) in files.items():
            path = Path(aside) / name
            path.write_bytes(content)
            changes[key] = str(path)
        deed = Deed(
            gettext("County"),
            (("county", *words),),
            partial(deeds.set_county, folder, changes),
            tuple(files.values()),
        )
        try:
            return do(deed, "/county/")
        except TrialError as error:
            return _shown(given, faults_of(error, _field_of), before)


def _field_of(one: Problem) -> str:
    if one.file == "people.csv":
        return "people"
    field = (one.column or "").removeprefix("--").replace("-", "_")
    return field if field in (*TEXTS, *OF_DATA, "people", "logo") else ""
