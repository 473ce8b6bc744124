"""The published schema of recommended.json; run as a module it prints ``schemas/recommended.schema.json``."""

import json
from typing import Any

from pydantic import TypeAdapter

from trialkit.documents.recommended import Recommended


def recommended_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the recommended defaults, derived from the classes that make them."""
    schema = TypeAdapter(Recommended).json_schema(mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "trialkit recommended defaults",
    }


if __name__ == "__main__":
    print(json.dumps(recommended_schema(), indent=2, ensure_ascii=False))
