"""Sizes of trial near the one asked for: buckets, cost, power, width of each."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Annotated

from trialkit.documents.plan import DifferenceRow
from trialkit.domain.errors import WrongCall
from trialkit.planning.assumptions import Assumptions, Changed
from trialkit.planning.exact import hardest_difference
from trialkit.planning.planned_design import PlannedDesign
from trialkit.planning.planned_power import Goal, PlannedPower
from trialkit.planning.power import f_power

Judge = Callable[[PlannedDesign, Assumptions, Goal], PlannedPower]
"""How power is found: `expected_power`, or `simulate_power` with its executor and seed filled in."""


@dataclass(frozen=True, order=True)
class TrialSize:
    """How large a trial is."""

    sites: Annotated[int, "Gardens."]
    blocks: Annotated[int, "Blocks in each garden."]
    heads: Annotated[int, "Heads in each bucket."]

    def __post_init__(self) -> None:
        if min(self.sites, self.blocks, self.heads) < 1:
            raise WrongCall(
                f"{self.sites} gardens with {self.blocks} blocks and {self.heads} heads a bucket make no trial: each "
                "must be 1 or more."
            )


def neighbouring_sizes(size: TrialSize) -> tuple[TrialSize, ...]:
    """Every combination of more or less gardens, blocks and heads, in order, none below 1.

    Blocks and heads by one; gardens by a third, since one of many would hardly be told apart.

    Examples
    --------
    >>> [(size.sites, size.blocks, size.heads) for size in neighbouring_sizes(TrialSize(1, 1, 1))][:3]
    [(1, 1, 1), (1, 1, 2), (1, 2, 1)]
    >>> sorted({size.sites for size in neighbouring_sizes(TrialSize(24, 1, 4))})
    [16, 24, 32]
    """
    steps = max(size.sites // 3, 1), 1, 1
    near = [
        sorted({max(number - step, 1), number, number + step})
        for number, step in zip((size.sites, size.blocks, size.heads), steps, strict=True)
    ]
    return tuple(TrialSize(*counts) for counts in product(*near))


def sensitivity(
    design: PlannedDesign, assumptions: Assumptions, goal: Goal
) -> Mapping[tuple[Changed, float], DifferenceRow]:
    """What the hardest comparison can tell if variances are half or double what was assumed, together and one by one.

    They go by what was changed (``"all"`` or a grouping) and the factor; what the design does not have is left out.
    """
    base = design.variances(assumptions)
    return {
        key: hardest_difference(design, other, goal)
        for key, other in assumptions.sensitivity().items()
        if (design.variances(other) != base).any()
    }


def difference_curve(difference: DifferenceRow, goal: Goal, differences_g: Sequence[float]) -> list[float]:
    """Power of a comparison with the current practice by the true difference, g; not simulated.

    With several strata the degrees of freedom are taken as at the assumed variances, which is close.
    """
    scaled = [(value / difference.standard_error_g) ** 2 for value in differences_g]
    return [f_power(value, 1, difference.df, goal.level) for value in scaled]
