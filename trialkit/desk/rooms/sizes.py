"""Sizes of a trial, with what it then takes and should bring beside them, as they change."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlencode

from flask import Blueprint, Response, redirect, request

from trialkit.desk.application import desk, page, trial_folder, trial_page
from trialkit.desk.field_faults import FieldFault, by_field, faults_of
from trialkit.desk.rooms.settings import set_plan
from trialkit.desk.typed import whole_number_fault, whole_number_in
from trialkit.documents.document import as_written
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.languages import gettext
from trialkit.steps.plan_steps import Sizes
from trialkit.tables.problem import TrialError

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from werkzeug.wrappers import Response as AnyResponse

    from trialkit.documents.problems import Problem
    from trialkit.rules.trial_folder import CheckedTrial

room = Blueprint("sizes", __name__, url_prefix="/trial/<name>/sizes")

FIELDS = ("gardens", "blocks", "heads")
KEYS = {"layout.blocks": "blocks", "bucket.heads": "heads"}
MOST = {"gardens": 60, "blocks": 12, "heads": 12}
"""Beyond these nobody waits for an answer: a plan of the trial itself tells it."""
MOST_BUCKETS = 2000


@dataclass(frozen=True)
class SizesAnswer:
    """What a trial of some sizes takes and should bring."""

    faults: tuple[FieldFault, ...] = ()
    told: Annotated[tuple[str, ...], "What it takes, gains and leaves open."] = ()
    verdict: Annotated[str, "What to do with it; empty where only the first was asked."] = ""
    why: Annotated[tuple[str, ...], "The design to run, with reasons and limits."] = ()


@room.get("/")
def sizes(name: str) -> Response:
    """Show the sizes with what can be told at once; with a button, or a script, the whole answer."""
    return _shown(name, request.args)


@room.get("/answer")
def answer(name: str) -> Response:
    """Tell the answer alone, for the script of the page: at once, or whole."""
    given = {field: request.args.get(field, "") for field in FIELDS}
    found = _answer(name, given, is_whole=request.args.get("whole") == "1")
    return page("sizes_answer", answer=found)


@room.post("/")
def change(name: str) -> AnyResponse:
    """Look at sizes, or keep them: blocks and heads are set, gardens are a list of their own."""
    form = request.form
    given = {field: form.get(field, "").strip() for field in FIELDS}
    if form.get("do") == "look":
        return redirect(trial_page(name, f"sizes/?{urlencode({**given, 'whole': '1'})}"), 303)
    read, faults = _sizes(given)
    before = _as_planned(name)
    changed = [field for field in FIELDS if given[field] != form.get(f"was-{field}", before[field])]
    faults += tuple(
        FieldFault(field, gettext("It was changed meanwhile, and says now: {now}", now=before[field]))
        for field in changed
        if before[field] != form.get(f"was-{field}", before[field])
    )
    if faults:
        return _shown(name, given, faults)
    keys = {key: getattr(read, field) for key, field in KEYS.items() if field in changed}
    where_next = trial_page(name, "list/sites/") if "gardens" in changed else trial_page(name)
    try:
        if keys:
            return set_plan(name, keys, {}, {}, where_next)
    except (TrialError, WrongCall) as error:
        return _shown(name, given, faults_of(error, _field_of))
    return redirect(where_next, 303)


def _shown(name: str, given: Mapping[str, str], faults: tuple[FieldFault, ...] = ()) -> Response:
    before = _as_planned(name)
    wanted = {field: given.get(field, "").strip() or before[field] for field in FIELDS}
    found = SizesAnswer(faults) if faults else _answer(name, wanted, is_whole=given.get("whole") == "1")
    return page(
        "sizes",
        422 if found.faults else 200,
        trial=desk().workspace.filed(name),
        wanted=wanted,
        before=before,
        answer=found,
        faults=by_field(found.faults),
        most=MOST,
    )


def _as_planned(name: str) -> dict[str, str]:
    from trialkit.interface.trial_object import Trial

    trial = Trial(trial_folder(name))
    layout, bucket = trial.protocol.layout, trial.protocol.bucket
    return {"gardens": str(len(trial.sites())), "blocks": str(layout.blocks), "heads": str(bucket.heads)}


def _sizes(given: Mapping[str, str]) -> tuple[Sizes, tuple[FieldFault, ...]]:
    numbers, faults = {}, []
    for field in FIELDS:
        number = whole_number_in(given.get(field, ""), 1, MOST[field])
        if number is not None:
            numbers[field] = number
        else:
            faults.append(FieldFault(field, whole_number_fault(1, MOST[field])))
    return Sizes(**numbers), tuple(faults)


def _answer(name: str, given: Mapping[str, str], *, is_whole: bool) -> SizesAnswer:
    read, faults = _sizes(given)
    if faults:
        return SizesAnswer(faults)
    folder = trial_folder(name)
    try:
        return _worked_out(folder, read, is_whole=is_whole)
    except (TrialError, WrongCall, NotComputed) as error:
        return SizesAnswer(faults_of(error, _field_of))


def _worked_out(folder: Path, read: Sizes, *, is_whole: bool) -> SizesAnswer:
    from trialkit.steps.plan_steps import foresee_sizes, plan_sizes, telling_ledger
    from trialkit.words import plan_words as words
    from trialkit.words.measures import MeasureSystem

    here = desk().workspace
    ledger = telling_ledger(folder, here.ledger if here.has_ledger else None)
    trial, told = foresee_sizes(folder, read, ledger, most_buckets=MOST_BUCKETS)
    system = MeasureSystem(trial.protocol.trial.measures, _grams(trial))
    prospect = as_written(told.prospect)
    sentences = (
        words.takes_sentence(told.row),
        words.gain_sentence(prospect, trial.protocol.decision.heads_a_year, system),
        words.chances_sentence(prospect),
        words.left_open_sentence(prospect, system),
    )
    with desk().whole_answers.turn() if is_whole else nullcontext(False) as is_my_turn:
        if not is_my_turn:
            return SizesAnswer(told=sentences)
        plan = as_written(plan_sizes(folder, read, ledger))
    verdict = f"{words.verdict_words(plan.verdict)}."
    return SizesAnswer((), sentences, verdict, (words.what_to_do(plan, system), words.limits_sentence(plan)))


def _grams(trial: CheckedTrial) -> float | None:
    from trialkit.planning.shopping import grams_per_teaspoon

    dose = trial.protocol.factors.get("dose")
    return grams_per_teaspoon(trial.products, dose.product) if dose else None


def _field_of(problem: Problem) -> str:
    return KEYS.get(problem.column or "", "")
