"""``requirements.txt``: trialkit and every library that it stands on, with the versions that are installed here."""

from __future__ import annotations

import re
import sys
from importlib.metadata import PackageNotFoundError, distribution

REQUIREMENTS_FILE = "requirements.txt"
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")


def requirements() -> str:
    """Name trialkit and all that it needs, directly or not, each with its version, as pip reads it."""
    found: dict[str, str] = {}
    waiting = ["trialkit"]
    while waiting:
        name = waiting.pop()
        if _folded(name) in found:
            continue
        try:
            known = distribution(name)
        except PackageNotFoundError:  # needed on other systems only
            continue
        found[_folded(name)] = known.version
        waiting += [match[0] for need in known.requires or () if "extra ==" not in need and (match := NAME.match(need))]
    lines = [f"{name}=={version}" for name, version in sorted(found.items())]
    python = ".".join(map(str, sys.version_info[:3]))
    return "\n".join([f"# What the analysis was made with, under Python {python}.", *lines]) + "\n"


def _folded(name: str) -> str:
    """Fold what does not matter in a name (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()
