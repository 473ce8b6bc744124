"""What designs of a trial are worth, within the limits, and which of them to run."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pandas as pd

from trialkit.advice.gathering import Gathered
from trialkit.advice.sample_information import Foreseen, Preposterior
from trialkit.documents.plan import DesignKind, DesignRow, Dropped, LimitName, PlanVerdict, StatedLimits
from trialkit.domain.errors import WrongCall
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.thresholds import SAME_VALUE_G
from trialkit.layouts.kinds import LAYOUT_KINDS
from trialkit.layouts.layout_options import best_practice_buckets
from trialkit.planning.beliefs import Outlook
from trialkit.planning.effort import Effort, effort
from trialkit.planning.trial_sizes import TrialSize, neighbouring_sizes
from trialkit.protocol.randomise import randomise
from trialkit.protocol.sections import SQUARE_KINDS, Layout
from trialkit.protocol.trial_protocol import Protocol
from trialkit.rules.trial_folder import CheckedTrial

VOLUNTEER_BUCKETS = 3
"""In a small block for each volunteer (common practice, no source)."""
MUCH_LESS, SOME_MORE = 0.7, 1.5
"""Buckets, of those asked for: few enough to ask less for nearly the same; the most that an enlargement may take."""
SAVED_SHARE = 0.05
"""Of what the trial asked for is worth: what another must save of it in a year, or may be worth less for much fewer
buckets (common practice, no source)."""


@dataclass(frozen=True)
class TrialDesign:
    """A design of the trial.

    Attributes
    ----------
    kind : str
    protocol : Protocol
    sites : tuple of str
        Names of its gardens.
    heads : int
        In each bucket.
    layout : pandas.DataFrame
        Its buckets, as `randomise` lays them out.
    dropped : Dropped, optional
        The level that it leaves out.
    """

    kind: DesignKind
    protocol: Protocol
    sites: tuple[str, ...]
    heads: int
    layout: pd.DataFrame
    dropped: Dropped | None = None

    @property
    def size(self) -> TrialSize:
        """How large it is."""
        return TrialSize(len(self.sites), self.protocol.layout.blocks, self.heads)

    @property
    def buckets(self) -> int:
        """In the whole trial."""
        return len(self.layout)


def stated_limits(protocol: Protocol, sites: int) -> StatedLimits:
    """Limits of a protocol; where it states none, no more buckets a garden than asked for, and twice the gardens."""
    limits = protocol.limits
    names: Sequence[LimitName] = ("buckets_per_site", "heads_per_bucket", "sites", "visits", "budget")
    return StatedLimits(
        buckets_per_site=limits.buckets_per_site or effort(protocol, sites, protocol.bucket.heads).buckets_per_site,
        heads_per_bucket=limits.heads_per_bucket or protocol.bucket.heads,
        sites=limits.sites or 2 * sites,
        visits=limits.visits,
        budget=limits.budget,
        stated=tuple(name for name in names if getattr(limits, name) is not None),
    )


def beyond(taken: Effort, limits: StatedLimits) -> tuple[LimitName, ...]:
    """Limits that a design would break."""
    broken: Mapping[LimitName, bool] = {
        "buckets_per_site": taken.buckets_per_site > limits.buckets_per_site,
        "heads_per_bucket": taken.heads_per_bucket > limits.heads_per_bucket,
        "sites": taken.sites > limits.sites,
        "visits": limits.visits is not None and taken.visits > limits.visits,
        "budget": limits.budget is not None and taken.cost > limits.budget,
    }
    return tuple(name for name, is_broken in broken.items() if is_broken)


def designs(trial: CheckedTrial, limits: StatedLimits, *, is_known: bool) -> Iterator[TrialDesign]:
    """List designs near the one that the protocol asks for, that first, and others within the limits.

    Parameters
    ----------
    trial : CheckedTrial
        Read as far as its plan.
    limits : StatedLimits
    is_known : bool
        Whether earlier trials tell one cultivar from another: else one stands for all that could be dropped.

    Raises
    ------
    WrongCall
        If the one asked for cannot be laid out; another that cannot is left out.
    """
    protocol = trial.protocol
    known = sorted(str(site) for site in trial.sites["site"])
    n, heads = len(known), protocol.bucket.heads
    asked = TrialDesign("asked", protocol, tuple(known), heads, randomise(protocol, pd.DataFrame({"site": known})))
    yield asked

    centre = asked if not _beyond(asked, limits) else replace(asked, heads=min(heads, limits.heads_per_bucket))
    largest = _largest_within(centre, limits) or centre.size

    @cache
    def sized(count: int, blocks: int) -> TrialDesign | None:
        # After every name, so that known gardens keep theirs.
        sites = (known + [f"~{i:03d}" for i in range(count - n)])[:count]
        return laid_out("size", with_layout(protocol, blocks=blocks), sites, largest.heads, limits)

    sizes = [largest, *neighbouring_sizes(largest), TrialSize(2 * n, largest.blocks, largest.heads)]
    sizes += [TrialSize(2 * n, (largest.blocks + 1) // 2, largest.heads)] if largest.blocks > 1 else []
    for size in dict.fromkeys(sizes):
        if size != asked.size and size.heads <= limits.heads_per_bucket:
            other = sized(size.sites, size.blocks)
            if other:
                yield replace(other, heads=size.heads)
    yield from filter(None, (_with_more_practice(centre, limits), _of_volunteers(centre, limits)))
    yield from filter(None, without_levels(centre, limits, is_known=is_known))


def _largest_within(asked: TrialDesign, limits: StatedLimits) -> TrialSize | None:
    """Most blocks, and then most gardens, of those asked for that the limits allow; None where they allow none."""
    for blocks in range(asked.size.blocks, 0, -1):
        protocol = with_layout(asked.protocol, blocks=blocks)
        for sites in range(len(asked.sites), 0, -1):
            if protocol.is_sound and not beyond(effort(protocol, sites, asked.heads), limits):
                return TrialSize(sites, blocks, asked.heads)
    return None


def _beyond(design: TrialDesign, limits: StatedLimits) -> tuple[LimitName, ...]:
    return beyond(effort(design.protocol, len(design.sites), design.heads), limits)


def laid_out(
    kind: DesignKind,
    protocol: Protocol,
    sites: Sequence[str],
    heads: int,
    limits: StatedLimits,
    dropped: Dropped | None = None,
) -> TrialDesign | None:
    """Lay a design out; None where that cannot be, or is beyond the limits."""
    if not protocol.is_sound or beyond(effort(protocol, len(sites), heads), limits):
        return None
    try:
        layout = randomise(protocol, pd.DataFrame({"site": list(sites)}))
    except WrongCall:
        return None
    return TrialDesign(kind, protocol, tuple(sites), heads, layout, dropped)


def with_layout(protocol: Protocol, **changes: object) -> Protocol:
    """Return the protocol with other keys in its layout."""
    return protocol.model_copy(update={"layout": protocol.layout.model_copy(update=changes)})


def _with_more_practice(asked: TrialDesign, limits: StatedLimits) -> TrialDesign | None:
    protocol = asked.protocol
    best = best_practice_buckets(len(protocol.treatments()))
    if "practice_buckets" not in LAYOUT_KINDS[protocol.layout.kind].options or best <= protocol.layout.practice_buckets:
        return None
    return laid_out("practice buckets", with_layout(protocol, practice_buckets=best), asked.sites, asked.heads, limits)


def _of_volunteers(asked: TrialDesign, limits: StatedLimits) -> TrialDesign | None:
    """As many buckets, a small block of them with each of more volunteers."""
    protocol, count = asked.protocol, asked.buckets // VOLUNTEER_BUCKETS
    if protocol.layout.kind != "randomised complete blocks" or len(protocol.treatments()) <= VOLUNTEER_BUCKETS:
        return None
    layout = Layout(kind="volunteer blocks", blocks=1, block_size=VOLUNTEER_BUCKETS, seed=protocol.layout.seed)
    sites = [*asked.sites, *(f"~{i:03d}" for i in range(count - len(asked.sites)))][:count]
    return laid_out("volunteers", protocol.model_copy(update={"layout": layout}), sites, asked.heads, limits)


def without_levels(asked: TrialDesign, limits: StatedLimits, *, is_known: bool) -> Iterator[TrialDesign | None]:
    """Leave out one level, and then grow the rest in as many blocks as the buckets allow."""
    protocol = asked.protocol
    if protocol.layout.kind in SQUARE_KINDS or protocol.layout.checks:
        return
    for name in protocol.varied_factors:
        factor, practice = protocol.factors[name], protocol.decision.current_practice[name]
        others = [level for level in factor.levels if level != practice]
        are_alike = name == "cultivar" and not is_known and len(others) > 1
        if len(others) < 2 and len(protocol.varied_factors) < 2:
            continue
        for level in others[:1] if are_alike else others:
            rest = tuple(one for one in factor.levels if one != level)
            factors = {**protocol.factors, name: factor.model_copy(update={"levels": rest})}
            less = protocol.model_copy(update={"factors": factors})
            dropped = Dropped(FACTOR_COLUMNS[name], None if are_alike else level)  # type: ignore[arg-type]
            one = laid_out("fewer levels", less, asked.sites, asked.heads, limits, dropped)
            yield one
            blocks = asked.buckets * protocol.layout.blocks // one.buckets if one else 0
            if blocks > protocol.layout.blocks:
                yield laid_out(
                    "fewer levels", with_layout(less, blocks=blocks), asked.sites, asked.heads, limits, dropped
                )


@dataclass(frozen=True)
class Valued:
    """A design, and what it is expected to bring where as many gardens give up as is expected."""

    design: TrialDesign
    foreseen: Foreseen


def valued(outlook: Outlook, design: TrialDesign) -> Valued:
    """Work out what a design is expected to bring."""
    return Valued(design, preposterior(outlook, design).foreseen)


def preposterior(outlook: Outlook, design: TrialDesign) -> Preposterior:
    """What will be expected after a trial of a design."""
    planned = outlook.gathered(design.layout, design.heads)
    lost = len(design.sites) * design.protocol.variation.gardens_lost_share
    return Preposterior.of(outlook.beliefs, without_gardens(planned, lost), outlook.costs, outlook.design_effect)


def without_gardens(planned: Gathered, lost: float) -> Gathered:
    """The same where the last gardens gave up, and tell nothing; of a part of a garden, that part of what it tells."""
    stays = np.clip(len(planned.names) - lost - np.arange(len(planned.names)), 0.0, 1.0)
    return replace(planned, gram=planned.gram * stays[:, None, None], recorded=planned.recorded * stays[:, None])


def by_value(found: Sequence[Valued]) -> tuple[Valued, ...]:
    """Put the design asked for first, which comes first, and others by their value."""
    return (found[0], *sorted(found[1:], key=lambda one: (-one.foreseen.value, one.design.buckets)))


def design_rows(
    outlook: Outlook, found: Sequence[Valued], limits: StatedLimits, per_year: Callable[[float], float | None]
) -> tuple[DesignRow, ...]:
    """Tell of designs, in their order.

    Parameters
    ----------
    outlook : Outlook
    found : sequence of Valued
    limits : StatedLimits
    per_year : callable
        From grams a head to money a year.
    """
    per_gram = outlook.beliefs.value.per_gram
    rows = [_row(one, limits, one.foreseen.value / per_gram, per_year) for one in found]
    allowed = [row for row in rows if not row.beyond]
    return tuple(
        replace(row, efficient=not row.beyond and not any(_equals(other, row) for other in allowed)) for row in rows
    )


def _equals(other: DesignRow, row: DesignRow) -> bool:
    """Whether another design makes this one needless."""
    if other.buckets < row.buckets:
        return other.value_g >= row.value_g
    return other.buckets == row.buckets and other.value_g > row.value_g


def _row(one: Valued, limits: StatedLimits, value_g: float, per_year: Callable[[float], float | None]) -> DesignRow:
    design, protocol = one.design, one.design.protocol
    taken = effort(protocol, len(design.sites), design.heads)
    return DesignRow(
        kind=design.kind,
        sites=len(design.sites),
        blocks=protocol.layout.blocks,
        heads=design.heads,
        treatments=len(protocol.treatments()),
        buckets=design.buckets,
        visits=taken.visits,
        cost=taken.cost,
        value_g=value_g,
        worth_a_year=per_year(value_g),
        beyond=beyond(taken, limits),
        efficient=False,
        dropped=design.dropped,
        practice_buckets=protocol.layout.practice_buckets,
    )


def choose(rows: Sequence[DesignRow]) -> tuple[PlanVerdict, int]:
    """Say what to do with the trial asked for, the first of the rows, and the place of the design that is proposed.

    Where the heads grown in a year, the price and the cost of buckets are known, the greatest worth less cost is
    proposed. Elsewhere a gram is what counts: a design is proposed that brings a gram more for at most half as many
    buckets again, or at most a gram, and a twentieth, less for much fewer. A trial beyond the limits is not run so.
    """
    asked = rows[0]
    allowed = [i for i, row in enumerate(rows) if not row.beyond]
    if not allowed:
        return PlanVerdict.ASK_LESS, 0
    if all(rows[i].worth_a_year is not None for i in allowed) and any(rows[i].cost for i in allowed):
        best = max(allowed, key=lambda i: (_net(rows[i]), -i))
        if _net(rows[best]) <= 0:
            return PlanVerdict.NOT_WORTH_IT, 0
        saved = _net(rows[best]) - _net(asked)
        found = best if asked.beyond or saved >= SAVED_SHARE * (asked.worth_a_year or 0.0) else 0
    elif max(rows[i].value_g for i in allowed) < SAME_VALUE_G:
        return PlanVerdict.NOT_WORTH_IT, 0
    else:
        found = _best_by_grams(rows, allowed)
    if found == 0:
        return PlanVerdict.RUN, 0
    return (PlanVerdict.ENLARGE if _is_larger(rows[found], asked) else PlanVerdict.ASK_LESS), found


def _best_by_grams(rows: Sequence[DesignRow], allowed: Sequence[int]) -> int:
    """Place of the design to propose where a gram is what counts."""
    asked = rows[0]

    def best(found: Sequence[int]) -> int:
        return max(found, key=lambda i: (rows[i].value_g, -rows[i].buckets))

    if asked.beyond:
        return best([i for i in allowed if rows[i].buckets <= asked.buckets] or allowed)
    more = asked.value_g + SAME_VALUE_G
    less = asked.value_g - min(SAME_VALUE_G, SAVED_SHARE * asked.value_g)
    better = [i for i in allowed if rows[i].buckets <= SOME_MORE * asked.buckets and rows[i].value_g >= more]
    fewer = [i for i in allowed if rows[i].buckets <= MUCH_LESS * asked.buckets and rows[i].value_g >= less]
    return best(better or fewer or [0])


def _is_larger(row: DesignRow, asked: DesignRow) -> bool:
    """Whether a design enlarges the trial asked for; one of as many buckets does where it drops no treatment."""
    same = row.buckets == asked.buckets and row.treatments == asked.treatments
    return row.buckets > asked.buckets or (same and not asked.beyond)


def worth_a_year(protocol: Protocol, value_g: float) -> float | None:
    """Money that grams a head make on the heads grown in a year."""
    heads, price = protocol.decision.heads_a_year, protocol.decision.price_per_kg
    return value_g * heads * price / 1000 if heads and price else None


def _net(row: DesignRow) -> float:
    return (row.worth_a_year or 0.0) - row.cost
