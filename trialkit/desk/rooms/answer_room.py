"""The answer of a trial: what to grow and how sure, the report, its place in the ledger, and the open data."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from flask import Blueprint, Response

from trialkit.desk import deeds
from trialkit.desk.application import desk, do_at_length, page, trial_folder
from trialkit.desk.deeds import Deed
from trialkit.desk.published import files_of, show
from trialkit.desk.workspace import LEDGER
from trialkit.languages import gettext

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

room = Blueprint("answer", __name__, url_prefix="/trial/<name>/answer")


@room.get("/")
def answer(name: str) -> Response:
    """What the trial says, if it was analysed, and what to do with it."""
    from trialkit.interface.trial_object import Trial
    from trialkit.steps.trial_steps import changed_inputs, reason_for_none
    from trialkit.words.decision_words import sentences
    from trialkit.words.measures import measures_of

    folder = trial_folder(name)
    filed = desk().workspace.filed(name)
    told: tuple[str, ...] = ()
    changed: list[str] = []
    if filed.is_analysed:
        results = Trial(folder).results
        changed = changed_inputs(folder, results)
        decision = results.decision
        told = tuple(sentences(decision, measures_of(results))) if decision else (reason_for_none(results),)
    return page(
        "answer",
        trial=filed,
        told=told,
        changed=changed,
        is_kept=_is_kept(folder) if filed.is_analysed else False,
        packs=files_of(folder / "results", [".zip"]),
    )


def _is_kept(folder: Path) -> bool:
    """Whether the ledger holds this trial, as it is analysed now."""
    from trialkit.interface.ledger_object import Ledger
    from trialkit.interface.trial_object import Trial

    here = desk().workspace
    if not here.has_ledger:
        return False
    entries = Ledger(here.ledger).entries()
    return bool((entries["counts"] & (entries["trial"] == Trial(folder).protocol.trial.id)).any())


@room.post("/analyse")
def analyse(name: str) -> AnyResponse:
    """Analyse the trial and write its report."""
    commands = ("analyse", name), ("report", name)
    deed = Deed(gettext("Answer"), commands, partial(deeds.analyse_and_report, trial_folder(name)))
    return do_at_length(deed, f"/trial/{name}/answer/")


@room.post("/keep")
def keep(name: str) -> AnyResponse:
    """Accept the trial into the ledger."""
    command = ("evidence", "add", name, "--ledger", LEDGER)
    deed = Deed(
        gettext("Into the ledger"), (command,), partial(deeds.keep, trial_folder(name), desk().workspace.ledger)
    )
    return do_at_length(deed, "/ledger/")


@room.post("/pack")
def pack(name: str) -> AnyResponse:
    """Pack it as open data."""
    deed = Deed(gettext("Open data"), (("pack", name),), partial(deeds.pack, trial_folder(name)))
    return do_at_length(deed, f"/trial/{name}/answer/")


@room.get("/data/<file>")
def data(name: str, file: str) -> AnyResponse:
    """Give out a package of open data."""
    return show(trial_folder(name) / "results", file, [".zip"])
