"""Marks that forms carry, so that what comes back is not taken for another trial's or another layout's record."""

import hashlib
from dataclasses import dataclass
from typing import Annotated

from trialkit.rules.amendments import FIRST_VERSION
from trialkit.rules.trial_folder import CheckedTrial

FORM_VERSION = "1"
"""Raised when workbook or phone form change so that older ones can no longer be read."""
DIGITS = 12
BETWEEN = "-"


@dataclass(frozen=True)
class FormMarks:
    """Which trial, layout and version of the forms a form belongs to."""

    trial: str
    layout: Annotated[str, "Mark of the layout (`layout_mark`)."]
    form: str


def form_marks(trial: CheckedTrial, site: str) -> FormMarks:
    """Return the marks of a garden's forms: the trial's id, the mark of the layout, the forms' version.

    The layout is that in which the garden joined: another one that joins or withdraws leaves its forms as they are.
    """
    version = trial.amended.joined_in.get(site, FIRST_VERSION)
    return FormMarks(trial.protocol.trial.id, layout_mark(trial, version), FORM_VERSION)


def layout_mark(trial: CheckedTrial, version: int) -> str:
    """Return the number of a version of the layout, from the second on, and what it is known by.

    That is which bucket stood in which garden with which treatment, whatever the order or look of the file: the first
    12 hexadecimal digits of a SHA-256 digest.
    """
    joined_in = trial.amended.joined_in
    later = [site for site, joined in joined_in.items() if joined > version]
    columns = ["bucket", "site", *trial.protocol.treatment_columns]
    stood = trial.layout.loc[~trial.layout["site"].isin(later), columns]
    rows = sorted(tuple(map(str, row)) for row in stood.itertuples(index=False))
    text = "".join("\x1f".join(row) + "\n" for row in (tuple(columns), *rows))
    digest = hashlib.sha256(text.encode("utf-8")).hexdigest()[:DIGITS]
    return digest if version == FIRST_VERSION else f"{version}{BETWEEN}{digest}"


def version_of_mark(mark: str) -> str:
    """Return the number of the version that a mark tells.

    Examples
    --------
    >>> version_of_mark("2-0123456789ab"), version_of_mark("0123456789ab")
    ('2', '1')
    """
    number, between, _ = mark.partition(BETWEEN)
    return number if between and number.isdecimal() else str(FIRST_VERSION)
