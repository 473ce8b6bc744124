"""The ledger: what we recommend now and what changed, what it rests on, the handout, and the trial to run next."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from flask import Blueprint, Response, request

from trialkit.desk import deeds
from trialkit.desk.application import desk, do, do_at_length, page
from trialkit.desk.deeds import Deed
from trialkit.desk.published import files_of, show
from trialkit.desk.typed import reason_in
from trialkit.desk.workspace import LEDGER
from trialkit.domain.errors import WrongCall
from trialkit.languages import ENGLISH, LANGUAGES, gettext, own_name, spoken
from trialkit.tables.problem import TrialError

if TYPE_CHECKING:
    from collections.abc import Callable

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
    language: Annotated[str, "Of the paper, as it calls itself; empty for what the adviser alone reads."]
    files: tuple[PaperFile, ...]


HANDOUT = "handout.html"
KINDS, PRINTED = ("handout", "handout_large", "care", "pool"), ("a4", "letter")
NAMED = re.compile(rf"({'|'.join(KINDS)})(?:-({'|'.join(LANGUAGES)}))?(?:-({'|'.join(PRINTED)}))?\.(?:html|pdf)")
LANGUAGE_TAG = re.compile(rb'<html lang="([a-z]+)')


def _papers(ledger: Path) -> list[Paper]:
    """Group the ledger's files by what they are and by their language, in the order in which one wants them."""
    titles = {
        "handout": gettext("Handout"),
        "handout_large": gettext("Handout in large print"),
        "care": gettext("Care sheet"),
        "pool": gettext("All that is known, for the adviser"),
    }
    papers = {None: gettext("page"), "a4": gettext("A4 paper"), "letter": gettext("Letter paper")}
    first = _first_language(ledger)
    found: dict[tuple[str, str], dict[str | None, PaperFile]] = {}
    for name in files_of(ledger, PAGES):
        if match := NAMED.fullmatch(name):
            language = "" if match[1] == "pool" else match[2] or first
            found.setdefault((match[1], language), {})[match[3]] = PaperFile(name, papers[match[3]])
    order = sorted(found, key=lambda key: (KINDS.index(key[0]), key[1] != first, key[1]))
    return [
        Paper(
            titles[kind],
            own_name(language) if language else "",
            tuple(found[kind, language][one] for one in papers if one in found[kind, language]),
        )
        for kind, language in order
    ]


def _first_language(ledger: Path) -> str:
    """Language of the papers whose names do not tell it: the handout itself does."""
    if HANDOUT not in files_of(ledger, PAGES):
        return ENGLISH
    with (ledger / HANDOUT).open("rb") as page:
        found = LANGUAGE_TAG.search(page.read(500))
    language = found[1].decode() if found else ENGLISH
    return language if language in LANGUAGES else ENGLISH


@room.get("/")
def overview() -> Response:
    """Everything about the ledger on one page."""
    from trialkit.interface.ledger_object import Ledger

    here = desk().workspace
    if not here.has_ledger:
        return page("ledger", defaults=None, entries=[], papers=[], problems=())
    ledger = Ledger(here.ledger)
    problems = ledger.problems()
    entries = ledger.entries()
    nothing_counts = not entries["counts"].any()
    defaults = None
    if not problems and not nothing_counts:
        try:
            defaults = _told(ledger.recommended, ledger.is_current)
        except WrongCall:
            defaults = None
    papers = _papers(here.ledger)
    return page(
        "ledger",
        defaults=defaults,
        entries=entries.to_dict("records"),
        nothing_counts=nothing_counts,
        papers=papers,
        chosen={one.language for one in papers if one.language} or {own_name(_usual_language(here.folder))},
        problems=problems,
        has_handout=HANDOUT in files_of(here.ledger, PAGES),
    )


def _usual_language(folder: Path) -> str:
    """Language of a first handout: the county's, else the one in which the desk is read."""
    from trialkit.protocol.county import read_county

    try:
        block = read_county(folder)
    except TrialError:  # the county's own page says what is wrong with it
        block = None
    return (block.county.language if block else None) or spoken()


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
    return _noted("withdraw", gettext("Withdrawn"), deeds.withdraw)


@room.post("/readmit")
def readmit() -> AnyResponse:
    """Let a withdrawn entry count again, with a reason."""
    return _noted("readmit", gettext("Counts again"), deeds.readmit)


def _noted(command: str, title: str, run: Callable[..., None]) -> AnyResponse:
    """Note something of an entry, with a reason."""
    entry, why = request.form.get("entry", ""), reason_in(request.form)
    words = ("evidence", command, entry, "--why", why, "--ledger", LEDGER)
    return do(Deed(title, (words,), partial(run, desk().workspace.ledger, entry, why)), "/ledger/")


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
