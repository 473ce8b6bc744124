"""The room of a trial: how far it has come, the one next thing to do, and every page that was made of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from flask import Blueprint, Response, abort

from trialkit.desk import deeds
from trialkit.desk.application import desk, do, do_at_length, page, trial_folder, trial_page
from trialkit.desk.deeds import Deed
from trialkit.desk.published import show
from trialkit.desk.rooms.settings import undo_of
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.languages import gettext
from trialkit.protocol.randomise import why_frozen
from trialkit.tables.problem import TrialError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from werkzeug.wrappers import Response as AnyResponse

    from trialkit.desk.workspace import FiledTrial
    from trialkit.documents.problems import Problem

room = Blueprint("trial", __name__, url_prefix="/trial/<name>")


MOST_PROBLEMS = 20
"""The page of all of them is a button away."""


@dataclass(frozen=True)
class SeasonStep:
    """A step of a season."""

    name: Annotated[str, "In the address of its button."]
    title: str
    told: Annotated[str, "What it is for."]
    is_done: bool
    button: Annotated[str, "What does it; empty where it has a room of its own."] = ""
    page: Annotated[str, "Its page within the trial's folder; empty where there is none."] = ""
    is_over: Annotated[bool, "Whether it is done once and for all."] = False
    waits_for: Annotated[str, "What has to be done before; empty where nothing has."] = ""


@room.get("/")
def overview(name: str) -> Response:
    """How far the trial has come."""
    folder = trial_folder(name)
    from trialkit.interface.trial_object import Trial
    from trialkit.words.problem_words import told_problem

    filed = desk().workspace.filed(name)
    found = Trial(folder).check()
    why = why_frozen(folder)
    steps = tuple(_steps(filed, found.problems, is_frozen=why is not None))
    return page(
        "trial",
        trial=filed,
        steps=steps,
        can_mail=steps[2].is_done,
        undo=undo_of(name),
        has_county=_has_county(folder),
        has_calendar=(folder / "results" / "calendar.ics").is_file(),
        has_check=(folder / "results" / "check.html").is_file(),
        next=next((step for step in steps if not step.is_done), None),
        problems=[told_problem(one, at_desk=True) for one in found.problems[:MOST_PROBLEMS]],
        more=max(len(found.problems) - MOST_PROBLEMS, 0),
    )


def _steps(trial: FiledTrial, problems: Sequence[Problem], *, is_frozen: bool) -> Iterator[SeasonStep]:
    folder = trial.folder
    is_drawn = (folder / "layout.csv").is_file()
    is_other = any(one.rule == "TK-L07" and one.case == "layout" for one in problems)
    yield SeasonStep(
        "plan",
        gettext("Plan"),
        gettext("What the trial is worth, what it takes, and when things are due."),
        (folder / "results" / "plan.html").is_file(),
        gettext("Write the plan"),
        "results/plan.html",
    )
    layout_told = gettext("Draw which bucket gets which treatment.")
    if is_drawn and is_frozen:
        layout_told = gettext("The lots are drawn, and stand: packs were written or records came in.")
    elif is_drawn and is_other:
        layout_told = gettext("The plan has changed since the lots were drawn. Draw them again.")
    yield SeasonStep(
        "layout",
        gettext("Layout"),
        layout_told,
        is_drawn and (is_frozen or not is_other),
        gettext("Draw the lots"),
        is_over=is_drawn and is_frozen,
    )
    has_lots = is_drawn and (is_frozen or not is_other)
    first = "" if has_lots else gettext("Draw the layout first.")
    yield SeasonStep(
        "forms",
        gettext("Packs"),
        gettext("What each garden prints and fills in."),
        (folder / "forms" / "adviser.html").is_file(),
        gettext("Write the packs"),
        "forms/adviser.html",
        waits_for=first,
    )
    yield SeasonStep(
        "post",
        gettext("Post room"),
        gettext("Take in what gardens send back."),
        trial.stage == "records",
        waits_for=first,
    )
    yield SeasonStep(
        "answer",
        gettext("Answer"),
        gettext("What to grow, and how sure that is."),
        trial.is_reported and not _is_out_of_date(folder),
        page="results/report.html",
        waits_for="" if trial.stage == "records" else gettext("Records come first."),
    )


def _has_county(folder: Path) -> bool:
    from trialkit.protocol.county import read_county

    try:
        return read_county(folder) is not None
    except TrialError:  # the county's own page says what is wrong
        return True


def _is_out_of_date(folder: Path) -> bool:
    """Whether the records changed since the answer was worked out, or it cannot be read."""
    from trialkit.steps.trial_steps import changed_inputs, read_results

    try:
        return bool(changed_inputs(folder, read_results(folder)))
    except (NotComputed, WrongCall):
        return True


@room.post("/<step>")
def take(name: str, step: str) -> AnyResponse:
    """Do a step of the season."""
    folder, here = trial_folder(name), trial_page(name)
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
