"""What is in the folder of a desk: its trials and its ledger, each found by a name that is one of a list."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from trialkit.domain.errors import WrongCall
from trialkit.domain.table_names import PROTOCOL_FILE
from trialkit.languages import gettext

if TYPE_CHECKING:
    from trialkit.rules.trial_folder import Stage

FOLDER_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,39}")
RESERVED = re.compile(r"con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9¹²³]", re.IGNORECASE)
"""Names that Windows keeps for devices, whatever follows a point (Microsoft, Naming Files, from memory)."""
LEDGER = "ledger"
"""Folder of the ledger that the desk keeps."""
MOST_TRIALS = 500


def is_reserved(name: str) -> bool:
    """Whether Windows would take a name for that of a device.

    Examples
    --------
    >>> is_reserved("Con .xlsx"), is_reserved("COM¹"), is_reserved("contents.csv")
    (True, True, False)
    """
    return RESERVED.fullmatch(name.partition(".")[0].rstrip()) is not None


@dataclass(frozen=True)
class FiledTrial:
    """A trial as the desk lists it."""

    name: Annotated[str, "Of its folder, within the desk's."]
    folder: Path
    title: Annotated[str, "Empty where trial.toml cannot be read."]
    question: str
    season: str
    stage: Stage
    is_analysed: bool
    is_reported: bool


@dataclass(frozen=True)
class Workspace:
    """The folder that a desk works in; trials and the ledger are folders in it."""

    folder: Path

    @property
    def ledger(self) -> Path:
        """Where the ledger is, or would be begun."""
        return self.folder / LEDGER

    @property
    def has_ledger(self) -> bool:
        """Whether any trial was accepted."""
        from trialkit.evidence.ledger_index import INDEX

        return (self.ledger / INDEX).is_file()

    def names(self) -> tuple[str, ...]:
        """Names of the folders that hold a trial, the newest first; links are not followed."""
        found = [
            path
            for path in self.folder.iterdir()
            if not path.name.startswith(".") and not path.is_symlink() and (path / PROTOCOL_FILE).is_file()
        ]
        found.sort(key=lambda path: (-(path / PROTOCOL_FILE).stat().st_mtime, path.name))
        return tuple(path.name for path in found[:MOST_TRIALS])

    def find(self, name: str) -> Path | None:
        """Folder of a trial by its name; None where no trial is called so, whatever the name holds."""
        return self.folder / name if name in self.names() else None

    def new_folder(self, name: str) -> Path:
        """Folder for a new trial, which is not there yet.

        Raises
        ------
        WrongCall
            If the name is none that every system takes, or is taken.
        """
        if not FOLDER_NAME.fullmatch(name) or is_reserved(name):
            raise WrongCall(
                gettext("Name the folder with small letters, figures and hyphens, such as spring-2028. At most 40.")
            )
        if name == LEDGER or any(path.name.casefold() == name for path in self.folder.iterdir() if not _is_free(path)):
            raise WrongCall(gettext("There is a folder {name} already: choose another name.", name=name))
        return self.folder / name

    def trials(self) -> tuple[FiledTrial, ...]:
        """Every trial, with how far it has come."""
        return tuple(self.filed(name) for name in self.names())

    def filed(self, name: str) -> FiledTrial:
        """Say how far a trial has come."""
        from trialkit.protocol.trial_protocol import read_protocol
        from trialkit.steps.trial_steps import REPORT_FILE, RESULTS_FILE, RESULTS_FOLDER, stage_of
        from trialkit.tables.problem import TrialError

        folder = self.folder / name
        try:
            about = read_protocol(folder / PROTOCOL_FILE).trial
            title, question, season = about.title, about.question, about.season or ""
        except TrialError:
            title = question = season = ""
        results = folder / RESULTS_FOLDER
        return FiledTrial(
            name=name,
            folder=folder,
            title=title,
            question=question,
            season=season,
            stage=stage_of(folder),
            is_analysed=(results / RESULTS_FILE).is_file(),
            is_reported=(results / REPORT_FILE).is_file(),
        )


def _is_free(path: Path) -> bool:
    """Whether a trial may be started there all the same: whoever began one was killed before there was anything."""
    from trialkit.protocol.starting import is_filled

    return path.is_dir() and not path.is_symlink() and bool(FOLDER_NAME.fullmatch(path.name)) and not is_filled(path)
