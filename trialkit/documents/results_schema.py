"""The published schema of results.json; run as a module it prints ``schemas/results.schema.json``."""

import json
from typing import Any

from trialkit.documents.document import json_schema
from trialkit.documents.results import Results


def results_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the results document, derived from the classes that make it."""
    return json_schema(Results, "results", "trialkit results")


if __name__ == "__main__":
    print(json.dumps(results_schema(), indent=2, ensure_ascii=False))
