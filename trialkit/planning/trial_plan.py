"""The plan of a trial as one document: what it can tell, what it needs, when things are due."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Annotated

import numpy as np
import pandas as pd

from trialkit.advice.sample_information import Preposterior
from trialkit.analysis.advising import AdviceQuestion
from trialkit.analysis.bucket_records import question_of
from trialkit.documents.plan import (
    AssumedSpread,
    DesignRow,
    DifferenceRow,
    Plan,
    PowerCurve,
    Prospect,
    Refusal,
    SensitivityRow,
    TrialValue,
)
from trialkit.domain.errors import NotComputed
from trialkit.domain.progress import each_told, working_on
from trialkit.evidence.ledger_contents import LedgerContents
from trialkit.languages import translatable
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.beliefs import Known, Outlook, outlook, with_fit
from trialkit.planning.benches import planned_benches
from trialkit.planning.calendar import calendar
from trialkit.planning.earlier_trials import assumptions_from, known_from
from trialkit.planning.exact import expected_power, hardest_difference
from trialkit.planning.planned_design import ModelOf, PlannedDesign, planned_design
from trialkit.planning.planned_power import Goal
from trialkit.planning.refusal import CannotBeJudged
from trialkit.planning.shopping import grams_per_teaspoon, shopping_list
from trialkit.planning.trial_sizes import Judge, TrialSize, difference_curve, sensitivity
from trialkit.planning.trial_value import (
    Valued,
    by_value,
    choose,
    design_rows,
    designs,
    preposterior,
    stated_limits,
    valued,
    worth_a_year,
)
from trialkit.protocol.randomise import efficiency_of
from trialkit.protocol.trial_protocol import Protocol
from trialkit.rules.trial_folder import CheckedTrial

CURVE_POINTS = 25
CURVE_MARGINS = 4.0  # as far as curves are drawn
GROUPINGS = ("block", "whole_plot", "volunteer", "row", "column")


def make_plan(
    trial: CheckedTrial,
    model_of: ModelOf,
    assumptions: Assumptions,
    judge: Judge = expected_power,
    ledger: LedgerContents | None = None,
    known: Known | None = None,
) -> Plan:
    """Plan the trial of a protocol.

    Parameters
    ----------
    trial : CheckedTrial
        Read as far as its plan.
    model_of : callable
        How the analysis will derive its model.
    assumptions : Assumptions
        Variances, where no ledger tells them.
    judge : callable
        How the power of the trial asked for is found; that of other designs is worked out by formula.
    ledger : LedgerContents, optional
        Trials that the planned one goes on from.
    known : Known, optional
        What a ledger knows, as from `known_before`, in place of the ledger.

    Raises
    ------
    NotComputed
        If the trial could not be analysed, or nothing in the ledger tells of it.
    WrongCall
        If the protocol cannot be laid out, or its margin is nil.
    """
    protocol = trial.protocol
    goal = _goal(protocol)
    working_on("layout")
    limits = stated_limits(protocol, len(trial.sites))
    question = question_of(trial, in_ledger=known is not None or ledger is not None)
    known = _known(ledger, question) if ledger and known is None else known
    found = designs(trial, limits, is_known=known is not None)
    asked = next(found)
    thought = outlook(trial, question, protocol.treatments(), assumptions, known)
    assumptions = assumptions_from(thought) if known else assumptions
    working_on("power")
    design = _design(protocol, asked.layout, asked.heads, model_of)
    power = judge(design, assumptions, goal)
    others = list(found)
    each = by_value([valued(thought, one) for one in each_told((asked, *others), "what designs are worth")])
    rows = design_rows(thought, each, limits, partial(worth_a_year, protocol))
    verdict, proposed = choose(rows)
    prospect = _prospect(protocol, thought, each[0])
    judged = {
        one.size: _judged(_design(one.protocol, one.layout, one.heads, model_of), assumptions, goal)
        for one in others
        if one.kind == "size"
    }
    judged[asked.size] = power.hardest
    rows = tuple(
        _with_power(row, judged.get(TrialSize(row.sites, row.blocks, row.heads)))
        if row.kind in ("asked", "size")
        else row
        for row in rows
    )
    working_on("other variances")
    changed = sensitivity(design, assumptions, goal)
    efficiency = efficiency_of(protocol, asked.layout)
    about, varied = protocol.trial, protocol.factors.get("dose")
    return Plan(
        schema="trialkit-plan-5",
        id=about.id,
        title=about.title,
        question=about.question,
        season=about.season,
        kind=protocol.layout.kind,
        seed=protocol.seed,
        sites=len(asked.sites),
        blocks=protocol.layout.blocks,
        heads_per_bucket=asked.heads,
        buckets=asked.buckets,
        heads=asked.buckets * asked.heads,
        treatments=len(protocol.treatments()),
        practice=protocol.practice.among(protocol.treatment_columns),
        nutrient_g_per_tsp=grams_per_teaspoon(trial.products, varied.product) if varied else None,
        margin_g=goal.margin_g,
        level=goal.level,
        power_wanted=goal.power,
        efficiency=float(efficiency.average_factor),
        source=assumptions.source,
        spreads=tuple(
            AssumedSpread(grouping, variance**0.5)
            for grouping, variance in assumptions.by_grouping().items()
            if (grouping, 2.0) in changed
        ),
        effects=power.effects,
        difference=power.hardest,
        uncounted=power.uncounted,
        replicates=power.replicates,
        failed=power.failed,
        verdict=verdict,
        proposed=proposed,
        limits=limits,
        value=_value(
            protocol,
            thought,
            prospect,
            _prospect(protocol, thought, each[proposed]) if proposed else prospect,
            assumptions,
            known,
        ),
        designs=rows,
        sensitivity=tuple(
            SensitivityRow(grouping, factor, other.power, other.detectable_g)
            for (grouping, factor), other in changed.items()
        ),
        curves=_curves({1.0: power.hardest} | {f: p for (name, f), p in changed.items() if name == "all"}, goal),
        warnings=efficiency.warnings,
        benches=planned_benches(trial, asked.layout),
        calendar=calendar(protocol),
        shopping=shopping_list(protocol, trial.products, asked.layout, trial.sites),
        measures=protocol.trial.measures,
    )


@dataclass(frozen=True)
class Foresight:
    """What the trial asked for takes and should bring, without designs near it: what can be told at once."""

    row: Annotated[DesignRow, "What it takes; efficient by itself."]
    prospect: Prospect


def known_before(trial: CheckedTrial, assumptions: Assumptions, ledger: LedgerContents) -> Known:
    """Gather and fit what a ledger knows before a trial, which no size of the trial changes.

    Arguments and errors are those of `make_plan`.
    """
    question = question_of(trial, in_ledger=True)
    return with_fit(trial, question, trial.protocol.treatments(), assumptions, _known(ledger, question))


def foresee(trial: CheckedTrial, assumptions: Assumptions, known: Known | None = None) -> Foresight:
    """Work out what the trial asked for is worth, as `make_plan` does.

    Parameters
    ----------
    trial : CheckedTrial
    assumptions : Assumptions
    known : Known, optional
        What a ledger knows, as from `known_before`.

    Raises
    ------
    WrongCall
        If the protocol cannot be laid out.
    """
    limits, question = stated_limits(trial.protocol, len(trial.sites)), question_of(trial, in_ledger=known is not None)
    asked = next(designs(trial, limits, is_known=known is not None))
    thought = outlook(trial, question, trial.protocol.treatments(), assumptions, known)
    after = preposterior(thought, asked)
    one = Valued(asked, after.foreseen)
    (row,) = design_rows(thought, [one], limits, partial(worth_a_year, trial.protocol))
    return Foresight(row, _prospect(trial.protocol, thought, one, after))


def _known(ledger: LedgerContents, question: AdviceQuestion) -> Known:
    """Records of a ledger; a plan by one that tells nothing would not be by a ledger."""
    known = known_from(ledger, question)
    if known.records.buckets.empty:
        raise NotComputed(
            translatable(
                "No trial of the ledger tells of this one: their doses have no place beside its own. Give the "
                "nutrient's label (n_pct, p2o5_pct, k2o_pct) and grams_per_tsp in products.csv, or leave --ledger "
                "out."
            )
        )
    return known


def _value(
    protocol: Protocol,
    thought: Outlook,
    asked: Prospect,
    proposed: Prospect,
    assumptions: Assumptions,
    known: Known | None,
) -> TrialValue:
    beliefs = thought.beliefs
    return TrialValue(
        source="ledger" if known else assumptions.source.code,
        trials=known.records.buckets["trial"].nunique() if known else 0,
        now=thought.candidacy.treatments[int(beliefs.choice(beliefs.expected, thought.costs))],
        heads_a_year=protocol.decision.heads_a_year,
        gardens_lost_share=protocol.variation.gardens_lost_share,
        usable_share=float(beliefs.share.mean()),
        asked=asked,
        proposed=proposed,
    )


def _prospect(protocol: Protocol, thought: Outlook, one: Valued, after: Preposterior | None = None) -> Prospect:
    """What a design is expected to bring, and to leave open."""
    left = (after or preposterior(thought, one.design)).left_open()
    per_gram, candidacy = thought.beliefs.value.per_gram, thought.candidacy
    value_g, heads = one.foreseen.value / per_gram, protocol.decision.heads_a_year
    has_doses = bool(candidacy.gathered.terms.scale)
    return Prospect(
        value_g=value_g,
        kg_a_year=value_g * heads / 1000 if heads else None,
        worth_a_year=worth_a_year(protocol, value_g),
        change=one.foreseen.change,
        settled=left.settled,
        half_width_g=left.half_width / per_gram,
        dose_half_width_tsp=left.dose_half_width / candidacy.question.per_tsp if has_doses else None,
    )


def _judged(design: PlannedDesign, assumptions: Assumptions, goal: Goal) -> DifferenceRow | Refusal:
    try:
        return hardest_difference(design, assumptions, goal)
    except CannotBeJudged as error:
        return error.refusal


def _with_power(row: DesignRow, power: DifferenceRow | Refusal | None) -> DesignRow:
    if power is None:
        return row
    if isinstance(power, Refusal):
        return replace(row, refused=power)
    return replace(row, power=power.power, detectable_g=power.detectable_g)


def _goal(protocol: Protocol) -> Goal:
    practice = protocol.practice.among(protocol.treatment_columns)
    return Goal(protocol.decision.margin_g, practice.levels, level=1 - protocol.decision.confidence)


def _design(protocol: Protocol, layout: pd.DataFrame, heads: int, model_of: ModelOf) -> PlannedDesign:
    """Plan heads on a layout, its groupings as names: a number would enter a model as a slope."""
    names = {column: layout[column].astype(str) for column in GROUPINGS if column in layout}
    return planned_design(layout.assign(**names), heads, protocol.treatment_columns, model_of)


def _curves(powers: Mapping[float, DifferenceRow], goal: Goal) -> tuple[PowerCurve, ...]:
    """Power by the true difference, as assumed and with every variance half and double."""
    differences = np.linspace(0.0, CURVE_MARGINS * goal.margin_g, CURVE_POINTS).tolist()
    return tuple(
        PowerCurve(factor, tuple(differences), tuple(difference_curve(power, goal, differences)))
        for factor, power in sorted(powers.items(), key=lambda item: (item[0] != 1.0, item[0]))
    )
