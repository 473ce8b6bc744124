"""What ``trialkit plan`` does with a trial folder."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trialkit._percent import in_percent
from trialkit.documents.document import as_data
from trialkit.domain.errors import NotComputed, WrongCall

if TYPE_CHECKING:
    import pandas as pd

    from trialkit.planning.assumptions import Assumptions
    from trialkit.planning.design import ModelOf
    from trialkit.protocol.trial_protocol import Protocol

PLAN_FILE, PAGE_FILE, CALENDAR_FILE = "plan.json", "plan.html", "calendar.ics"

Progress = Callable[[str, int, int], None]
"""Told what is being worked out, which one of them, and of how many."""
# Other sizes and variances are many, and are simulated less often than the trial asked for.
SHARE_FOR_OTHERS = 2


@dataclass(frozen=True)
class Planned:
    """The plan as plain data, and a few sentences about it."""

    document: dict[str, Any]
    sentences: tuple[str, ...]


def plan_folder(
    folder: Path,
    *,
    simulations: int,
    scheduler: str | None,
    earlier: Path | None,
    progress: Progress,
) -> Planned:
    """Plan a trial; write plan.json, plan.html and, where the protocol gives a day of sowing, calendar.ics."""
    from trialkit.planning.calendar import calendar, icalendar_text
    from trialkit.planning.executors import simulation_executor
    from trialkit.planning.plan import make_plan
    from trialkit.planning.simulated import planned_power
    from trialkit.report import plan_html
    from trialkit.rules.check import read_trial
    from trialkit.tables.atomic import write_text

    trial = read_trial(folder, stage="plan")
    with simulation_executor(scheduler=scheduler) as executor:
        judge = partial(planned_power, seed=trial.protocol.seed, executor=executor)
        asked = partial(judge, replicates=simulations, progress=partial(progress, "simulated trials"))
        others = partial(judge, replicates=max(simulations // SHARE_FOR_OTHERS, 100))
        assumed = _assumptions(trial.protocol, earlier)
        plan = make_plan(trial, model_of(trial.protocol), assumed, asked, others, progress)
    document = as_data(plan)
    results = folder / "results"
    results.mkdir(exist_ok=True)
    text = icalendar_text(trial.protocol, calendar(trial.protocol))
    files = {PLAN_FILE: json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"}
    files |= {PAGE_FILE: plan_html(document)} | ({CALENDAR_FILE: text} if text else {})
    for name, content in files.items():
        write_text(results / name, content)
    return Planned(document, (*plan_sentences(document), f"Plan: {results / PAGE_FILE}"))


def model_of(protocol: Protocol) -> ModelOf:
    """How the analysis will derive its model from planned heads of the protocol."""
    from trialkit.analysis.derived_model import derive_model
    from trialkit.layouts.kinds import LAYOUT_KINDS

    columns, strata = list(protocol.treatment_columns), LAYOUT_KINDS[protocol.layout.kind].random_terms

    def of(heads: pd.DataFrame) -> tuple[str, tuple[str, ...]]:
        model = derive_model(heads, columns, strata)
        return model.formula("weight_g"), model.random

    return of


def plan_sentences(document: Mapping[str, Any]) -> tuple[str, ...]:
    """What the adviser should know first."""
    difference, sites = document["difference"], document["sites"]
    volunteers = document["kind"] == "volunteer blocks"
    each = f" ({document['blocks']} volunteer{'' if document['blocks'] == 1 else 's'} in each)" if volunteers else ""
    return (
        f"{document['buckets']} buckets at {sites} garden{'' if sites == 1 else 's'}{each}, {document['heads']} heads: "
        f"a difference of {document['margin_g']:g} g from the current practice would be found with a chance of "
        f"{in_percent(difference['power'])}; one of {difference['detectable_g']:.0f} g with "
        f"{in_percent(document['power_wanted'])}.",
        *document["warnings"],
        *document["advice"][:1],
        *document["larger"],
    )


def _assumptions(protocol: Protocol, earlier: Path | None) -> Assumptions:
    """Variances that an earlier trial estimated, or those of the protocol; common practice where it says nothing."""
    from trialkit.planning.assumptions import COMMON_PRACTICE, Assumptions

    if earlier is None:
        given = {name.removesuffix("_sd_g"): sd**2 for name, sd in protocol.variation if sd is not None}
        return Assumptions(
            **given, source=f"trial.toml, and {COMMON_PRACTICE}, for the rest" if given else COMMON_PRACTICE
        )
    path = earlier / "results" / "results.json" if earlier.is_dir() else earlier
    if not path.is_file():
        raise WrongCall(f"{path} is not there: name the folder of a trial that was analysed.")
    try:
        results = json.loads(path.read_text(encoding="utf-8"))
        rows = results["responses"]["weight_g"]["variances"]
        found = {str(row["term"]): float(row["variance"]) for row in rows}
        trial = str(results["trial"]["title"])
    except (ValueError, KeyError, TypeError) as error:
        raise NotComputed(f"{path} holds no results of a trial: run trialkit analyse on its folder again.") from error
    if not found:
        raise NotComputed(f"{path} has no variances of head weight: that trial could not be analysed.")
    return Assumptions.from_variances(found, f"the trial “{trial}”")
