"""Validate an unpacked data package as an RO-Crate 1.3: ``python validate_crate.py FOLDER``; faults are printed.

It runs where roc-validator and rocrate are installed, which does not go together with what the tests need. Nothing is
fetched: the context of RO-Crate that the validator asks the network for is the one that rocrate ships.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any


class Context:
    """The answer of the network."""

    status_code = 200
    headers = {"Content-Type": "application/ld+json"}  # noqa: RUF012  # of a stand-in that nobody changes

    def json(self) -> Any:
        """Return the context."""
        import rocrate

        return json.loads((Path(rocrate.__file__).parent / "data" / "ro-crate.jsonld").read_text("utf-8"))


def main(folder: str) -> int:
    """Print each fault; return how many there are."""
    from rocrate_validator import models, services
    from rocrate_validator.utils import http

    http.HttpRequester.get = lambda *_, **__: Context()
    settings = services.ValidationSettings(
        rocrate_uri=folder, profile_identifier="ro-crate-1.3", requirement_severity=models.Severity.REQUIRED
    )
    faults = list(services.validate(settings).get_issues())
    for fault in faults:
        print(fault.message)
    return len(faults)


if __name__ == "__main__":
    sys.exit(min(main(sys.argv[1]), 1))
