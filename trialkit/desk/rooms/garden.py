"""The gardens of a trial: what each has still to tell, a message to its volunteer, and who joins or gives up."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flask import Blueprint, Response, abort, request, url_for
from markupsafe import Markup

from trialkit.desk import deeds
from trialkit.desk.application import desk, do, page, trial_folder
from trialkit.desk.deeds import Deed, WentWrong, trouble_of
from trialkit.desk.published import files_of
from trialkit.desk.typed import NO_REASON, whole_number_in
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.thresholds import MOST_BLOCKS
from trialkit.languages import LANGUAGES, gettext, language_tag, speaking
from trialkit.pages.safe_text import safe_text
from trialkit.tables.problem import TrialError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from werkzeug.wrappers import Response as AnyResponse

    from trialkit.report.check_page import GardenPart
    from trialkit.returns.still_missing import StillMissing
    from trialkit.rules.trial_folder import CheckResult

room = Blueprint("garden", __name__, url_prefix="/trial/<name>/garden")

DAYS_TO_ANSWER = 7
LETTERS_A_LINE = 60
"""Of the message, about, as wide as the page shows it."""
OF_WHAT_IS_MISSING = ("TK-H08", "TK-H09", "TK-H20")
"""What a check asks of heads without a record, which are listed by themselves."""


@room.get("/")
def overview(name: str) -> Response:
    """Every garden and what it has still to tell."""
    return _overview(name, {})


def _overview(name: str, typed: Mapping[str, str], faults: tuple[str, ...] = ()) -> Response:
    missing, trouble = _missing(trial_folder(name))
    result = _checked(trial_folder(name))
    return page(
        "gardens",
        422 if faults else 200,
        trial=desk().workspace.filed(name),
        gardens=[(site, result.sites.get(site, site), one) for site, one in missing.items()],
        trouble=trouble,
        typed=typed,
        faults=faults,
        today=date.today().isoformat(),
    )


@room.post("/")
def join(name: str) -> AnyResponse:
    """Let a garden join once the layout is frozen."""
    folder = trial_folder(name)
    faults: list[str] = []
    site, why = (request.form.get(key, "").strip() for key in ("site", "why"))
    blocks, language = (request.form.get(key, "").strip() for key in ("blocks", "language"))
    on = _day(faults)
    if not site:
        faults.append(gettext("Give the garden a short name."))
    if not why:
        faults.append(gettext(NO_REASON))
    count = whole_number_in(blocks, 1, MOST_BLOCKS)
    if blocks and count is None:
        faults.append(gettext("Blocks are a whole number from {least} to {most}.", least=1, most=MOST_BLOCKS))
    if faults:
        return _overview(name, request.form, tuple(faults))
    more: dict[str, Any] = ({"blocks": count} if blocks else {}) | (
        {"language": language} if language in LANGUAGES else {}
    )
    said = [word for key, value in more.items() for word in (f"--{key}", str(value))]
    words = ("site", name, site, "--add", *said, "--why", why, "--on", str(on))
    deed = Deed(gettext("A garden joins"), (words,), partial(deeds.add_site, folder, site, why, on, more))
    try:
        return do(deed, url_for("garden.overview", name=name))
    except (TrialError, WrongCall, NotComputed) as error:
        return _overview(name, request.form, _sentences(trouble_of(error)))


@room.get("/<site>/")
def garden(name: str, site: str) -> Response:
    """One garden: what is missing, what is asked, and a message about it."""
    return _garden(name, site, {})


def _garden(name: str, site: str, typed: Mapping[str, str], faults: tuple[str, ...] = ()) -> Response:
    folder = trial_folder(name)
    result = _checked(folder)
    if site not in result.sites:
        abort(404)
    missing, trouble = _missing(folder)
    own = missing.get(site)
    until = _until()
    shown: dict[str, Any] = {}
    if own is not None and not own.withdrew:
        shown = _shown(folder, result, own, until)
    check_page = f"check-{site}.html"
    return page(
        "garden",
        422 if faults else 200,
        trial=desk().workspace.filed(name),
        site=site,
        full_name=result.sites[site],
        missing=own,
        shown=shown,
        until=until.isoformat() if until else "",
        check_page=check_page if check_page in files_of(folder / "results", [".html"]) else "",
        trouble=trouble,
        typed=typed,
        faults=faults,
        today=date.today().isoformat(),
    )


def _shown(folder: Path, result: CheckResult, missing: StillMissing, until: date | None) -> dict[str, Any]:
    """Say what is missing and asked in the reader's language, and as a message in the garden's."""
    from trialkit.interface.trial_object import Trial
    from trialkit.report.check_page import garden_part
    from trialkit.words.missing_words import AskedLine, garden_message, missing_lines
    from trialkit.words.pack_words import send_to

    heads = Trial(folder).protocol.bucket.heads
    site = missing.site
    others = replace(result, problems=tuple(one for one in result.problems if one.rule not in OF_WHAT_IS_MISSING))

    def asked(part: GardenPart) -> list[AskedLine]:
        return [
            AskedLine(", ".join(filter(None, (bucket.name, record.record))), question.text, record.found)
            for bucket in part.buckets
            for question in bucket.questions
            for record in question.records
        ]

    lines, questions = missing_lines(missing, heads), asked(garden_part(others, site))
    with speaking(result.languages.get(site, "en")):
        message = garden_message(
            result.title,
            missing_lines(missing, heads),
            asked(garden_part(others, site)),
            nothing_yet=missing.nothing_yet,
            until=until,
            contact=send_to(result.contact),
        )
        language = language_tag()
    text = message.split("\n")
    return {
        "lines": lines,
        "questions": questions,
        "message": Markup("\n").join(map(safe_text, text)),  # to be copied: nothing in it is tied
        "rows": 1 + sum(1 + len(line) // LETTERS_A_LINE for line in text),
        "language": language,
    }


@room.post("/<site>/withdraw")
def withdraw(name: str, site: str) -> AnyResponse:
    """Let a garden give up: its records stay."""
    return _noted(name, site, "--withdraw", gettext("A garden gives up"), deeds.withdraw_site)


@room.post("/<site>/rejoin")
def rejoin(name: str, site: str) -> AnyResponse:
    """Let a garden that gave up take part again."""
    return _noted(name, site, "--rejoin", gettext("A garden takes part again"), deeds.rejoin_site)


def _noted(name: str, site: str, option: str, title: str, run: Callable[..., None]) -> AnyResponse:
    """Note what a garden does, with reason and day."""
    folder = trial_folder(name)
    faults: list[str] = []
    why, on = request.form.get("why", "").strip(), _day(faults)
    if not why:
        faults.append(gettext(NO_REASON))
    if faults:
        return _garden(name, site, request.form, tuple(faults))
    words = ("site", name, site, option, "--why", why, "--on", str(on))
    deed = Deed(title, (words,), partial(run, folder, site, why, on))
    try:
        return do(deed, url_for("garden.garden", name=name, site=site))
    except (TrialError, WrongCall, NotComputed) as error:
        return _garden(name, site, request.form, _sentences(trouble_of(error)))


def _missing(folder: Path) -> tuple[Mapping[str, StillMissing], WentWrong | None]:
    from trialkit.steps.record_steps import missing_of_gardens

    if not (folder / "layout.csv").exists():
        return {}, None
    try:
        return missing_of_gardens(folder), None
    except TrialError as error:
        return {}, trouble_of(error)


def _checked(folder: Path) -> CheckResult:
    from trialkit.interface.trial_object import Trial

    return Trial(folder).check()


def _until() -> date | None:
    """Day by which an answer is asked for: as the address says, in a week if it says nothing; none if it is empty."""
    asked = request.args.get("until")
    if asked is None:
        return date.today() + timedelta(days=DAYS_TO_ANSWER)
    try:
        return date.fromisoformat(asked)
    except ValueError:
        return None


def _day(faults: list[str]) -> date:
    """Read the day of a change; today where nothing is written."""
    text = request.form.get("on", "").strip()
    try:
        return date.fromisoformat(text) if text else date.today()
    except ValueError:
        faults.append(gettext("Write the day as year-month-day, such as 2026-08-20."))
        return date.today()


def _sentences(trouble: WentWrong) -> tuple[str, ...]:
    told = [line for sentence in trouble.sentences for line in sentence.split("\n")]
    return (*told, *(f"{one.found} {one.how_to_fix}" for one in trouble.problems))
