"""The desk as a web application: its rooms, its guard, and how a deed is done and told."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from pathlib import Path
from threading import Event, Lock
from time import monotonic
from typing import TYPE_CHECKING, Any
from urllib.parse import quote, urlsplit

from flask import Flask, Response, abort, current_app, g, redirect, request
from markupsafe import Markup

from trialkit.desk.deeds import Deed, WentWrong, trouble_of
from trialkit.desk.guard import HEADERS, OPEN, SAFE_METHODS, TOKEN, Guard
from trialkit.desk.jobs import Jobs
from trialkit.desk.newest import Newest
from trialkit.desk.workspace import Workspace
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.languages import ENGLISH, LANGUAGES, gettext, own_name, speaking
from trialkit.pages.palette import custom_properties
from trialkit.pages.shell import SHARED_TEMPLATES, environment
from trialkit.tables.problem import TrialError
from trialkit.words.phrases import date_words, season_words
from trialkit.words.term_words import Term, term

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

TEMPLATES = Path(__file__).parent / "templates"
MOST_BYTES = 64 << 20
"""Of one request, whatever it carries."""
MOST_FIELD_BYTES = 1 << 20
MOST_PARTS = 2000
LINE_FORM = "application/x-www-form-urlencoded"
"""A form without files, as browsers send it."""
MOST_REMEMBERED = 50
LANGUAGE_COOKIE = "desk-language"
DONE_COOKIE = "desk-done"
"""Number of the deed that the next page tells of."""


@dataclass
class Desk:
    """One run of a desk: its folder, its guard, its jobs, and what it did so far; all else is in the folder."""

    workspace: Workspace
    guard: Guard
    jobs: Jobs = field(default_factory=Jobs)
    done: list[tuple[int, Deed]] = field(default_factory=list)
    whole_answers: Newest = field(default_factory=Newest)
    last_asked: float = field(default_factory=monotonic)
    stop: Callable[[], None] = lambda: None
    opened: Event = field(default_factory=Event)
    """Whether anybody used the secret link."""
    _numbers: Iterator[int] = field(default_factory=partial(count, 1))
    _lock: Lock = field(default_factory=Lock)

    def __post_init__(self) -> None:
        """Hear of long deeds once they are done."""
        self.jobs.when_done = self.remember

    def remember(self, deed: Deed) -> None:
        """Keep what was done, for the list at the foot of each page; several threads may tell at once."""
        with self._lock:
            self.done = [*self.done, (next(self._numbers), deed)][-MOST_REMEMBERED:]

    def number_of(self, deed: Deed) -> int | None:
        """Number of a deed that is remembered."""
        return next((number for number, one in self.done if one is deed), None)


def desk() -> Desk:
    """Return the desk that is being asked."""
    found: Desk = current_app.extensions["desk"]
    return found


def make_application(folder: Path, guard: Guard) -> Flask:
    """Put a desk together.

    Parameters
    ----------
    folder : Path
        In which trials and ledger are.
    guard : Guard
        With the address at which it will be served.
    """
    from trialkit.desk.rooms import ROOMS

    made = Flask("trialkit.desk", static_folder=None, template_folder=None)
    made.config.update(MAX_CONTENT_LENGTH=MOST_BYTES, MAX_FORM_MEMORY_SIZE=MOST_FIELD_BYTES, MAX_FORM_PARTS=MOST_PARTS)
    made.extensions["desk"] = Desk(Workspace(folder), guard)
    made.before_request(_let_in)
    made.after_request(_dress)
    made.add_url_rule(OPEN, "open", _open)
    made.add_url_rule("/desk.css", "style", _style)
    made.add_url_rule("/desk.js", "script", _script)
    for room in ROOMS:
        made.register_blueprint(room)
    for status in (400, 403, 404, 405, 413, 500):
        made.register_error_handler(status, _refused)
    made.register_error_handler(TrialError, _in_trouble)
    made.register_error_handler(WrongCall, _in_trouble)
    made.register_error_handler(NotComputed, _in_trouble)
    made.register_error_handler(OSError, _in_trouble)
    return made


class PageTerms:
    """Terms that a page uses, each explained once: a button in the text opens the explanation, without a script.

    A browser that knows no popovers shows the explanations at the foot of the page.
    """

    def __init__(self) -> None:
        self.used: dict[str, Term] = {}

    def __call__(self, key: str, text: str = "") -> Markup:
        """Name a term, in other words where the sentence needs them."""
        found = self.used.setdefault(key, term(key))
        return Markup('<button type="button" class="term" popovertarget="term-{}">{}</button>').format(
            key, text or found.name
        )


def page(template: str, status: int = 200, **parts: Any) -> Response:
    """Fill in a template of the desk, in the language of its reader."""
    here = desk()
    just_done = next((deed for number, deed in here.done if str(number) == request.cookies.get(DONE_COOKIE)), None)
    text = (
        environment(TEMPLATES)
        .get_template(f"{template}.html.jinja")
        .render(
            term=PageTerms(),
            token=here.guard.token,
            done=here.done[::-1],
            just_done=just_done,
            language=g.language,
            languages=LANGUAGES,
            date_words=date_words,
            season_words=season_words,
            own_name=own_name,
            back_here=parts.pop("back_here", "") or _where_one_is(),
            **parts,
        )
    )
    response = Response(text, status, mimetype="text/html")
    if DONE_COOKIE in request.cookies:
        response.delete_cookie(DONE_COOKIE)
    return response


def told_as_done(response: AnyResponse, deed: Deed) -> AnyResponse:
    """Have the next page say that a deed was done."""
    number = desk().number_of(deed)
    if number is not None:
        response.set_cookie(DONE_COOKIE, str(number), httponly=True, samesite="Strict")
    return response


def do(deed: Deed, where_next: str) -> AnyResponse:
    """Do a deed that is quick, then go on; what it raises is told on a page of its own."""
    with speaking(ENGLISH):  # what is written is what the command writes, whatever the page's language
        deed.run(lambda *_: None)
    desk().remember(deed)
    return told_as_done(redirect(where_next, 303), deed)


def do_at_length(deed: Deed, where_next: str) -> AnyResponse:
    """Begin a deed that takes long, and go to the page that says how it stands."""
    job = desk().jobs.start(deed, where_next, where_begun())
    return redirect(f"/job/{job.id}", 303)


def trial_page(name: str, more: str = "") -> str:
    """Address of a trial's page, or of one within it, whatever its folder is called."""
    return f"/trial/{quote(name, safe='')}/{more}"


def trial_folder(name: str) -> Path:
    """Folder of a trial that a path names; no page where there is none."""
    found = desk().workspace.find(name)
    if found is None:
        abort(404)
    return found


def _let_in() -> None:
    here = desk()
    g.language = request.cookies.get(LANGUAGE_COOKIE, ENGLISH)
    if g.language not in LANGUAGES:
        g.language = ENGLISH
    g.speaking = speaking(g.language)
    g.speaking.__enter__()
    header = request.headers.get
    if request.path == OPEN:
        if here.guard.refuses_address(header):
            abort(403)
        return
    if here.guard.refuses(request.method, header, request.cookies.get(here.guard.cookie, "")):
        abort(403)
    g.is_in = True
    if request.method not in SAFE_METHODS:
        if request.mimetype == LINE_FORM:
            _hold_line_form()
        if not here.guard.is_token(request.form.get(TOKEN, "")):
            abort(403)
        g.form_back = request.form.get("back", "")
    here.last_asked = monotonic()


def _hold_line_form() -> None:
    """Hold a form in one line to the limits that its reader knows only of forms in parts."""
    if (request.content_length or 0) > MOST_FIELD_BYTES or request.get_data().count(b"&") >= MOST_PARTS:
        abort(413)


def _dress(response: Response) -> Response:
    for name, value in HEADERS.items():
        response.headers.setdefault(name, value)
    if speaks := g.pop("speaking", None):
        speaks.__exit__(None, None, None)
    return response


def _open() -> AnyResponse:
    """Let in who has the link, and take the secret out of the address.

    The link holds as long as the desk runs, for another window or another browser: only its own terminal tells it.
    """
    guard = desk().guard
    if not guard.is_key(request.args.get("key", "")):
        abort(403)
    response = redirect("/", 303)
    if (
        request.headers.get("Sec-Fetch-Site") == "cross-site"
    ):  # led here by a file: a redirect would count as from there
        home = Markup('<!DOCTYPE html><title>{0}</title><a href="/">{0}</a>').format(gettext("The desk"))
        response = Response(home, headers={"Refresh": "0; url=/"}, mimetype="text/html")
    desk().opened.set()
    response.set_cookie(guard.cookie, guard.session, httponly=True, samesite="Strict")
    return response


def _style() -> Response:
    rules = [
        (folder / name).read_text("utf-8") for folder, name in ((SHARED_TEMPLATES, "page.css"), (TEMPLATES, "desk.css"))
    ]
    return Response(custom_properties() + "".join(rules), mimetype="text/css")


def _script() -> Response:
    return Response((TEMPLATES / "desk.js").read_text("utf-8"), mimetype="text/javascript")


def _refused(error: Any) -> Response:
    said = {
        400: gettext("The desk could not read what was sent. Go back and try again."),
        403: gettext("This page opens only from the link that the desk printed when it began. Open that link."),
        404: gettext("There is no such page."),
        405: gettext("There is no such page."),
        413: gettext("That is too large: at most {most} MB at once.", most=MOST_BYTES >> 20),
        500: gettext(
            "That is a fault of the desk, not of yours. No file is left half-written. The window in which the desk "
            "began says more: please report that."
        ),
    }
    if error.code == 403 or not g.get("is_in", False):  # a stranger sees nothing of the desk, not even a token
        return Response(said[error.code], error.code, mimetype="text/plain")
    return page("trouble", error.code, trouble=WentWrong((said[error.code],)), back="/")


def _in_trouble(error: TrialError | WrongCall | NotComputed | OSError) -> Response:
    return page("trouble", 422, trouble=trouble_of(error), back=where_begun())


def _where_one_is() -> str:
    """Page that a reader sees, to come back to it: one that a form led to has no address of its own."""
    return request.full_path.rstrip("?") if request.method == "GET" else where_begun()


def where_begun() -> str:
    """Page that leads out of trouble: the one from which a form came, else the room in which a page lies."""
    if request.method == "GET":
        return request.path.rstrip("/").rpartition("/")[0] + "/"
    came_from = urlsplit(request.referrer or "")
    back = g.get("form_back") or (came_from.path if came_from.netloc == request.host else "") or "/"
    is_here = back.startswith("/") and not back.startswith(("//", "/\\"))  # two slashes lead to another host
    return back if is_here else "/"
