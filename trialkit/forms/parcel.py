"""What a garden is mailed: its forms in one archive, with a letter in its language."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping
from datetime import timedelta

from trialkit.domain.errors import WrongCall
from trialkit.forms.garden_buckets import garden_name, same_in_all
from trialkit.languages import gettext, speaking, translatable
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.words.pack_words import send_to
from trialkit.words.phrases import date_words

LETTER_FILE = "letter.txt"
FORMS = ("pack-{site}.html", "phone-{site}.html", "record-{site}.xlsx")
"""Files of a garden in the folder of forms, in the order in which the letter names them."""
FIRST_DAY = (1980, 1, 1, 0, 0, 0)
"""Archives tell no day, so that the same files make the same bytes."""


def letter(trial: CheckedTrial, site: str) -> str:
    """Write the letter to the volunteers of a garden, in its language."""
    pack, phone, workbook = (name.format(site=site) for name in FORMS)
    schedule = trial.protocol.schedule
    with speaking(trial.language_of(site)):
        whom = send_to(trial.contact)
        told = [
            gettext("Hello {garden},", garden=garden_name(trial, site)),
            gettext(
                "Thank you for growing lettuce with us. Our question is: {question}",
                question=trial.protocol.trial.question,
            ),
            gettext("With this letter come three files:"),
            "\n".join(
                [
                    gettext(
                        "{file}: open it in a browser and print it. It has your map, calendar, cards and sheets.",
                        file=pack,
                    ),
                    gettext("{file}: open it on a phone if you would rather type. It needs no network.", file=phone),
                    gettext("{file}: or fill in this workbook on a computer.", file=workbook),
                ]
            ),
        ]
        if schedule.sow_on and site not in trial.amended.joined_in:
            first = schedule.sow_on + timedelta(schedule.transplant_after_days)
            told.append(
                gettext(
                    "Please sow on {sowing}, and set the plants into their buckets on {transplanting}.",
                    sowing=date_words(schedule.sow_on),
                    transplanting=date_words(first),
                )
            )
        if same := same_in_all(trial).sentences:
            told.append(" ".join(same))
        told += [
            gettext(
                "Write down what happens as it is. A head that died tells us as much as one that grew. If you are not "
                "sure of something, say so in the notes."
            ),
            " ".join(
                (
                    gettext(
                        "At the end, send back just one: the file that the phone saved, the workbook, or the sheets."
                    ),
                    gettext("Send it to: {contact}", contact=whom)
                    if whom
                    else gettext("Send it to whoever sent you this letter."),
                )
            ),
            gettext("Thank you!"),
        ]
    return "\n\n".join(told) + "\n"


def parcel(trial: CheckedTrial, site: str, forms: Mapping[str, bytes]) -> bytes:
    """Put the forms of a garden, by their names, and its letter into an archive.

    Raises
    ------
    WrongCall
        If one of its forms is not there.
    """
    names = [name.format(site=site) for name in FORMS]
    if missing := [name for name in names if name not in forms]:
        raise WrongCall(
            translatable("{missing} is not there yet: run trialkit forms {folder} first."),
            missing=", ".join(missing),
            folder=trial.folder,
        )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        # With a mark of its encoding, as some programs take a bare text for another, and with line ends that all know.
        data = letter(trial, site).replace("\n", "\r\n").encode("utf-8-sig")
        for name, content in {LETTER_FILE: data, **{name: forms[name] for name in names}}.items():
            entry = zipfile.ZipInfo(name, FIRST_DAY)
            entry.external_attr, entry.create_system, entry.compress_type = 0o644 << 16, 3, zipfile.ZIP_DEFLATED
            archive.writestr(entry, content)
    return out.getvalue()
