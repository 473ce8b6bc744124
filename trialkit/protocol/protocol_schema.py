"""The published JSON Schema of trial.toml, for editors that complete and check as one types.

After the model has changed: ``python -m trialkit.protocol.protocol_schema > schemas/protocol.schema.json``.
"""

import json
import sys
from typing import Any

from trialkit.documents.document import json_schema
from trialkit.protocol.trial_protocol import Protocol


def protocol_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the protocol as it is typed, derived from the classes that read it."""
    return json_schema(Protocol, "protocol", "trial.toml", mode="validation")


def protocol_schema_text() -> str:
    """Return the JSON Schema of the protocol as the text of its file."""
    return json.dumps(protocol_schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    sys.stdout.write(protocol_schema_text())
