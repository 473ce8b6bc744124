"""What larger trials would bring: how many gardens or blocks have the power wanted."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from trialkit.documents.plan import LargerTrials, SufficientSize
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.planned_power import Goal
from trialkit.planning.refusal import CannotBeJudged
from trialkit.planning.trial_sizes import Judge, PlannedDesignOf, TrialSize

MOST_SITES, MOST_BLOCKS = 24, 16
MOST_BUCKETS = 1000
"""Larger trials are not looked at: nobody runs them from one office (common practice, no source)."""

Kind = Literal["sites", "blocks"]


def sufficient_sizes(
    size: TrialSize, design_of: PlannedDesignOf, assumptions: Assumptions, goal: Goal, judge: Judge
) -> LargerTrials:
    """Find how many gardens, and how many blocks in each garden, have the power wanted for the margin.

    By bisection: power rises with both.

    `size` has less power than wanted; the rest is as for `trialkit.planning.trial_sizes.judge_sizes`.
    """

    def enlarged(kind: Kind, count: int) -> TrialSize:
        return replace(size, sites=count) if kind == "sites" else replace(size, blocks=count)

    def enough(larger: TrialSize) -> bool:
        try:
            return judge(design_of(larger), assumptions, goal).hardest.power >= goal.power
        except CannotBeJudged:
            return False

    def smallest(kind: Kind, low: int, limit: int) -> SufficientSize:
        high, found = limit, enough(enlarged(kind, limit))
        while found and high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if enough(enlarged(kind, middle)) else (middle, high)
        return SufficientSize(kind, high if found else None, design_of(enlarged(kind, high)).buckets, limit)

    per_block = design_of(size).buckets / (size.sites * size.blocks)
    most = int(MOST_BUCKETS / per_block)
    limits: tuple[tuple[Kind, int, int], ...] = (
        ("sites", size.sites, min(MOST_SITES, most // size.blocks)),
        ("blocks", size.blocks, min(MOST_BLOCKS, most // size.sites)),
    )
    return LargerTrials(tuple(smallest(*limit) for limit in limits if limit[2] > limit[1]), MOST_BUCKETS)
