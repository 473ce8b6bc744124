"""The published JSON Schema of trial.toml, for editors that complete and check as one types.

After the model has changed: ``python -m trialkit.protocol.protocol_schema > schemas/protocol.schema.json``.
"""

import json
import sys

from trialkit.protocol.trial_protocol import Protocol


def protocol_schema_text() -> str:
    """Return the JSON Schema of the protocol as the text of its file."""
    schema = {"$schema": "https://json-schema.org/draft/2020-12/schema", **Protocol.model_json_schema()}
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    sys.stdout.write(protocol_schema_text())
