"""The published JSON Schema of county.toml; run as a module it prints ``schemas/county.schema.json``."""

import json
import sys
from typing import Any

from trialkit.documents.document import json_schema
from trialkit.protocol.county import CountyFile


def county_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of county.toml, derived from the class that reads it."""
    return json_schema(CountyFile, "county", "county.toml", mode="validation")


def county_schema_text() -> str:
    """Return the JSON Schema of county.toml as the text of its file."""
    return json.dumps(county_schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    sys.stdout.write(county_schema_text())
