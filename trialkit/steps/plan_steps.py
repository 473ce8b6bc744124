"""What ``trialkit plan`` does with a trial folder."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.table_names import PROTOCOL_FILE
from trialkit.evidence.ledger_index import INDEX
from trialkit.languages import translatable

if TYPE_CHECKING:
    import pandas as pd

    from trialkit.documents.plan import Plan
    from trialkit.evidence.ledger_contents import LedgerContents
    from trialkit.planning.assumptions import Assumptions
    from trialkit.planning.beliefs import Known
    from trialkit.planning.planned_design import ModelOf
    from trialkit.planning.trial_plan import Foresight
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
    from trialkit.planning.trial_plan import make_plan
    from trialkit.report.calendar_file import icalendar_text
    from trialkit.report.plan_page import plan_html

    with ExitStack() as held:
        found = held.enter_context(_read_ledger(ledger))
        judge = held.enter_context(_judge(trial.protocol, simulations, scheduler))
        with _refusal_told():
            made = make_plan(trial, model_of(trial.protocol), _assumptions(trial.protocol, earlier), judge, found)
    plan = as_written(made)
    files = {PLAN_FILE: as_text(plan), PAGE_FILE: plan_html(plan), CALENDAR_FILE: icalendar_text(plan)}
    with at_work(folder):
        write_outputs(
            folder, {f"results/{name}": text.encode("utf-8") for name, text in files.items() if text is not None}
        )
    return plan


@dataclass(frozen=True)
class Sizes:
    """Sizes to try; what is None stays as the plan has it."""

    gardens: int | None = None
    blocks: int | None = None
    heads: Annotated[int | None, "In each bucket."] = None


def foresee_sizes(
    folder: Path, sizes: Sizes, ledger: Path | None, most_buckets: int | None = None
) -> tuple[CheckedTrial, Foresight]:
    """Work out what a trial of other sizes takes and should bring; nothing is written.

    One of more buckets than somebody waits for is refused.

    Raises
    ------
    TrialError
        If no protocol has such sizes, or with every error of the plan.
    """
    from trialkit.planning.effort import effort
    from trialkit.planning.trial_plan import foresee

    trial = _sized(folder, sizes)
    buckets = effort(trial.protocol, len(trial.sites), trial.protocol.bucket.heads).buckets
    if most_buckets is not None and buckets > most_buckets:
        raise NotComputed(
            translatable("With {buckets} buckets it cannot be worked out at once: set these sizes, then plan it."),
            buckets=buckets,
        )
    return trial, foresee(trial, _assumptions(trial.protocol, None), _known_before(folder, ledger))


def plan_sizes(folder: Path, sizes: Sizes, ledger: Path | None) -> Plan:
    """Plan a trial of other sizes, as `plan_folder` would once they are set; nothing is written."""
    from trialkit.planning.exact import expected_power
    from trialkit.planning.trial_plan import make_plan

    trial = _sized(folder, sizes)
    assumptions, known = _assumptions(trial.protocol, None), _known_before(folder, ledger)
    with _refusal_told():
        return make_plan(trial, model_of(trial.protocol), assumptions, expected_power, known=known)


@contextmanager
def _refusal_told() -> Iterator[None]:
    """Say why a design cannot be judged."""
    from trialkit.planning.refusal import CannotBeJudged
    from trialkit.words.plan_words import refusal_sentence

    try:
        yield
    except CannotBeJudged as error:
        raise NotComputed(refusal_sentence(error.refusal)) from error


def telling_ledger(folder: Path, ledger: Path | None) -> Path | None:
    """Return a ledger if it tells anything of a planned trial, else None: that is then planned by common practice.

    Raises
    ------
    WrongCall
        If the ledger cannot be read.
    """
    try:
        return ledger if _known_before(folder, ledger) else None
    except NotComputed:
        return None


def _known_before(folder: Path, ledger: Path | None) -> Known | None:
    """Gather what a ledger knows before a trial, kept while neither changes, as whoever tries sizes asks often."""
    if ledger is None:
        return None
    read = (folder / PROTOCOL_FILE, folder / "products.csv", ledger / INDEX)
    state = tuple(hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else "" for path in read)
    gather = _known_in_state if state[-1] else _known_in_state.__wrapped__
    return gather(folder, ledger, state)


@lru_cache(maxsize=4)
def _known_in_state(folder: Path, ledger: Path, _: tuple[str, ...]) -> Known:
    from trialkit.planning.trial_plan import known_before

    trial = _sized(folder, Sizes())
    with ExitStack() as held:
        found = held.enter_context(_read_ledger(ledger))
        assert found is not None
        return known_before(trial, _assumptions(trial.protocol, None), found)


def _sized(folder: Path, sizes: Sizes) -> CheckedTrial:
    """Read a plan as if it had other sizes: of fewer gardens the first by name, and of more some without a name."""
    import pandas as pd

    from trialkit.protocol.setting import with_keys
    from trialkit.protocol.trial_protocol import parse_protocol
    from trialkit.rules.trial_folder import read_trial
    from trialkit.tables.table_schema import load_schema

    trial = read_trial(folder, stage="plan")
    wanted = {("layout", "blocks"): sizes.blocks, ("bucket", "heads"): sizes.heads}
    text = (folder / PROTOCOL_FILE).read_text("utf-8-sig")
    protocol = parse_protocol(with_keys(text, {key: value for key, value in wanted.items() if value is not None}))
    named = trial.sites.sort_values("site", kind="stable")
    more = [f"~{number:03d}" for number in range((sizes.gardens or 0) - len(named))]  # after every name
    texts = [field.name for field in load_schema("sites").fields if field.type == "string"]
    unnamed = pd.DataFrame({**{name: [""] * len(more) for name in texts}, "site": more})
    sites = named if not more else pd.concat([named, unnamed], ignore_index=True)
    return replace(trial, protocol=protocol, sites=sites.head(sizes.gardens or len(named)).reset_index(drop=True))


@contextmanager
def _read_ledger(ledger: Path | None) -> Iterator[LedgerContents | None]:
    from trialkit.evidence.ledger_contents import read_ledger
    from trialkit.steps.evidence_steps import as_ledger

    with ExitStack() as held:
        yield read_ledger(held.enter_context(as_ledger(ledger))) if ledger else None


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
        raise WrongCall(translatable("{path} is not there: name the folder of a trial that was analysed."), path=path)
    try:
        results = from_text(Results, path.read_text(encoding="utf-8"))
        rows = results.responses["weight_g"].variances
    except (ValueError, KeyError) as error:
        raise NotComputed(
            translatable("{path} holds no results of a trial: run trialkit analyse on its folder again."), path=path
        ) from error
    if not rows:
        raise NotComputed(
            translatable("{path} has no variances of head weight: that trial could not be analysed."), path=path
        )
    found = {row.term: row.variance for row in rows}
    return Assumptions.from_variances(found, VarianceSource("earlier trial", results.trial.title))
