"""Which change buys most: another garden, block, or head in each bucket; and where heads stop helping."""

from __future__ import annotations

import math
from dataclasses import replace

from trialkit.documents.plan import Enlargement, EnlargementAdvice, EnlargementGain, HeadsLimit
from trialkit.planning.assumptions import Assumptions
from trialkit.planning.exact import expected_power
from trialkit.planning.planned_power import Goal
from trialkit.planning.trial_sizes import Judge, JudgedSize, PlannedDesignOf, TrialSize, judge_sizes

# Changes of power below this are none to an adviser.
SMALL = 0.001


def heads_limit(assumptions: Assumptions, heads: int) -> HeadsLimit:
    """Tell how far more heads in a bucket can help.

    Variance of a bucket's mean ``s_b + s / m`` (subsampling: Cochran & Cox 1957; Hurlbert 1984, Ecol. Monogr.,
    on taking subsamples for replicates).
    """
    own, between_heads = assumptions.variance_of("bucket", ()), assumptions.variance_of("residual", ())
    share = own / (own + between_heads / heads)
    return HeadsLimit(share, own**0.5, between_heads**0.5, heads)


def which_change_buys_most(
    size: TrialSize,
    design_of: PlannedDesignOf,
    assumptions: Assumptions,
    goal: Goal,
    cost_per_bucket: float,
    judge: Judge = expected_power,
    most_heads: int | None = None,
) -> EnlargementAdvice:
    """Compare one more garden, one more block in each garden and one more head in each bucket.

    They are ranked by the rise in power for the margin for each unit of added cost, then by how much the interval
    narrows; by the rise itself where no cost is known.

    `most_heads` are as many as a bucket holds; the rest is as for `trialkit.planning.trial_sizes.judge_sizes`.
    """
    larger: dict[Enlargement, TrialSize] = {
        "sites": replace(size, sites=size.sites + 1),
        "blocks": replace(size, blocks=size.blocks + 1),
        "heads": replace(size, heads=size.heads + 1),
    }
    if most_heads is not None and size.heads >= most_heads:
        del larger["heads"]
    base, *others = judge_sizes([size, *larger.values()], design_of, assumptions, goal, cost_per_bucket, judge)
    found = [_gain(kind, base, other) for kind, other in zip(larger, others, strict=True)]
    gains = [gain for gain in found if gain]
    priced = any(gain.added_cost > 0 for gain in gains)
    gains.sort(key=lambda gain: _rank(gain, priced), reverse=True)
    tells_more = bool(gains) and _rank(gains[0], priced) > (0.0, 0.0)
    return EnlargementAdvice(tuple(gains), tells_more, priced, heads_limit(assumptions, size.heads))


def _rank(gain: EnlargementGain, priced: bool) -> tuple[float, float]:
    power = gain.power if abs(gain.power) >= SMALL else 0.0
    return _for_its_cost(power, gain, priced), _for_its_cost(gain.half_width_g, gain, priced)


def _for_its_cost(amount: float, gain: EnlargementGain, priced: bool) -> float:
    """An amount for each unit of added cost; as it is where no costs are known, without end where it is free."""
    if gain.added_cost > 0:
        return amount / gain.added_cost
    return math.inf if priced and amount > 0 else amount


def _gain(kind: Enlargement, base: JudgedSize, larger: JudgedSize) -> EnlargementGain | None:
    if base.power is None or larger.power is None:
        return None
    before, after = base.power.hardest, larger.power.hardest
    return EnlargementGain(
        kind=kind,
        added_buckets=larger.buckets - base.buckets,
        added_heads=larger.heads - base.heads,
        added_cost=larger.cost - base.cost,
        power_before=before.power,
        power_after=after.power,
        half_width_before_g=before.half_width_g,
        half_width_after_g=after.half_width_g,
        widens_scope=bool(base.power.uncounted) and not larger.power.uncounted,
    )
