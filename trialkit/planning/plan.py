"""The plan of a trial as one document: what it can tell, what it needs, when things are due."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np
import pandas as pd

from trialkit.layouts.bench import bench_maps
from trialkit.planning.assumptions import LABELS, Assumptions
from trialkit.planning.calendar import Event, calendar
from trialkit.planning.design import Design, ModelOf, planned_design
from trialkit.planning.gains import which_change_buys_most
from trialkit.planning.grid import Costs, Judge, Option, Size, difference_curve, plan_grid, sensitivity, sizes_around
from trialkit.planning.outcome import Goal, PlannedPower
from trialkit.planning.shopping import Item, shopping_list
from trialkit.trial.check import Trial
from trialkit.trial.protocol import FACTOR_COLUMNS, Protocol
from trialkit.trial.randomise import efficiency_of, randomise

MOST_HEADS = 12
CURVE_POINTS = 25
CURVE_REACH = 4.0  # margins
GROUPINGS = ("block", "whole_plot", "volunteer", "row", "column")

Progress = Callable[[str], None]


@dataclass(frozen=True)
class EffectRow:
    """An effect of the factors: chance of finding the margin, and what is found with the power wanted."""

    effect: str
    numerator_df: int
    denominator_df: float
    power: float
    detectable_g: float
    method: str


@dataclass(frozen=True)
class DifferenceRow:
    """The treatment that is compared least well with the current practice."""

    treatment: dict[str, str]
    standard_error_g: float
    df: float
    power: float
    detectable_g: float
    half_width_g: float
    method: str
    monte_carlo_se: float


@dataclass(frozen=True)
class SizeRow:
    """A size of trial: what it takes and what it can tell; None and a reason where it cannot be analysed."""

    sites: int
    blocks: int
    heads: int
    buckets: int
    cost: float
    power: float | None
    detectable_g: float | None
    half_width_g: float | None
    refused: str
    is_asked: bool


@dataclass(frozen=True)
class SensitivityRow:
    """What the trial can tell where a variance is half or double what was assumed."""

    changed: str
    factor: float
    power: float
    detectable_g: float


@dataclass(frozen=True)
class Curve:
    """Chance of finding a difference from the current practice, by its size."""

    label: str
    differences_g: tuple[float, ...]
    power: tuple[float, ...]


@dataclass(frozen=True)
class Spread:
    """An assumed standard deviation."""

    label: str
    sd_g: float


@dataclass(frozen=True)
class Place:
    """A bucket on the bench."""

    bucket: str
    treatment: dict[str, Any]
    block: int
    row: int
    column: int


@dataclass(frozen=True)
class Bench:
    """A garden's bench."""

    site: str
    name: str
    rows: int
    columns: int
    places: tuple[Place, ...]


@dataclass(frozen=True)
class Plan:
    """Everything that a plan says."""

    schema: Literal["trialkit-plan-1"]
    id: str
    title: str
    question: str
    season: str
    kind: str
    seed: int
    sites: int
    blocks: int
    heads_per_bucket: int
    buckets: int
    heads: int
    treatments: int
    margin_g: float
    level: float
    power_wanted: float
    efficiency: float
    source: str
    spreads: tuple[Spread, ...]
    effects: tuple[EffectRow, ...]
    difference: DifferenceRow
    uncounted: tuple[str, ...]
    replicates: int
    failed: int
    advice: tuple[str, ...]
    sizes: tuple[SizeRow, ...]
    sensitivity: tuple[SensitivityRow, ...]
    curves: tuple[Curve, ...]
    warnings: tuple[str, ...]
    benches: tuple[Bench, ...]
    calendar: tuple[Event, ...]
    shopping: tuple[Item, ...]
    cost: float

    def as_document(self) -> dict[str, Any]:
        """Return plain JSON data; days as ISO 8601."""
        document = asdict(self)
        for event in document["calendar"]:
            event["on"] = event["on"].isoformat() if event["on"] else None
        return document


def make_plan(
    trial: Trial, model_of: ModelOf, assumptions: Assumptions, judge: Judge, progress: Progress = lambda _: None
) -> Plan:
    """Plan the trial of a protocol.

    Parameters
    ----------
    trial : Trial
        Read as far as its plan: protocol, sites, products.
    model_of : callable
        How the analysis will derive the model from planned heads.
    assumptions : Assumptions
    judge : callable
        How power is found for the trial asked for. Other sizes, and other variances, are judged by `expected_power`:
        exact where the design is orthogonal, else an approximation, quicker than simulating them all and without the
        noise of chance between sizes.
    progress : callable
        Told what is being worked out.

    Raises
    ------
    NotComputed
        If the trial could not be analysed.
    WrongCall
        If the protocol cannot be laid out, or its margin is nil.
    """
    protocol = trial.protocol
    goal = _goal(protocol)
    progress("layout")
    layout = randomise(protocol, trial.sites)
    size = Size(len(trial.sites), protocol.layout.blocks, protocol.bucket.heads)
    design = _design(protocol, layout, size.heads, model_of)
    progress("power")
    power = judge(design, assumptions, goal)
    costs = Costs(per_bucket=protocol.decision.cost_per_bucket)

    def design_of(other: Size) -> Design:
        return _design(*_resized(trial, other), other.heads, model_of)

    progress("other sizes")
    options = plan_grid(sizes_around(size), design_of, assumptions, goal, costs)
    advice = which_change_buys_most(size, design_of, assumptions, goal, costs, most_heads=MOST_HEADS)
    progress("sensitivity")
    changed = sensitivity(design, assumptions, goal)
    efficiency = efficiency_of(protocol, layout)
    shopping = shopping_list(protocol, trial.products, layout)
    about = protocol.trial
    return Plan(
        schema="trialkit-plan-1",
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
        margin_g=goal.margin_g,
        level=goal.level,
        power_wanted=goal.power,
        efficiency=float(efficiency.average_factor),
        source=assumptions.source,
        spreads=tuple(
            Spread(LABELS[name], variance**0.5)
            for name, variance in assumptions.all_variances().items()
            if (name, 2.0) in changed
        ),
        effects=_effects(power),
        difference=_difference(power),
        uncounted=power.uncounted,
        replicates=power.replicates,
        failed=power.failed,
        advice=advice.sentences,
        sizes=tuple(_size_row(option, option.size == size) for option in options),
        sensitivity=tuple(
            SensitivityRow(LABELS.get(name, "everything"), factor, other.hardest.power, other.hardest.detectable_g)
            for (name, factor), other in changed.items()
        ),
        curves=tuple(_curves(power, {f: p for (name, f), p in changed.items() if name == "all"}, goal)),
        warnings=tuple(f"{warning.sentence} {warning.mend}".strip() for warning in efficiency.warnings),
        benches=_benches(trial, layout),
        calendar=calendar(protocol),
        shopping=shopping,
        cost=sum(item.cost or 0.0 for item in shopping),
    )


def _goal(protocol: Protocol) -> Goal:
    practice = {FACTOR_COLUMNS[name]: level for name, level in protocol.decision.current_practice.items()}
    return Goal(protocol.decision.margin_g, practice, level=1 - protocol.decision.confidence)


def _design(protocol: Protocol, layout: pd.DataFrame, heads: int, model_of: ModelOf) -> Design:
    """Plan heads on a layout, its groupings as names: a number would enter a model as a slope."""
    names = {column: layout[column].astype(str) for column in GROUPINGS if column in layout}
    return planned_design(layout.assign(**names), heads, protocol.treatment_columns, model_of)


def _resized(trial: Trial, size: Size) -> tuple[Protocol, pd.DataFrame]:
    """Lay the same protocol out in another number of gardens and blocks."""
    plan = trial.protocol.layout.model_copy(update={"blocks": size.blocks})
    protocol = trial.protocol.model_copy(update={"layout": plan})
    known = sorted(str(site) for site in trial.sites["site"])
    more = [f"~{i:03d}" for i in range(size.sites - len(known))]  # after every name, so that known gardens keep theirs
    return protocol, randomise(protocol, pd.DataFrame({"site": (known + more)[: size.sites]}))


def _effects(power: PlannedPower) -> tuple[EffectRow, ...]:
    return tuple(
        EffectRow(e.effect, e.numerator_df, e.denominator_df, e.power, e.detectable_g, e.method) for e in power.effects
    )


def _difference(power: PlannedPower) -> DifferenceRow:
    d = power.hardest
    return DifferenceRow(
        dict(d.treatment),
        d.standard_error_g,
        d.df,
        d.power,
        d.detectable_g,
        d.dunnett_half_width_g,
        d.method,
        d.monte_carlo_se,
    )


def _size_row(option: Option, is_asked: bool) -> SizeRow:
    d = option.difference
    return SizeRow(
        option.size.sites,
        option.size.blocks,
        option.size.heads,
        option.buckets,
        option.cost,
        d.power if d else None,
        d.detectable_g if d else None,
        d.dunnett_half_width_g if d else None,
        option.refused,
        is_asked,
    )


def _curves(power: PlannedPower, others: dict[float, PlannedPower], goal: Goal) -> list[Curve]:
    """Power by the true difference, as assumed and with every variance half and double."""
    reach = np.linspace(0.0, CURVE_REACH * goal.margin_g, CURVE_POINTS)
    named: Sequence[tuple[str, PlannedPower]] = (
        ("as assumed", power),
        *((f"variances {'half' if factor < 1 else 'double'}", other) for factor, other in sorted(others.items())),
    )
    return [
        Curve(label, tuple(map(float, reach)), tuple(difference_curve(one.hardest, goal, reach.tolist())))
        for label, one in named
    ]


def _benches(trial: Trial, layout: pd.DataFrame) -> tuple[Bench, ...]:
    names = dict(zip(trial.sites["site"].astype(str), trial.sites["name"].astype(str), strict=True))
    maps = bench_maps(layout, trial.protocol.treatment_columns, trial.protocol.layout.bench_columns)
    return tuple(
        Bench(
            bench.site,
            names.get(bench.site) or bench.site,
            bench.rows,
            bench.columns,
            tuple(Place(c.bucket, dict(c.treatment), c.block, c.row, c.column) for c in bench.cells),
        )
        for bench in maps
    )
