"""The published schemas of what commands answer with ``--json``; run as a module it prints them.

``schemas/answers.schema.json`` has one for each command. ``analyse`` answers as results.schema.json says,
``recommend`` and ``evidence pool`` as recommended.schema.json says, ``schema`` with a Table Schema.
"""

import json
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter

from trialkit.documents.ledger_entry import EvidenceList
from trialkit.documents.plan import Plan
from trialkit.returns.findings import Verdict
from trialkit.returns.journal import Conflict, TableCounts
from trialkit.solution.nutrients import Conductivity
from trialkit.solution.water import AlkalinityEstimate
from trialkit.tables.problem import Problem
from trialkit.tables.table_schema import TableName


class _Answer(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Check(_Answer):
    """`trialkit check`: every problem, and whether none is an error."""

    ok: bool
    problems: list[Problem]


class Forms(_Answer):
    """`trialkit forms`: files written, and those left over from another layout."""

    files: list[str]
    left_over: list[str]


class CollectFinding(_Answer):
    """A repair, a question or a refusal."""

    verdict: Verdict
    rule: str
    file: str
    sheet: str | None
    row: int | None
    column: str | None
    found: str
    became: str
    why: str
    mend: str
    answers: list[str]


class CollectFile(_Answer):
    """What became of one returned file."""

    name: str
    merged: bool
    kept_as: str | None
    collected_before: bool
    tables: dict[TableName, TableCounts]
    findings: list[CollectFinding]


class Collect(_Answer):
    """`trialkit collect`: what became of each file, and what waits for a choice."""

    ok: bool
    files: list[CollectFile]
    chosen: list[Conflict]
    refused_choices: list[CollectFinding]
    conflicts: list[Conflict]
    finished_earlier: bool
    changed: list[str]


class MixWater(_Answer):
    """The water as it came, or was guessed."""

    alkalinity_mg_l_caco3: AlkalinityEstimate
    ph: float
    temperature_c: float


class MixSpoons(_Answer):
    """An amount in level US teaspoons: exact, as spoons measure it, and in g or mL.

    A powdered acid is measured dissolved, a level teaspoon in each US cup of water: `solution_tsp` teaspoons of that.
    """

    exact_tsp: float
    tsp: float
    grams: float | None
    millilitres: float | None
    solution_tsp: float | None


class MixStep(_Answer):
    """What may be added at a time: teaspoons and mL of the liquid, and teaspoons of the acid as sold in it."""

    tsp: float
    millilitres: float
    acid_tsp: float


class MixAmount(MixSpoons):
    """An amount of a product, and what rounding to quarter teaspoons adds."""

    name: str
    rounding_pct: float


class MixRecipe(_Answer):
    """Shares of a published solution that the bucket reaches, by element."""

    name: str
    shares: dict[str, float]


class MixCaution(_Answer):
    """A caution, to be shown with the amounts."""

    title: str
    text: str


class Mix(_Answer):
    """`trialkit mix`: what goes into a bucket, and the pH and strength that it gives."""

    schema_: Literal["trialkit-mix-1"] = Field(alias="schema")
    volume_l: float
    water: MixWater
    nutrient: MixAmount | None
    acid: MixAmount | None
    acid_step: MixStep | None
    elements_mg_l: dict[str, float]
    recipe: MixRecipe
    ec_ms_cm: Conductivity
    ph: float
    ph_range: tuple[float, float]
    ph_strip: float
    ph_standing: float
    warnings: list[str]
    cautions: list[MixCaution]


class MixClass(_Answer):
    """The acid for a class of alkalinity, mg/L as calcium carbonate, and the pH at its ends."""

    name: str
    lower: float
    upper: float
    acid: MixSpoons
    step: MixStep | None
    ph_at_lower: float
    ph_at_upper: float


class MixTable(_Answer):
    """`trialkit mix --table`: the acid for each class of alkalinity."""

    schema_: Literal["trialkit-mix-table-1"] = Field(alias="schema")
    volume_l: float
    acid: str
    target_ph: float
    nutrient_tsp: float
    rows: list[MixClass]
    cautions: list[MixCaution]


class Verify(_Answer):
    """`trialkit report --verify`: whether results and report are what the inputs give, and what is not."""

    ok: bool
    differences: list[str]


ANSWERS: dict[str, Any] = {
    "check": Check,
    "collect": Collect,
    "evidence list": EvidenceList,
    "forms": Forms,
    "mix": Mix,
    "mix --table": MixTable,
    "plan": Plan,
    "report --verify": Verify,
}
"""Command -> what it answers."""


def answers_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of every answer; ``$defs`` has what the commands' entries under ``properties`` refer to."""
    by_command, shared = TypeAdapter.json_schemas(
        [(name, "serialization", TypeAdapter(kind)) for name, kind in ANSWERS.items()]
    )
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "trialkit answers: each command's, by its name",
        "type": "object",
        "properties": {name: by_command[name, "serialization"] for name in ANSWERS},
        **shared,
    }


if __name__ == "__main__":
    print(json.dumps(answers_schema(), indent=2, ensure_ascii=False))
