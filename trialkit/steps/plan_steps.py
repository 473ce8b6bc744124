"""What ``trialkit plan`` does with a trial folder."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from trialkit.domain.errors import NotComputed, WrongCall

if TYPE_CHECKING:
    import pandas as pd

    from trialkit.documents.plan import Plan
    from trialkit.planning.assumptions import Assumptions
    from trialkit.planning.planned_design import ModelOf
    from trialkit.planning.trial_sizes import Judge
    from trialkit.protocol.trial_protocol import Protocol
    from trialkit.rules.trial_folder import CheckedTrial

PLAN_FILE, PAGE_FILE, CALENDAR_FILE = "plan.json", "plan.html", "calendar.ics"


def plan_folder(
    folder: Path,
    *,
    simulations: int | None,
    scheduler: str | None,
    earlier: Path | None,
    ledger: Path | None,
    told: Callable[[str], None],
) -> Plan:
    """Plan a trial; write plan.json, plan.html and, where the protocol gives a day of sowing, calendar.ics.

    What the trial takes is told first: that is counted at once, and all the rest is loaded and worked out after.
    """
    from trialkit.rules.trial_folder import read_trial
    from trialkit.tables.committing import at_work, write_outputs

    if earlier and ledger:
        raise WrongCall("Give either --earlier or --ledger, not both: variances come from one place.")
    with at_work(folder):
        trial = read_trial(folder, stage="plan")
    told(_takes(trial))

    from trialkit.documents.document import as_text, as_written
    from trialkit.evidence.ledger_contents import read_ledger
    from trialkit.planning.refusal import CannotBeJudged
    from trialkit.planning.trial_plan import make_plan
    from trialkit.report.calendar_file import icalendar_text
    from trialkit.report.plan_page import plan_html
    from trialkit.steps.evidence_steps import as_ledger
    from trialkit.words.plan_words import refusal_sentence

    with ExitStack() as held:
        found = read_ledger(held.enter_context(as_ledger(ledger))) if ledger else None
        judge = held.enter_context(_judge(trial.protocol, simulations, scheduler))
        try:
            made = make_plan(trial, model_of(trial.protocol), _assumptions(trial.protocol, earlier), judge, found)
        except CannotBeJudged as error:
            raise NotComputed(refusal_sentence(error.refusal)) from error
    plan = as_written(made)
    files = {PLAN_FILE: as_text(plan), PAGE_FILE: plan_html(plan), CALENDAR_FILE: icalendar_text(plan)}
    with at_work(folder):
        write_outputs(
            folder, {f"results/{name}": text.encode("utf-8") for name, text in files.items() if text is not None}
        )
    return plan


def _takes(trial: CheckedTrial) -> str:
    """Say what the trial asked for takes."""
    from trialkit.planning.effort import effort
    from trialkit.words.plan_words import size_sentence

    one = effort(trial.protocol, len(trial.sites), trial.protocol.bucket.heads)
    return size_sentence(one.buckets, one.sites, one.buckets * one.heads_per_bucket, one.visits, one.cost)


@contextmanager
def _judge(protocol: Protocol, simulations: int | None, scheduler: str | None) -> Iterator[Judge]:
    """Choose how the power of the trial asked for is found: by formula, or from simulated trials where wished for."""
    if simulations is None:
        from trialkit.planning.exact import expected_power

        yield expected_power
        return
    from trialkit.planning.executors import simulation_executor
    from trialkit.planning.simulated_power import exact_or_simulated_power

    with simulation_executor(scheduler) as executor:
        yield partial(
            exact_or_simulated_power,
            seed=protocol.seed,
            executor=executor,
            replicates=simulations,
        )


def model_of(protocol: Protocol) -> ModelOf:
    """How the analysis will derive its model from planned heads of the protocol."""
    from trialkit.analysis.derived_model import derive_model
    from trialkit.layouts.kinds import LAYOUT_KINDS

    columns, strata = list(protocol.treatment_columns), LAYOUT_KINDS[protocol.layout.kind].random_terms

    def of(heads: pd.DataFrame) -> tuple[str, tuple[str, ...]]:
        model = derive_model(heads, columns, strata)
        return model.formula("weight_g"), model.random

    return of


def _assumptions(protocol: Protocol, earlier: Path | None) -> Assumptions:
    """Variances that an earlier trial estimated, or those of the protocol; common practice where it says nothing."""
    from trialkit.documents.document import from_text
    from trialkit.documents.plan import VarianceSource
    from trialkit.documents.results import Results
    from trialkit.planning.assumptions import Assumptions

    if earlier is None:
        given = {
            name.removesuffix("_sd_g"): sd**2
            for name, sd in protocol.variation
            if name.endswith("_sd_g") and sd is not None
        }
        return Assumptions(**given, source=VarianceSource("trial.toml" if given else "common practice"))
    path = earlier / "results" / "results.json" if earlier.is_dir() else earlier
    if not path.is_file():
        raise WrongCall(f"{path} is not there: name the folder of a trial that was analysed.")
    try:
        results = from_text(Results, path.read_text(encoding="utf-8"))
        rows = results.responses["weight_g"].variances
    except (ValueError, KeyError) as error:
        raise NotComputed(f"{path} holds no results of a trial: run trialkit analyse on its folder again.") from error
    if not rows:
        raise NotComputed(f"{path} has no variances of head weight: that trial could not be analysed.")
    found = {row.term: row.variance for row in rows}
    return Assumptions.from_variances(found, VarianceSource("earlier trial", results.trial.title))
