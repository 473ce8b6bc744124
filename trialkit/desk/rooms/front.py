"""The front room: what there is, what is being done, and the language."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import Blueprint, Response, abort, redirect, request

from trialkit.desk.application import LANGUAGE_COOKIE, desk, page, told_as_done, where_begun
from trialkit.desk.deeds import command_line
from trialkit.desk.drafts import Drafts
from trialkit.languages import LANGUAGES, gettext
from trialkit.words.term_words import MEANINGS, term

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

    from trialkit.desk.jobs import Job

room = Blueprint("front", __name__)


@room.get("/")
def home() -> Response:
    """What is in the folder, and what can be begun."""
    here = desk().workspace
    drafts, jobs = Drafts(here.folder).listed(), desk().jobs.working()
    return page("home", trials=here.trials(), has_ledger=here.has_ledger, folder=here.folder, drafts=drafts, jobs=jobs)


@room.get("/job/<job_id>")
def job(job_id: str) -> AnyResponse:
    """How a deed that takes long stands; once it is done, where it leads."""
    found = desk().jobs.get(job_id)
    if found is None:
        abort(404)
    if found.state == "done":
        return told_as_done(redirect(found.where_next, 303), found.deed)
    return page("job", job=found, doing=gettext(found.doing), how_far=_how_far(found), trouble=found.trouble)


def _how_far(found: Job) -> str:
    return gettext("{done} of {of}", done=found.done, of=found.of) if found.of > 1 else ""


@room.get("/job/<job_id>/state")
def job_state(job_id: str) -> Response | dict[str, object]:
    """Say how it stands, for the script of its page."""
    found = desk().jobs.get(job_id)
    if found is None:
        abort(404)
    return {
        "state": found.state,
        "doing": gettext(found.doing),
        "done": found.done,
        "of": found.of,
        "told": _how_far(found),
    }


@room.post("/job/<job_id>/stop")
def stop_job(job_id: str) -> AnyResponse:
    """Stop it; files are as before or as after."""
    desk().jobs.stop(job_id)
    return redirect(f"/job/{job_id}", 303)


@room.get("/words/")
def words() -> Response:
    """What every term means, in the order of the alphabet."""
    return page("words", terms=sorted(map(term, MEANINGS), key=lambda one: one.name.casefold()))


@room.get("/did/<int:number>/<file>")
def read_file(number: int, file: str) -> Response:
    """Hand out what a command of the list reads."""
    found = next((data for at, deed in desk().done if at == number for name, data in deed.files if name == file), None)
    if found is None:
        abort(404)
    response = Response(found, mimetype="application/octet-stream")  # to be saved, whatever it is
    response.headers.set("Content-Disposition", "attachment", filename=file)
    return response


@room.post("/language")
def language() -> AnyResponse:
    """Speak another language from now on."""
    wanted = request.form.get("language", "")
    if wanted not in LANGUAGES:
        abort(400)
    response = redirect(where_begun(), 303)
    response.set_cookie(LANGUAGE_COOKIE, wanted, httponly=True, samesite="Strict")
    return response


@room.post("/close")
def close() -> Response:
    """End the desk; where something is at work, ask first."""
    here = desk()
    if (working := here.jobs.working()) and not request.form.get("sure"):
        return page("closing", working=working)
    here.stop()
    words = "desk", str(here.workspace.folder)
    return page("closed", command=command_line(words))
