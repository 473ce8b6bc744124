"""The published schema of recommended.json; run as a module it prints ``schemas/recommended.schema.json``."""

import json
from typing import Any

from trialkit.documents.document import json_schema
from trialkit.documents.recommended import Recommended


def recommended_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the recommended defaults, derived from the classes that make them."""
    return json_schema(Recommended, "recommended", "trialkit recommended defaults")


if __name__ == "__main__":
    print(json.dumps(recommended_schema(), indent=2, ensure_ascii=False))
