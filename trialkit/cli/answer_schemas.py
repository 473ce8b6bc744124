"""The published schemas of what commands answer with ``--json``; run as a module it prints them.

``schemas/answers.schema.json`` has one for each command. ``analyse`` answers as results.schema.json says,
``recommend`` and ``evidence pool`` as recommended.schema.json says, ``schema`` with a Table Schema.
"""

import json
from typing import Any

from trialkit.documents.answers import (
    CheckAnswer,
    FormsAnswer,
    MixAnswer,
    MixTableAnswer,
    PackAnswer,
    PackCheckAnswer,
    SetAnswer,
    SiteAnswer,
    VerifyAnswer,
)
from trialkit.documents.document import DIALECT, SCHEMA_HOME, json_schema
from trialkit.documents.ledger_entry import EvidenceList
from trialkit.documents.plan import Plan
from trialkit.documents.returns import ToldCorrect, ToldMerge
from trialkit.protocol.county import CountyAnswer

ANSWERS: dict[str, type[Any]] = {
    "check": CheckAnswer,
    "county": CountyAnswer,
    "merge": ToldMerge,
    "correct": ToldCorrect,
    "evidence list": EvidenceList,
    "forms": FormsAnswer,
    "mix": MixAnswer,
    "mix --table": MixTableAnswer,
    "pack": PackAnswer,
    "pack --check": PackCheckAnswer,
    "plan": Plan,
    "set": SetAnswer,
    "site": SiteAnswer,
    "report --verify": VerifyAnswer,
}
"""Command -> what it answers."""
NAME = "answers"


def answers_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of every answer, by command under ``properties``; ``$defs`` has what they hold."""
    answers: dict[str, Any] = {}
    shared: dict[str, Any] = {}
    for command, kind in ANSWERS.items():
        schema = json_schema(kind, NAME, f"trialkit {command}")
        shared |= schema.pop("$defs", {})
        answers[command] = {key: value for key, value in schema.items() if key not in ("$schema", "$id")}
    return {
        "$schema": DIALECT,
        "$id": f"{SCHEMA_HOME}/{NAME}.schema.json",
        "title": "trialkit answers: each command's, by its name",
        "type": "object",
        "properties": answers,
        "$defs": dict(sorted(shared.items())),
    }


if __name__ == "__main__":
    print(json.dumps(answers_schema(), indent=2, ensure_ascii=False))
