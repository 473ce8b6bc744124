"""What larger trials would bring: how many gardens or blocks reach the power wanted, more buckets of the practice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from trialkit._percent import in_percent
from trialkit.domain.errors import NotComputed
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.design import Design
from trialkit.planning.grid import DesignOf, Judge, Size
from trialkit.planning.outcome import Goal, PlannedPower

MOST_SITES, MOST_BLOCKS = 24, 16
MOST_BUCKETS = 1000
"""Larger trials are not looked at: nobody runs them from one office (common practice, no source)."""

Kind = Literal["sites", "blocks"]


@dataclass(frozen=True)
class Reach:
    """The smallest trial that reaches the power wanted by one kind of enlargement.

    Attributes
    ----------
    kind : {"sites", "blocks"}
        What there is more of.
    size : Size or None
        None where none of those looked at reaches it.
    buckets : int
        In that trial; in the largest one looked at where none reaches it.
    largest : int
        Most gardens, or blocks, that were looked at.
    """

    kind: Kind
    size: Size | None
    buckets: int
    largest: int


def reaching(size: Size, design_of: DesignOf, assumptions: Assumptions, goal: Goal, judge: Judge) -> tuple[Reach, ...]:
    """Find how many gardens, and how many blocks in each garden, reach the power wanted for the margin.

    By bisection: power rises with both.

    Parameters
    ----------
    size : Size
        The trial asked for, which does not reach it.
    design_of, assumptions, goal, judge
        As for `trialkit.planning.grid.plan_grid`.
    """
    per_unit = design_of(size).buckets / (size.sites * size.blocks)
    most_units = int(MOST_BUCKETS / per_unit)
    limits: dict[Kind, int] = {
        "sites": min(MOST_SITES, most_units // size.blocks),
        "blocks": min(MOST_BLOCKS, most_units // size.sites),
    }
    return tuple(
        _reach(kind, limit, size, design_of, assumptions, goal, judge)
        for kind, limit in limits.items()
        if limit > getattr(size, kind)
    )


def _reach(
    kind: Kind, limit: int, size: Size, design_of: DesignOf, assumptions: Assumptions, goal: Goal, judge: Judge
) -> Reach:
    def enlarged(count: int) -> Size:
        return replace(size, sites=count) if kind == "sites" else replace(size, blocks=count)

    def enough(count: int) -> bool:
        try:
            return judge(design_of(enlarged(count)), assumptions, goal).hardest.power >= goal.power
        except NotComputed:
            return False

    low, high = getattr(size, kind), limit
    if not enough(high):
        return Reach(kind, None, design_of(enlarged(high)).buckets, limit)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return Reach(kind, enlarged(high), design_of(enlarged(high)).buckets, limit)


def reach_sentence(reaches: tuple[Reach, ...], goal: Goal, unit: str) -> str:
    """Say it to the adviser; `unit` is what a garden has several of: blocks, volunteers."""
    found = [reach for reach in reaches if reach.size]
    target = f"a chance of {in_percent(goal.power)} of finding {goal.margin_g:g} g"
    if not found:
        looked = " or ".join(f"{r.largest} {'gardens' if r.kind == 'sites' else unit + ' in each'}" for r in reaches)
        beyond = f", not even with {looked}" if looked else ""
        return (
            f"No trial of this kind with up to {MOST_BUCKETS} buckets has {target}{beyond}: ask for a larger margin, "
            "or try fewer treatments at once."
        )
    parts = [
        f"{reach.size.sites} gardens ({reach.buckets} buckets)"
        if reach.kind == "sites"
        else f"{reach.size.blocks} {unit} in each garden ({reach.buckets} buckets)"
        for reach in found
        if reach.size
    ]
    return f"For {target} it would take about {', or '.join(parts)}, all else alike."


def practice_sentence(practice_buckets: int, before: PlannedPower, after: PlannedPower) -> str:
    """Say what more buckets of the current practice bring, `practice_buckets` for each one of another treatment."""
    return (
        f"{practice_buckets} buckets of the current practice for each one of another treatment "
        f"(layout.practice_buckets; {after.buckets - before.buckets} more buckets): every treatment is compared with "
        f"it, so the chance of finding {before.goal.margin_g:g} g goes from about {in_percent(before.hardest.power)} "
        f"to {in_percent(after.hardest.power)}."
    )


def remembering(judge: Judge) -> Callable[[Design, Assumptions, Goal], PlannedPower]:
    """Judge each design once only, as long as it lives, under assumptions and a goal that stay the same."""
    known: dict[int, tuple[Design, PlannedPower]] = {}

    def remembered(design: Design, assumptions: Assumptions, goal: Goal) -> PlannedPower:
        if id(design) not in known:
            known[id(design)] = design, judge(design, assumptions, goal)
        return known[id(design)][1]

    return remembered
