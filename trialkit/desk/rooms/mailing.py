"""What gardens are sent: one archive each, ready to mail, with a letter to its volunteers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from flask import Blueprint, Response, abort

from trialkit.desk.application import desk, page, trial_folder
from trialkit.languages import LANGUAGES, Language

room = Blueprint("mailing", __name__, url_prefix="/trial/<name>/mail")


@dataclass(frozen=True)
class Recipient:
    """A garden that is sent something."""

    site: str
    name: str
    language: Language
    letter: str
    is_ready: Annotated[bool, "Whether its forms were written."]


@room.get("/")
def gardens(name: str) -> Response:
    """List the gardens with what each is sent."""
    from trialkit.forms.garden_buckets import garden_name
    from trialkit.forms.parcel import FORMS, letter
    from trialkit.rules.trial_folder import read_trial
    from trialkit.steps.forms_steps import gardens_to_mail

    folder = trial_folder(name)
    trial = read_trial(folder, stage="layout")
    recipients = [
        Recipient(
            site,
            garden_name(trial, site),
            trial.language_of(site),
            letter(trial, site),
            all((folder / "forms" / form.format(site=site)).is_file() for form in FORMS),
        )
        for site in gardens_to_mail(folder)
    ]
    return page("mailing", trial=desk().workspace.filed(name), recipients=recipients, known=LANGUAGES)


@room.get("/<site>.zip")
def parcel(name: str, site: str) -> Response:
    """Hand out what a garden is sent; it is made anew each time and kept nowhere."""
    from trialkit.interface.trial_object import Trial
    from trialkit.steps.forms_steps import gardens_to_mail

    folder = trial_folder(name)
    if not (folder / "layout.csv").is_file() or site not in gardens_to_mail(folder):
        abort(404)
    response = Response(Trial(folder).parcel(site), mimetype="application/zip")
    response.headers.set("Content-Disposition", "attachment", filename=f"{name}-{site}.zip")
    return response
