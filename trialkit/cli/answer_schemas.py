"""The published schema of what commands print with ``--json``; run as a module it prints it.

``schemas/answers.schema.json`` holds for every document that is printed: what is the same of all, and by the name of
the command what stands under ``answer``.
"""

import json
from typing import Any

from trialkit.documents.answers import (
    CheckAnswer,
    CommandAnswer,
    DemoAnswer,
    DeskAnswer,
    FormsAnswer,
    LayoutAnswer,
    MixAnswer,
    MixTableAnswer,
    NewAnswer,
    PackAnswer,
    PackCheckAnswer,
    SetAnswer,
    SiteAnswer,
    VerifyAnswer,
)
from trialkit.documents.document import DIALECT, SCHEMA_HOME, json_schema
from trialkit.documents.ledger_entry import EvidenceList, Listed
from trialkit.documents.plan import Plan
from trialkit.documents.returns import TakeBackOutcome, ToldCorrect, ToldMerge
from trialkit.protocol.county import CountyAnswer

RESULTS, RECOMMENDED, TABLE = "results.schema.json", "recommended.schema.json", "a Table Schema"
TEXT = "a text"
ANSWERS: dict[str, tuple[type[Any] | str, ...]] = {
    "demo": (DemoAnswer,),
    "desk": (DeskAnswer,),
    "help": (TEXT,),
    "new": (NewAnswer,),
    "plan": (Plan,),
    "layout": (LayoutAnswer,),
    "set": (SetAnswer,),
    "site": (SiteAnswer,),
    "forms": (FormsAnswer,),
    "merge": (ToldMerge, TakeBackOutcome),
    "correct": (ToldCorrect,),
    "check": (CheckAnswer,),
    "mix": (MixAnswer, MixTableAnswer),
    "schema": (TABLE,),
    "analyse": (RESULTS,),
    "report": (VerifyAnswer,),
    "pack": (PackAnswer, PackCheckAnswer),
    "county": (CountyAnswer,),
    "recommend": (RECOMMENDED,),
    "evidence add": (Listed,),
    "evidence list": (EvidenceList,),
    "evidence pool": (RECOMMENDED,),
    "evidence withdraw": (Listed,),
    "evidence readmit": (Listed,),
}
"""Command -> what it may answer: a document of its own, or one of another published schema."""
NAME = "answers"


def answers_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of what any command prints; ``$defs`` has what it holds."""
    shared: dict[str, Any] = {}

    def defined(kind: type[Any]) -> dict[str, Any]:
        schema = json_schema(kind, NAME, kind.__name__)
        shared.update(schema.pop("$defs", {}))
        shared[kind.__name__] = {key: value for key, value in schema.items() if key not in ("$schema", "$id", "title")}
        return {"$ref": f"#/$defs/{kind.__name__}"}

    def answered(kind: type[Any] | str) -> dict[str, Any]:
        if isinstance(kind, type):
            return defined(kind)
        if kind == TEXT:
            return {"type": "string"}
        return {"type": "object", "description": "Table Schema."} if kind == TABLE else {"$ref": kind}

    whole = defined(CommandAnswer)
    whole["allOf"] = [
        {
            "if": {"properties": {"command": {"const": command}}},
            "then": {"properties": {"answer": {"anyOf": [*map(answered, kinds), {"type": "null"}]}}},
        }
        for command, kinds in ANSWERS.items()
    ]
    return {
        "$schema": DIALECT,
        "$id": f"{SCHEMA_HOME}/{NAME}.schema.json",
        "title": "trialkit: what any command prints with --json",
        **whole,
        "$defs": dict(sorted(shared.items())),
    }


if __name__ == "__main__":
    print(json.dumps(answers_schema(), indent=2, ensure_ascii=False))
