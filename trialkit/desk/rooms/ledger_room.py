"""The ledger: what we recommend now and what changed, what it rests on, the handout, and the trial to run next."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Annotated

from flask import Blueprint, Response, request

from trialkit.desk import deeds
from trialkit.desk.application import desk, do, do_at_length, page
from trialkit.desk.deeds import Deed
from trialkit.desk.published import files_of, show
from trialkit.desk.workspace import LEDGER
from trialkit.domain.errors import WrongCall
from trialkit.languages import LANGUAGES, gettext

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

    from trialkit.documents.recommended import Recommended

room = Blueprint("ledger", __name__, url_prefix="/ledger")
PAGES = (".html", ".pdf")


@dataclass(frozen=True)
class Defaults:
    """What the newest version of the defaults says."""

    version: int
    date: str
    answer: tuple[str, ...]
    changes: tuple[str, ...]
    next_trial: tuple[str, ...]
    can_follow: Annotated[bool, "Whether there is a next trial to start."]
    is_worth_it: Annotated[bool, "Whether that is worth its buckets."]
    is_current: Annotated[bool, "Whether it rests on all that counts now."]


@dataclass(frozen=True)
class PaperFile:
    """One file of a paper."""

    name: str
    told: Annotated[str, "What kind it is, as its link says."]


@dataclass(frozen=True)
class Paper:
    """Something to read or print, with its files."""

    title: str
    files: tuple[PaperFile, ...]


NAMED = re.compile(r"(pool|handout_large|handout|care)(?:-(\w\w))?(?:-(a4|letter))?\.(html|pdf)")


def _papers(names: Sequence[str]) -> list[Paper]:
    """Group the ledger's files by what they are, in the order in which one wants them."""
    titles = {
        "handout": gettext("Handout"),
        "handout_large": gettext("Handout in large print"),
        "care": gettext("Care sheet"),
        "pool": gettext("All that is known, for the adviser"),
    }
    papers = {"a4": gettext("A4 paper"), "letter": gettext("Letter paper"), None: gettext("page")}
    found: dict[tuple[str, str | None], list[PaperFile]] = {}
    for name in names:
        if match := NAMED.fullmatch(name):
            found.setdefault((match[1], match[2]), []).append(PaperFile(name, papers[match[3]]))
    order = sorted(found, key=lambda key: (list(titles).index(key[0]), key[1] or ""))
    return [
        Paper(titles[kind] + (f" ({language})" if language else ""), tuple(found[kind, language]))
        for kind, language in order
    ]


@room.get("/")
def overview() -> Response:
    """Everything about the ledger on one page."""
    from trialkit.interface.ledger_object import Ledger

    here = desk().workspace
    if not here.has_ledger:
        return page("ledger", defaults=None, entries=[], papers=[], problems=())
    ledger = Ledger(here.ledger)
    problems = ledger.problems()
    defaults = None
    if not problems:
        try:
            defaults = _told(ledger.recommended, ledger.is_current)
        except WrongCall:
            defaults = None
    return page(
        "ledger",
        defaults=defaults,
        entries=ledger.entries().to_dict("records"),
        papers=_papers(files_of(here.ledger, PAGES)),
        problems=problems,
    )


def _told(document: Recommended, is_current: bool) -> Defaults:
    from trialkit.words import default_words as words

    measures = document.measures
    return Defaults(
        document.version,
        document.date,
        tuple(words.answer(document, measures)),
        tuple(words.changes(document, measures)),
        (words.next_trial(document, measures), words.why_next(document, measures)),
        document.next_trial is not None,
        document.next_trial is not None and document.next_trial.worth_it,
        is_current,
    )


@room.post("/recommend")
def recommend() -> AnyResponse:
    """Pool all that counts, and write the page of it, the handout and the care sheet."""
    chosen = tuple(one for one in LANGUAGES if one in request.form.getlist("language"))
    words = [word for one in chosen for word in ("--language", one)]
    commands = ("evidence", "pool", "--ledger", LEDGER), ("recommend", LEDGER, *words)
    deed = Deed(gettext("Handout"), commands, partial(deeds.recommend, desk().workspace.ledger, chosen))
    return do_at_length(deed, "/ledger/")


@room.post("/withdraw")
def withdraw() -> AnyResponse:
    """Withdraw an entry, with a reason."""
    entry, why = request.form.get("entry", ""), request.form.get("why", "").strip()
    if not why:
        raise WrongCall(gettext("Say why, for whoever asks in a later season."))
    command = ("evidence", "withdraw", entry, "--why", why, "--ledger", LEDGER)
    deed = Deed(gettext("Withdrawn"), (command,), partial(deeds.withdraw, desk().workspace.ledger, entry, why))
    return do(deed, "/ledger/")


@room.post("/next")
def follow() -> AnyResponse:
    """Start the trial that is worth most next."""
    here, name = desk().workspace, request.form.get("folder", "").strip()
    folder = here.new_folder(name)
    command = ("new", name, "--from", LEDGER)
    deed = Deed(gettext("Next trial"), (command,), partial(deeds.follow, folder, here.ledger))
    return do_at_length(deed, f"/trial/{name}/")


@room.get("/file/<file>")
def file(file: str) -> AnyResponse:
    """Show a page as it was published."""
    return show(desk().workspace.ledger, file, PAGES)
