"""Sizes of trial around the one asked for: buckets, cost, power, width of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.design import Design
from trialkit.planning.exact import expected_power
from trialkit.planning.outcome import DifferencePower, EffectPower, Goal, PlannedPower
from trialkit.planning.power import f_power

Judge = Callable[[Design, Assumptions, Goal], PlannedPower]
"""How power is found: `expected_power`, or `simulate_power` with its executor and seed filled in."""
DesignOf = Callable[["Size"], Design]


@dataclass(frozen=True, order=True)
class Size:
    """How large a trial is.

    Attributes
    ----------
    sites : int
        Gardens.
    blocks : int
        Blocks in each garden.
    heads : int
        Heads in each bucket.
    """

    sites: int
    blocks: int
    heads: int

    def __post_init__(self) -> None:
        if min(self.sites, self.blocks, self.heads) < 1:
            raise WrongCall(
                f"{self.sites} gardens with {self.blocks} blocks and {self.heads} heads a bucket make no trial: each "
                "must be 1 or more."
            )


@dataclass(frozen=True)
class Costs:
    """What a trial costs, in any one currency.

    Attributes
    ----------
    per_site, per_bucket, per_head : float
        Of a garden (travel, visits), a bucket (with its solution), a head (seed, cup, weighing).
    fixed : float
        Whatever the size.
    """

    per_site: float = 0.0
    per_bucket: float = 0.0
    per_head: float = 0.0
    fixed: float = 0.0

    def __post_init__(self) -> None:
        if not all(0 <= cost < float("inf") for cost in (self.per_site, self.per_bucket, self.per_head, self.fixed)):
            raise WrongCall("Costs are numbers at nought or above.")

    def of(self, sites: int, buckets: int, heads: int) -> float:
        """Cost of a whole trial with so many gardens, buckets and heads."""
        return self.fixed + sites * self.per_site + buckets * self.per_bucket + heads * self.per_head


@dataclass(frozen=True)
class Option:
    """One size of trial and what it can tell.

    Attributes
    ----------
    size : Size
    buckets, heads : int
        In the whole trial.
    cost : float
    power : PlannedPower or None
        None where it cannot be told.
    refused : str
        Why it cannot, in the adviser's words; else empty.
    """

    size: Size
    buckets: int
    heads: int
    cost: float
    power: PlannedPower | None
    refused: str = ""

    @property
    def difference(self) -> DifferencePower | None:
        """The treatment that is compared least well with the current practice."""
        return self.power.hardest if self.power else None

    @property
    def weakest_main_effect(self) -> EffectPower | None:
        """The main effect that is found least surely."""
        mains = [effect for effect in self.power.effects if ":" not in effect.effect] if self.power else []
        return min(mains, key=lambda effect: effect.power, default=None)


def sizes_around(
    size: Size,
    sites: Sequence[int] = (-1, 0, 1),
    blocks: Sequence[int] = (-1, 0, 1),
    heads: Sequence[int] = (-1, 0, 1),
) -> tuple[Size, ...]:
    """Every combination of a few more or fewer gardens, blocks and heads, in order; none below 1.

    Parameters
    ----------
    size : Size
    sites, blocks, heads : sequence of int
        Changes to try.

    Examples
    --------
    >>> len(sizes_around(Size(4, 3, 4))), sizes_around(Size(1, 1, 1), heads=[0])
    (27, (Size(sites=1, blocks=1, heads=1), Size(sites=1, blocks=2, heads=1), Size(sites=2, blocks=1, heads=1),
    Size(sites=2, blocks=2, heads=1)))
    """
    changed = product(
        *({max(have + d, 1) for d in by} for have, by in zip(_counts(size), (sites, blocks, heads), strict=True))
    )
    return tuple(sorted(Size(*counts) for counts in changed))


def _counts(size: Size) -> tuple[int, int, int]:
    return size.sites, size.blocks, size.heads


def plan_grid(
    sizes: Iterable[Size],
    design_of: DesignOf,
    assumptions: Assumptions,
    goal: Goal,
    costs: Costs,
    judge: Judge = expected_power,
) -> tuple[Option, ...]:
    """What trials of several sizes can tell, and what they cost.

    Parameters
    ----------
    sizes : iterable of Size
    design_of : callable
        The design of a size: the protocol's layout with so many gardens and blocks.
    assumptions : Assumptions
    goal : Goal
    costs : Costs
    judge : callable
        How power is found.

    Returns
    -------
    tuple of Option
        In the order of the sizes. One that cannot be analysed says why.
    """
    return tuple(_option(size, design_of(size), assumptions, goal, costs, judge) for size in sizes)


def _option(size: Size, design: Design, assumptions: Assumptions, goal: Goal, costs: Costs, judge: Judge) -> Option:
    buckets, heads = design.buckets, len(design.heads)
    cost = costs.of(size.sites, buckets, heads)
    try:
        return Option(size, buckets, heads, cost, judge(design, assumptions, goal))
    except NotComputed as error:
        return Option(size, buckets, heads, cost, None, str(error))


def sensitivity(
    design: Design, assumptions: Assumptions, goal: Goal, judge: Judge = expected_power
) -> Mapping[tuple[str, float], PlannedPower]:
    """What a design can tell if variances are half or double what was assumed, together and one by one.

    Returns
    -------
    mapping
        By what was changed (``"all"``, or a name of `trialkit.planning.assumptions.LABELS`) and the factor. A variance
        that the design does not have is left out.
    """
    base = design.variances(assumptions)
    changed = {key: other for key, other in assumptions.sensitivity().items() if _matters(design, other, base)}
    return {key: judge(design, other, goal) for key, other in changed.items()}


def _matters(design: Design, other: Assumptions, base: np.ndarray) -> bool:
    return bool(np.abs(design.variances(other) - base).max() > 0)


def effect_curve(effect: EffectPower, goal: Goal, differences_g: Sequence[float]) -> list[float]:
    """Power of an effect's F test by the difference between its extreme levels, g; not simulated."""
    scaled = [effect.noncentrality * (difference / goal.margin_g) ** 2 for difference in differences_g]
    return [f_power(value, effect.numerator_df, effect.denominator_df, goal.level) for value in scaled]


def difference_curve(difference: DifferencePower, goal: Goal, differences_g: Sequence[float]) -> list[float]:
    """Power of a comparison with the current practice by the true difference, g; not simulated.

    With several strata the degrees of freedom are taken as at the assumed variances, which is close.
    """
    scaled = [(value / difference.standard_error_g) ** 2 for value in differences_g]
    return [f_power(value, 1, difference.df, goal.level) for value in scaled]
