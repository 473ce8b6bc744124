"""Which change buys most: another garden, block, or head in each bucket; and where heads stop helping."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from trialkit._percent import in_percent
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.grid import Costs, DesignOf, Judge, Option, Size, plan_grid
from trialkit.planning.outcome import DifferencePower, Goal

Kind = Literal["sites", "blocks", "heads"]
WORDS = {"sites": "another garden", "blocks": "another {unit} in each garden", "heads": "another head in each bucket"}
# Changes of power below this are none to an adviser.
SMALL = 0.001


@dataclass(frozen=True)
class Gain:
    """What one change brings for the treatment that is hardest to tell from the current practice.

    Attributes
    ----------
    kind : {"sites", "blocks", "heads"}
        What there is one more of.
    option : Option
        The larger trial.
    added_cost : float
    added_buckets : int
    before, after : DifferencePower
        Without and with the change.
    widens_scope : bool
        Whether answers hold for gardens at large only with this change.
    """

    kind: Kind
    option: Option
    added_cost: float
    added_buckets: int
    before: DifferencePower
    after: DifferencePower
    widens_scope: bool

    @property
    def power(self) -> float:
        """Rise of the power for the margin."""
        return self.after.power - self.before.power

    @property
    def half_width_g(self) -> float:
        """By how much the expected half-width (Dunnett's) shrinks, g."""
        return self.before.dunnett_half_width_g - self.after.dunnett_half_width_g

    def worth(self, amount: float, *, priced: bool) -> float:
        """An amount for each unit of added cost; as it is where no costs are known, without end where it is free."""
        if self.added_cost > 0:
            return amount / self.added_cost
        return math.inf if priced and amount > 0 else amount


@dataclass(frozen=True)
class HeadsLimit:
    """How far more heads in a bucket can help.

    Attributes
    ----------
    bucket_share : float
        Part of the variance of a bucket's mean that is the bucket's own, ``s_b / (s_b + s / m)``: no number of heads
        takes it away.
    bucket_sd_g, head_sd_g : float
    heads : int
        m.
    """

    bucket_share: float
    bucket_sd_g: float
    head_sd_g: float
    heads: int

    @property
    def sentence(self) -> str:
        """Say it to the adviser."""
        return (
            f"Buckets treated alike differ by about {self.bucket_sd_g:.2g} g however many heads they hold; with "
            f"{self.heads} head{'s' if self.heads > 1 else ''} a bucket that is already "
            f"{in_percent(self.bucket_share)} of the "
            "variance of a bucket's mean. More heads can only shrink the other "
            f"{in_percent(1 - self.bucket_share)}: heads of "
            "one bucket share its solution, so they are not new trials of the treatment."
        )


def heads_limit(assumptions: Assumptions, heads: int) -> HeadsLimit:
    """Tell how far more heads in a bucket can help.

    Variance of a bucket's mean ``s_b + s / m`` (subsampling: Cochran & Cox 1957; Hurlbert 1984, Ecol. Monogr. 54,
    187-211, on taking subsamples for replicates).
    """
    own, between_heads = assumptions.variance_of("bucket", ()), assumptions.variance_of("residual", ())
    share = own / (own + between_heads / heads)
    return HeadsLimit(share, own**0.5, between_heads**0.5, heads)


@dataclass(frozen=True)
class Advice:
    """Which change buys most.

    Attributes
    ----------
    base : Option
    gains : tuple of Gain
        The one that buys most first.
    limit : HeadsLimit
    priced : bool
        Whether costs were known.
    margin_g : float
        The difference in question, g.
    unit : str
        What a garden has several of: block, volunteer.
    """

    base: Option
    gains: tuple[Gain, ...]
    limit: HeadsLimit
    priced: bool
    margin_g: float
    unit: str = "block"

    @property
    def sentences(self) -> tuple[str, ...]:
        """Say it to the adviser: what buys most, what each change brings, why heads soon stop helping."""
        if not self.gains:
            return (f"This trial cannot be judged, so no change to it can: {self.base.refused}", self.limit.sentence)
        return (
            _first_sentence(self),
            *(_sentence(self, gain) for gain in self.gains),
            self.limit.sentence,
        )


def which_change_buys_most(
    size: Size,
    design_of: DesignOf,
    assumptions: Assumptions,
    goal: Goal,
    costs: Costs,
    judge: Judge = expected_power,
    most_heads: int | None = None,
    unit: str = "block",
) -> Advice:
    """Compare one more garden, one more block in each garden and one more head in each bucket.

    They are ranked by the rise in power for the margin for each unit of added cost, then by how much the interval
    narrows; by the rise itself where no cost is known.

    Parameters
    ----------
    size : Size
        The trial asked for.
    design_of, assumptions, goal, costs, judge
        As for `trialkit.planning.grid.plan_grid`.
    most_heads : int, optional
        As many as a bucket holds.
    unit : str
        What a garden has several of: block, volunteer.
    """
    larger: dict[Kind, Size] = {
        "sites": replace(size, sites=size.sites + 1),
        "blocks": replace(size, blocks=size.blocks + 1),
        "heads": replace(size, heads=size.heads + 1),
    }
    if most_heads is not None and size.heads >= most_heads:
        del larger["heads"]
    base, *others = plan_grid([size, *larger.values()], design_of, assumptions, goal, costs, judge)
    gains = [_gain(kind, base, option) for kind, option in zip(larger, others, strict=True)]
    known = [gain for gain in gains if gain]
    priced = any(gain.added_cost > 0 for gain in known)
    known.sort(key=lambda gain: _rank(gain, priced), reverse=True)
    return Advice(base, tuple(known), heads_limit(assumptions, size.heads), priced, goal.margin_g, unit)


def _rank(gain: Gain, priced: bool) -> tuple[float, float]:
    power = gain.power if abs(gain.power) >= SMALL else 0.0
    return gain.worth(power, priced=priced), gain.worth(gain.half_width_g, priced=priced)


def _gain(kind: Kind, base: Option, option: Option) -> Gain | None:
    if base.power is None or option.power is None:
        return None
    return Gain(
        kind=kind,
        option=option,
        added_cost=option.cost - base.cost,
        added_buckets=option.buckets - base.buckets,
        before=base.power.hardest,
        after=option.power.hardest,
        widens_scope=bool(base.power.uncounted) and not option.power.uncounted,
    )


def _first_sentence(advice: Advice) -> str:
    best = advice.gains[0]
    if _rank(best, advice.priced) <= (0.0, 0.0):
        return "None of the three changes makes this trial tell more."
    name = _name(advice, best)
    if advice.priced:
        return f"{name} buys most for what it costs."
    return f"{name} buys most in one step; decision.cost_per_bucket is not given, so cost is left out."


def _name(advice: Advice, gain: Gain) -> str:
    return WORDS[gain.kind].format(unit=advice.unit).capitalize()


def _sentence(advice: Advice, gain: Gain) -> str:
    was, now = gain.before, gain.after
    effort = [f"{gain.added_buckets} more buckets"] if gain.added_buckets else []
    effort += [f"{gain.option.heads - advice.base.heads} more heads"]
    effort += [f"{gain.added_cost:,.2f} more to pay"] if gain.added_cost else []
    text = (
        f"{_name(advice, gain)} ({', '.join(effort)}): the chance of finding a difference of "
        f"{advice.margin_g:g} g goes from {in_percent(was.power)} to {in_percent(now.power)}, and the expected "
        "interval from "
        f"plus or minus {was.dunnett_half_width_g:.1f} g to {now.dunnett_half_width_g:.1f} g."
    )
    if gain.widens_scope:
        text += " Only with it do the answers hold for gardens at large, whose own differences then count."
    return text
