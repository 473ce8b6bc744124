"""Marks that forms carry, so that what comes back is not taken for another trial's or another layout's record."""

import hashlib
from dataclasses import dataclass

from trialkit.rules.trial_folder import Trial

FORM_VERSION = "1"
"""Raised when workbook or phone form change so that older ones can no longer be read."""
DIGITS = 12


@dataclass(frozen=True)
class FormMarks:
    """Which trial, layout and version of the forms a form belongs to."""

    trial: str
    layout: str
    form: str


def form_marks(trial: Trial) -> FormMarks:
    """Return the marks of a trial's forms: its id, its layout's digest, the forms' version."""
    return FormMarks(trial.protocol.trial.id, layout_digest(trial), FORM_VERSION)


def layout_digest(trial: Trial) -> str:
    """Digest which bucket stands in which garden with which treatment, whatever the order or look of the file.

    Gives the first 12 hexadecimal digits of a SHA-256 digest.
    """
    columns = ["bucket", "site", *trial.protocol.treatment_columns]
    rows = sorted(tuple(map(str, row)) for row in trial.layout[columns].itertuples(index=False))
    text = "".join("\x1f".join(row) + "\n" for row in (tuple(columns), *rows))
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:DIGITS]
