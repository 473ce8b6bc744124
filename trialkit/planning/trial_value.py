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
from trialkit.planning.calendar import visit_days
from trialkit.planning.trial_sizes import TrialSize, neighbouring_sizes
from trialkit.protocol.randomise import layout_options, randomise
from trialkit.protocol.sections import SQUARE_KINDS, Layout
from trialkit.protocol.trial_protocol import Protocol
from trialkit.rules.trial_folder import Trial

VOLUNTEER_BUCKETS = 3
"""In a small block for each volunteer (common practice, no source)."""
MUCH_LESS, SOME_MORE = 0.7, 1.5
"""Buckets, of those asked for: few enough to ask less for nearly the same; the most that an enlargement may take."""


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
        buckets_per_site=limits.buckets_per_site or buckets_a_garden(protocol),
        heads_per_bucket=limits.heads_per_bucket or protocol.bucket.heads,
        sites=limits.sites or 2 * sites,
        visits=limits.visits,
        budget=limits.budget,
        stated=tuple(name for name in names if getattr(limits, name) is not None),
    )


def buckets_a_garden(protocol: Protocol) -> int:
    """How many buckets each garden has."""
    plan = protocol.layout
    return LAYOUT_KINDS[plan.kind].sizes(len(protocol.treatments()), plan.blocks, layout_options(protocol))[0]


def beyond(protocol: Protocol, sites: int, heads: int, limits: StatedLimits) -> tuple[LimitName, ...]:
    """Limits that a design would break."""
    buckets = buckets_a_garden(protocol)
    cost, visits = protocol.decision.cost_per_bucket * buckets * sites, _visits(protocol, sites)
    broken: Mapping[LimitName, bool] = {
        "buckets_per_site": buckets > limits.buckets_per_site,
        "heads_per_bucket": heads > limits.heads_per_bucket,
        "sites": sites > limits.sites,
        "visits": limits.visits is not None and visits > limits.visits,
        "budget": limits.budget is not None and cost > limits.budget,
    }
    return tuple(name for name, is_broken in broken.items() if is_broken)


def _visits(protocol: Protocol, sites: int) -> int:
    return len(visit_days(protocol.schedule)) * sites


def designs(trial: Trial, limits: StatedLimits) -> Iterator[TrialDesign]:
    """List designs near the one that the protocol asks for, that first, and others within the limits.

    Raises
    ------
    WrongCall
        If the one asked for cannot be laid out; another that cannot is left out.
    """
    protocol = trial.protocol
    known = sorted(str(site) for site in trial.sites["site"])
    n, blocks, heads = len(known), protocol.layout.blocks, protocol.bucket.heads
    asked = TrialDesign("asked", protocol, tuple(known), heads, randomise(protocol, pd.DataFrame({"site": known})))
    yield asked

    @cache
    def sized(count: int, blocks: int) -> TrialDesign | None:
        # After every name, so that known gardens keep theirs.
        sites = (known + [f"~{i:03d}" for i in range(count - n)])[:count]
        return _laid_out("size", _with_layout(protocol, blocks=blocks), sites, heads, limits)

    sizes = [*neighbouring_sizes(asked.size), TrialSize(2 * n, blocks, heads)]
    sizes += [TrialSize(2 * n, (blocks + 1) // 2, heads)] if blocks > 1 else []
    for size in sizes:
        if size != asked.size and size.heads <= limits.heads_per_bucket:
            other = sized(size.sites, size.blocks)
            if other:
                yield replace(other, heads=size.heads)
    for one in (_with_more_practice(asked, limits), *_without_levels(asked, limits), _of_volunteers(asked, limits)):
        if one:
            yield one


def _laid_out(
    kind: DesignKind,
    protocol: Protocol,
    sites: Sequence[str],
    heads: int,
    limits: StatedLimits,
    dropped: Dropped | None = None,
) -> TrialDesign | None:
    """Lay a design out; None where that cannot be, or is beyond the limits."""
    if beyond(protocol, len(sites), heads, limits):
        return None
    try:
        layout = randomise(protocol, pd.DataFrame({"site": list(sites)}))
    except WrongCall:
        return None
    return TrialDesign(kind, protocol, tuple(sites), heads, layout, dropped)


def _with_layout(protocol: Protocol, **changes: object) -> Protocol:
    return protocol.model_copy(update={"layout": protocol.layout.model_copy(update=changes)})


def _with_more_practice(asked: TrialDesign, limits: StatedLimits) -> TrialDesign | None:
    protocol = asked.protocol
    best = best_practice_buckets(len(protocol.treatments()))
    if "practice_buckets" not in LAYOUT_KINDS[protocol.layout.kind].options or best <= protocol.layout.practice_buckets:
        return None
    return _laid_out(
        "practice buckets", _with_layout(protocol, practice_buckets=best), asked.sites, asked.heads, limits
    )


def _of_volunteers(asked: TrialDesign, limits: StatedLimits) -> TrialDesign | None:
    """As many buckets, a small block of them with each of more volunteers."""
    protocol, count = asked.protocol, asked.buckets // VOLUNTEER_BUCKETS
    if protocol.layout.kind != "randomised complete blocks" or len(protocol.treatments()) <= VOLUNTEER_BUCKETS:
        return None
    layout = Layout(kind="volunteer blocks", blocks=1, block_size=VOLUNTEER_BUCKETS, seed=protocol.layout.seed)
    sites = [*asked.sites, *(f"~{i:03d}" for i in range(count - len(asked.sites)))][:count]
    return _laid_out("volunteers", protocol.model_copy(update={"layout": layout}), sites, asked.heads, limits)


def _without_levels(asked: TrialDesign, limits: StatedLimits) -> Iterator[TrialDesign | None]:
    """Leave out one level, and then grow the rest in as many blocks as the buckets allow."""
    protocol = asked.protocol
    if protocol.layout.kind in SQUARE_KINDS or protocol.layout.checks:
        return
    for name in protocol.varied_factors:
        factor = protocol.factors[name]
        for level in factor.levels:
            rest = tuple(one for one in factor.levels if one != level)
            only = len(rest) < 2 and len(protocol.varied_factors) < 2
            if level == protocol.decision.current_practice[name] or only:
                continue
            factors = {**protocol.factors, name: factor.model_copy(update={"levels": rest})}
            less = protocol.model_copy(update={"factors": factors})
            dropped = Dropped(FACTOR_COLUMNS[name], level)  # type: ignore[arg-type]
            one = _laid_out("fewer levels", less, asked.sites, asked.heads, limits, dropped)
            yield one
            blocks = asked.buckets * protocol.layout.blocks // one.buckets if one else 0
            if blocks > protocol.layout.blocks:
                yield _laid_out(
                    "fewer levels", _with_layout(less, blocks=blocks), asked.sites, asked.heads, limits, dropped
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


def design_rows(
    outlook: Outlook, found: Sequence[Valued], limits: StatedLimits, per_year: Callable[[float], float | None]
) -> tuple[DesignRow, ...]:
    """Tell of designs, the one asked for first and others by their value.

    Parameters
    ----------
    outlook : Outlook
    found : sequence of Valued
        The design asked for first.
    limits : StatedLimits
    per_year : callable
        From grams a head to money a year.
    """
    per_gram = outlook.beliefs.value.per_gram
    rows = [_row(one, limits, one.foreseen.value / per_gram, per_year) for one in found]
    allowed = [row for row in rows if not row.beyond]
    told = [
        replace(
            row,
            efficient=not row.beyond
            and not any(other.buckets <= row.buckets and other.value_g > row.value_g for other in allowed),
        )
        for row in rows
    ]
    return (told[0], *sorted(told[1:], key=lambda row: (-row.value_g, row.buckets)))


def _row(one: Valued, limits: StatedLimits, value_g: float, per_year: Callable[[float], float | None]) -> DesignRow:
    design, protocol = one.design, one.design.protocol
    return DesignRow(
        kind=design.kind,
        sites=len(design.sites),
        blocks=protocol.layout.blocks,
        heads=design.heads,
        treatments=len(protocol.treatments()),
        buckets=design.buckets,
        visits=_visits(protocol, len(design.sites)),
        cost=protocol.decision.cost_per_bucket * design.buckets,
        value_g=value_g,
        worth_a_year=per_year(value_g),
        beyond=beyond(protocol, len(design.sites), design.heads, limits),
        efficient=False,
        dropped=design.dropped,
        practice_buckets=protocol.layout.practice_buckets,
    )


def choose(rows: Sequence[DesignRow]) -> tuple[PlanVerdict, int]:
    """Say what to do with the trial asked for, the first of the rows, and the place of the design that is proposed.

    Where the heads grown in a year and the price are known, the greatest worth less cost is proposed. Elsewhere a gram
    is what counts: a design is proposed that brings a gram more for at most half as many buckets again, or at most a
    gram less for much fewer.
    """
    asked = rows[0]
    allowed = [i for i, row in enumerate(rows) if not row.beyond]
    if not allowed:
        return PlanVerdict.ASK_LESS, 0
    if all(rows[i].worth_a_year is not None for i in allowed) and any(rows[i].cost for i in allowed):
        best = max(allowed, key=lambda i: (_net(rows[i]), -i))
        if _net(rows[best]) <= 0:
            return PlanVerdict.NOT_WORTH_IT, 0
        if 0 in allowed and _net(rows[best]) - _net(asked) < 0.05 * (asked.worth_a_year or 0.0):
            return PlanVerdict.RUN, 0
        return (PlanVerdict.ENLARGE if rows[best].buckets > asked.buckets else PlanVerdict.ASK_LESS), best
    if max(rows[i].value_g for i in allowed) < SAME_VALUE_G:
        return PlanVerdict.NOT_WORTH_IT, 0
    larger = [
        i
        for i in allowed
        if asked.buckets < rows[i].buckets <= SOME_MORE * asked.buckets
        and rows[i].value_g >= asked.value_g + SAME_VALUE_G
    ]
    smaller = [
        i
        for i in allowed
        if rows[i].buckets <= (MUCH_LESS if 0 in allowed else 1.0) * asked.buckets
        and (rows[i].value_g >= asked.value_g - SAME_VALUE_G or 0 not in allowed)
    ]
    if larger:
        return PlanVerdict.ENLARGE, max(larger, key=lambda i: (rows[i].value_g, -rows[i].buckets))
    if smaller:
        return PlanVerdict.ASK_LESS, max(smaller, key=lambda i: (rows[i].value_g, -rows[i].buckets))
    return PlanVerdict.RUN, 0


def _net(row: DesignRow) -> float:
    return (row.worth_a_year or 0.0) - row.cost
