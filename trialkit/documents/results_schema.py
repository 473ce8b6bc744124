"""The published schema of results.json; run as a module it prints ``schemas/results.schema.json``."""

import json
from typing import Any

from pydantic import TypeAdapter

from trialkit.documents.results import Results


def results_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the results document, derived from the classes that make it."""
    schema = TypeAdapter(Results).json_schema(mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "trialkit results"}


if __name__ == "__main__":
    print(json.dumps(results_schema(), indent=2, ensure_ascii=False))
