"""Where the files that ship beside the code are kept."""

from pathlib import Path
from typing import Literal

PACKAGE = Path(__file__).resolve().parent


def resource_folder(name: Literal["schemas", "example_trials"]) -> Path:
    """Find a folder of shipped files.

    An installed package carries the folder inside itself; a source checkout keeps it at the top, where people look.

    Raises
    ------
    FileNotFoundError
        If the installation is incomplete.
    """
    for candidate in (PACKAGE / name, PACKAGE.parent / name):
        if candidate.is_dir():
            return candidate
    raise FileNotFoundError(f"trialkit's own folder '{name}' is missing: install trialkit again.")
