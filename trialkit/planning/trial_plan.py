"""The plan of a trial as one document: what it can tell, what it needs, when things are due."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import TypeVar

import numpy as np
import pandas as pd

from trialkit.documents.plan import (
    AssumedSpread,
    Plan,
    PowerCurve,
    PracticeBuckets,
    SensitivityRow,
    SizeRow,
)
from trialkit.layouts.kinds import LAYOUT_KINDS
from trialkit.layouts.layout_options import best_practice_buckets
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.benches import planned_benches
from trialkit.planning.calendar import calendar
from trialkit.planning.enlargements import which_change_buys_most
from trialkit.planning.exact import expected_power
from trialkit.planning.larger_trials import sufficient_sizes
from trialkit.planning.planned_design import ModelOf, PlannedDesign, planned_design
from trialkit.planning.planned_power import Goal, PlannedPower
from trialkit.planning.shopping import grams_per_teaspoon, shopping_list
from trialkit.planning.trial_sizes import (
    Judge,
    JudgedSize,
    TrialSize,
    difference_curve,
    judge_sizes,
    judged_once,
    neighbouring_sizes,
    sensitivity,
)
from trialkit.protocol.randomise import efficiency_of, randomise
from trialkit.protocol.trial_protocol import Protocol
from trialkit.rules.trial_folder import Trial

MOST_HEADS = 12
CURVE_POINTS = 25
CURVE_MARGINS = 4.0  # as far as curves are drawn
GROUPINGS = ("block", "whole_plot", "volunteer", "row", "column")

Progress = Callable[[str, int, int], None]
"""Told what is being worked out, which one of them, and of how many."""
Thing = TypeVar("Thing")


def make_plan(
    trial: Trial,
    model_of: ModelOf,
    assumptions: Assumptions,
    judge: Judge,
    judge_others: Judge | None = None,
    progress: Progress = lambda *_: None,
) -> Plan:
    """Plan the trial of a protocol.

    The trial is read as far as its plan. `judge_others` finds the power of other sizes and other variances; with fewer
    simulations, as there are many of them.

    Raises
    ------
    NotComputed
        If the trial could not be analysed.
    WrongCall
        If the protocol cannot be laid out, or its margin is nil.
    """
    protocol = trial.protocol
    goal = _goal(protocol)
    progress("layout", 1, 1)
    layout = randomise(protocol, trial.sites)
    size = TrialSize(len(trial.sites), protocol.layout.blocks, protocol.bucket.heads)
    design = _design(protocol, layout, size.heads, model_of)
    progress("power", 1, 1)
    power = judge(design, assumptions, goal)
    cost = protocol.decision.cost_per_bucket

    @cache
    def design_of(other: TrialSize) -> PlannedDesign:
        return design if other == size else _design(*_resized(trial, other), other.heads, model_of)

    others = judge_others or judge
    judged = judged_once(lambda one, *rest: power if one is design else others(one, *rest))
    sizes = _told(neighbouring_sizes(size), "other sizes", progress)
    options = judge_sizes(sizes, design_of, assumptions, goal, cost, judged)
    advice = which_change_buys_most(size, design_of, assumptions, goal, cost, judged, MOST_HEADS)
    larger = None
    if power.hardest.power < goal.power:
        progress("larger trials", 1, 1)
        larger = sufficient_sizes(size, design_of, assumptions, goal, expected_power)
    progress("other variances", 1, 1)
    changed = sensitivity(design, assumptions, goal, others)
    efficiency = efficiency_of(protocol, layout)
    about, varied = protocol.trial, protocol.factors.get("dose")
    return Plan(
        schema="trialkit-plan-3",
        id=about.id,
        title=about.title,
        question=about.question,
        season=about.season,
        kind=protocol.layout.kind,
        seed=protocol.seed,
        sites=size.sites,
        blocks=size.blocks,
        heads_per_bucket=size.heads,
        buckets=len(layout),
        heads=len(layout) * size.heads,
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
        advice=replace(advice, practice=_practice(trial, design, model_of, assumptions, goal)),
        larger=larger,
        sizes=tuple(_size_row(option, option.size == size) for option in options),
        sensitivity=tuple(
            SensitivityRow(grouping, factor, other.hardest.power, other.hardest.detectable_g)
            for (grouping, factor), other in changed.items()
        ),
        curves=_curves({1.0: power} | {f: p for (name, f), p in changed.items() if name == "all"}, goal),
        warnings=efficiency.warnings,
        benches=planned_benches(trial, layout),
        calendar=calendar(protocol),
        shopping=shopping_list(protocol, trial.products, layout),
    )


def _goal(protocol: Protocol) -> Goal:
    practice = protocol.practice.among(protocol.treatment_columns)
    return Goal(protocol.decision.margin_g, practice.levels, level=1 - protocol.decision.confidence)


def _design(protocol: Protocol, layout: pd.DataFrame, heads: int, model_of: ModelOf) -> PlannedDesign:
    """Plan heads on a layout, its groupings as names: a number would enter a model as a slope."""
    names = {column: layout[column].astype(str) for column in GROUPINGS if column in layout}
    return planned_design(layout.assign(**names), heads, protocol.treatment_columns, model_of)


def _resized(trial: Trial, size: TrialSize) -> tuple[Protocol, pd.DataFrame]:
    """Lay the same protocol out in another number of gardens and blocks."""
    plan = trial.protocol.layout.model_copy(update={"blocks": size.blocks})
    protocol = trial.protocol.model_copy(update={"layout": plan})
    known = sorted(str(site) for site in trial.sites["site"])
    more = [f"~{i:03d}" for i in range(size.sites - len(known))]  # after every name, so that known gardens keep theirs
    return protocol, randomise(protocol, pd.DataFrame({"site": (known + more)[: size.sites]}))


def _told(things: Sequence[Thing], what: str, progress: Progress) -> Iterator[Thing]:
    """Hand things on one by one, telling of each."""
    for at, thing in enumerate(things, 1):
        progress(what, at, len(things))
        yield thing


def _practice(
    trial: Trial, design: PlannedDesign, model_of: ModelOf, assumptions: Assumptions, goal: Goal
) -> PracticeBuckets | None:
    """Tell what more buckets of the current practice would bring, in layouts that know such a wish.

    By formula on both sides: the two chances are compared, so neither may be off by chance.
    """
    protocol = trial.protocol
    best = best_practice_buckets(len(protocol.treatments()))
    knows = "practice_buckets" in LAYOUT_KINDS[protocol.layout.kind].options
    if not knows or best <= protocol.layout.practice_buckets:
        return None
    plan = protocol.layout.model_copy(update={"practice_buckets": best})
    changed = protocol.model_copy(update={"layout": plan})
    larger = _design(changed, randomise(changed, trial.sites), protocol.bucket.heads, model_of)
    before, after = (expected_power(one, assumptions, goal) for one in (design, larger))
    return PracticeBuckets(best, after.buckets - before.buckets, before.hardest.power, after.hardest.power)


def _size_row(option: JudgedSize, is_asked: bool) -> SizeRow:
    d = option.power.hardest if option.power else None
    return SizeRow(
        option.size.sites,
        option.size.blocks,
        option.size.heads,
        option.buckets,
        option.cost,
        d.power if d else None,
        d.detectable_g if d else None,
        d.half_width_g if d else None,
        d.monte_carlo_se if d else 0.0,
        option.refused,
        is_asked,
    )


def _curves(powers: Mapping[float, PlannedPower], goal: Goal) -> tuple[PowerCurve, ...]:
    """Power by the true difference, as assumed and with every variance half and double."""
    differences = np.linspace(0.0, CURVE_MARGINS * goal.margin_g, CURVE_POINTS).tolist()
    return tuple(
        PowerCurve(factor, tuple(differences), tuple(difference_curve(power.hardest, goal, differences)))
        for factor, power in sorted(powers.items(), key=lambda item: (item[0] != 1.0, item[0]))
    )
