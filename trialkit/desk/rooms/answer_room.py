"""The answer of a trial: what to grow and how sure, the report, its place in the ledger, and the open data."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from flask import Blueprint, Response, request

from trialkit.desk import deeds
from trialkit.desk.application import desk, do_at_length, page, trial_folder, trial_page
from trialkit.desk.deeds import Deed
from trialkit.desk.published import files_of, show
from trialkit.desk.typed import reason_in
from trialkit.desk.workspace import LEDGER
from trialkit.documents.ledger_entry import SHOWN_DIGITS
from trialkit.domain.errors import NotComputed
from trialkit.languages import gettext

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

room = Blueprint("answer", __name__, url_prefix="/trial/<name>/answer")


@room.get("/")
def answer(name: str) -> Response:
    """What the trial says, if it was analysed, and what to do with it."""
    from trialkit.steps.evidence_steps import entry_of
    from trialkit.steps.trial_steps import changed_inputs, read_results, reason_for_none
    from trialkit.words.decision_words import sentences
    from trialkit.words.measures import measures_of

    folder, here = trial_folder(name), desk().workspace
    filed = here.filed(name)
    told: tuple[str, ...] = ()
    changed: list[str] = []
    entry, is_same, is_old = None, False, False
    if filed.is_analysed:
        try:
            results = read_results(folder)
        except NotComputed:  # of another version, or damaged: the button makes it anew
            is_old = True
        else:
            changed = changed_inputs(folder, results)
            decision = results.decision
            told = tuple(sentences(decision, measures_of(results))) if decision else (reason_for_none(results),)
            entry, is_same = entry_of(folder, here.ledger) if here.has_ledger else (None, False)
    return page(
        "answer",
        trial=filed,
        told=told,
        is_old=is_old,
        changed=changed,
        entry=entry,
        is_same=is_same,
        packs=files_of(folder / "results", [".zip"]),
    )


@room.post("/analyse")
def analyse(name: str) -> AnyResponse:
    """Analyse the trial and write its report."""
    commands = ("analyse", name), ("report", name)
    deed = Deed(gettext("Answer"), commands, partial(deeds.analyse_and_report, trial_folder(name)))
    return do_at_length(deed, trial_page(name, "answer/"))


@room.post("/keep")
def keep(name: str) -> AnyResponse:
    """Accept the trial into the ledger."""
    command = ("evidence", "add", name, "--ledger", LEDGER)
    deed = Deed(
        gettext("Into the ledger"), (command,), partial(deeds.keep, trial_folder(name), desk().workspace.ledger)
    )
    return do_at_length(deed, "/ledger/")


@room.post("/replace")
def replace(name: str) -> AnyResponse:
    """Let what the trial says now take the place of what the ledger holds of it."""
    from trialkit.steps.evidence_steps import entry_of

    folder, ledger, why = trial_folder(name), desk().workspace.ledger, reason_in(request.form)
    entry, _ = entry_of(folder, ledger)
    if entry is None:
        return keep(name)
    shown = entry.id[:SHOWN_DIGITS]
    commands = (
        ("evidence", "withdraw", shown, "--why", why, "--ledger", LEDGER),
        ("evidence", "add", name, "--ledger", LEDGER),
    )
    deed = Deed(gettext("Into the ledger"), commands, partial(deeds.replace_entry, folder, ledger, shown, why))
    return do_at_length(deed, "/ledger/")


@room.post("/pack")
def pack(name: str) -> AnyResponse:
    """Pack it as open data."""
    deed = Deed(gettext("Open data"), (("pack", name),), partial(deeds.pack, trial_folder(name)))
    return do_at_length(deed, trial_page(name, "answer/"))


@room.get("/data/<file>")
def data(name: str, file: str) -> AnyResponse:
    """Give out a package of open data."""
    return show(trial_folder(name) / "results", file, [".zip"])
