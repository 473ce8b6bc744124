"""The room of a trial: how far it has come, the one next thing to do, and every page that was made of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from flask import Blueprint, Response, abort

from trialkit.desk import deeds
from trialkit.desk.application import desk, do, do_at_length, page, trial_folder
from trialkit.desk.deeds import Deed
from trialkit.desk.published import show
from trialkit.desk.rooms.settings import undo_of
from trialkit.languages import gettext
from trialkit.protocol.randomise import why_frozen

if TYPE_CHECKING:
    from werkzeug.wrappers import Response as AnyResponse

    from trialkit.desk.workspace import FiledTrial

room = Blueprint("trial", __name__, url_prefix="/trial/<name>")


@dataclass(frozen=True)
class SeasonStep:
    """A step of a season."""

    name: Annotated[str, "In the address of its button."]
    title: str
    told: Annotated[str, "What it is for."]
    is_done: bool
    page: Annotated[str, "Its page within the trial's folder; empty where there is none."] = ""


@room.get("/")
def overview(name: str) -> Response:
    """How far the trial has come."""
    folder = trial_folder(name)
    from trialkit.interface.trial_object import Trial
    from trialkit.words.problem_words import told_problem

    filed = desk().workspace.filed(name)
    found = Trial(folder).check()
    steps = tuple(_steps(filed))
    return page(
        "trial",
        trial=filed,
        steps=steps,
        can_mail=steps[2].is_done,
        undo=undo_of(name) if why_frozen(folder) is None else None,
        next=next((step for step in steps if not step.is_done), None),
        problems=[told_problem(one) for one in found.problems[:20]],
        more=max(len(found.problems) - 20, 0),
    )


def _steps(trial: FiledTrial) -> list[SeasonStep]:
    folder = trial.folder
    return [
        SeasonStep(
            "plan",
            gettext("Plan"),
            gettext("What the trial is worth, what it takes, and when things are due."),
            (folder / "results" / "plan.html").is_file(),
            "results/plan.html",
        ),
        SeasonStep(
            "layout",
            gettext("Layout"),
            gettext("Draw which bucket gets which treatment."),
            (folder / "layout.csv").is_file(),
        ),
        SeasonStep(
            "forms",
            gettext("Packs"),
            gettext("What each garden prints and fills in."),
            (folder / "forms" / "adviser.html").is_file(),
            "forms/adviser.html",
        ),
        SeasonStep(
            "post",
            gettext("Post room"),
            gettext("Take in what gardens send back."),
            trial.stage == "records",
        ),
        SeasonStep(
            "answer",
            gettext("Answer"),
            gettext("What to grow, and how sure that is."),
            trial.is_reported,
            "results/report.html",
        ),
    ]


@room.post("/<step>")
def take(name: str, step: str) -> AnyResponse:
    """Do a step of the season."""
    folder, here = trial_folder(name), f"/trial/{name}/"
    if step not in TAKEN:
        abort(404)
    deed, is_long = TAKEN[step](name, folder)
    return (do_at_length if is_long else do)(deed, here)


def _plan(name: str, folder: Path) -> tuple[Deed, bool]:
    from trialkit.steps.plan_steps import telling_ledger

    here = desk().workspace
    ledger = telling_ledger(folder, here.ledger if here.has_ledger else None)
    words = ("plan", name) if ledger is None else ("plan", name, "--ledger", ledger.name)
    return Deed(gettext("Plan"), (words,), partial(deeds.plan, folder, ledger)), True


def _layout(name: str, folder: Path) -> tuple[Deed, bool]:
    return Deed(gettext("Layout"), (("layout", name),), partial(deeds.lay_out, folder)), False


def _forms(name: str, folder: Path) -> tuple[Deed, bool]:
    return Deed(gettext("Packs"), (("forms", name),), partial(deeds.write_forms, folder)), True


def _check(name: str, folder: Path) -> tuple[Deed, bool]:
    return Deed(gettext("Check"), (("check", name, "--html"),), partial(deeds.check_pages, folder)), True


TAKEN = {"plan": _plan, "layout": _layout, "forms": _forms, "check": _check}
"""Steps by the address of their button."""

SHOWN = {"results": (".html", ".ics"), "forms": (".html", ".xlsx")}
"""Folders whose pages are shown as they are published, and their kinds of file."""


@room.get("/file/<part>/<file>")
def file(name: str, part: str, file: str) -> AnyResponse:
    """Show a page as it was published."""
    folder = trial_folder(name)
    if part not in SHOWN:
        abort(404)
    return show(folder / part, file, SHOWN[part])
