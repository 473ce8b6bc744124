"""What a trial takes: buckets, visits, cost, by counting alone."""

from __future__ import annotations

from dataclasses import dataclass

from trialkit.layouts.kinds import LAYOUT_KINDS
from trialkit.planning.calendar import visit_days
from trialkit.protocol.randomise import layout_options
from trialkit.protocol.trial_protocol import Protocol


@dataclass(frozen=True)
class Effort:
    """What a trial takes.

    Attributes
    ----------
    sites : int
        Gardens.
    buckets_per_site, heads_per_bucket : int
    visits : int
        Of all gardens over the harvest.
    cost : float
        Of the buckets, in the protocol's currency; 0 where no costs are given.
    """

    sites: int
    buckets_per_site: int
    heads_per_bucket: int
    visits: int
    cost: float

    @property
    def buckets(self) -> int:
        """In the whole trial."""
        return self.sites * self.buckets_per_site


def effort(protocol: Protocol, sites: int, heads: int) -> Effort:
    """Count what a trial of a protocol takes in so many gardens, with so many heads in each bucket."""
    plan = protocol.layout
    in_garden = LAYOUT_KINDS[plan.kind].sizes(len(protocol.treatments()), plan.blocks, layout_options(protocol))[0]
    return Effort(
        sites=sites,
        buckets_per_site=in_garden,
        heads_per_bucket=heads,
        visits=len(visit_days(protocol.schedule)) * sites,
        cost=protocol.decision.cost_per_bucket * in_garden * sites,
    )
