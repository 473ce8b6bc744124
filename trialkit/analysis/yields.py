"""What a bucket gives: the marketable weight of its heads, those that were lost counted as nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Final

import pandas as pd

from trialkit.documents.findings import Note
from trialkit.domain.heads import is_usable

YIELD: Final = "bucket_weight_g"


@dataclass(frozen=True)
class Yields:
    """Marketable weight of every bucket that has a record."""

    buckets: Annotated[
        pd.DataFrame, "One row a bucket: the columns of the layout, ``recorded`` heads and ``bucket_weight_g``."
    ]
    scaled: Annotated[
        int,
        "Buckets of which some heads have no record: their weight is that of the recorded heads, for the full number.",
    ]
    unknown: Annotated[int, "Buckets left out because a harvested head has no weight."]
    failed: Annotated[
        tuple[str, ...],
        "Gardens left out because nothing was marketable there: they say nothing of how treatments differ.",
    ]

    @property
    def notes(self) -> tuple[Note, ...]:
        """What the adviser should know of incomplete records."""
        notes = [Note("heads_unrecorded", self.scaled)] if self.scaled else []
        notes += [Note("heads_unweighed", self.unknown)] if self.unknown else []
        return (*notes, *(Note("garden_failed", site=site) for site in self.failed))


def bucket_yields(layout: pd.DataFrame, heads: pd.DataFrame, heads_per_bucket: int) -> Yields:
    """Add up the marketable weight of each bucket.

    Heads that were lost, not ready at the end or not marketable count as nothing; a harvested head of which nobody said
    whether it was marketable counts. A bucket without any record is left out, and one of which some heads have none is
    scaled up to the full number. A garden where nothing was marketable is left out: its buckets all weigh the same.

    The layout has a row a bucket with its ``site``, `heads` a row a recorded head: ``bucket``, ``outcome``,
    ``weight_g`` and ``marketable``.
    """
    counted = is_usable(heads)
    weight = heads["weight_g"].where(counted, 0.0)
    by_bucket = heads.assign(counted_g=weight).groupby("bucket", observed=True)
    known = by_bucket.agg(
        recorded=("counted_g", "size"), weighed=("counted_g", "count"), counted_g=("counted_g", "sum")
    )
    unknown = known["weighed"] < known["recorded"]
    complete = known[~unknown]
    total = complete["counted_g"] * heads_per_bucket / complete["recorded"]
    buckets = layout.merge(
        complete.assign(**{YIELD: total})[["recorded", YIELD]], left_on="bucket", right_index=True, how="inner"
    ).reset_index(drop=True)
    best = buckets.groupby("site", observed=True)[YIELD].max()
    failed = tuple(sorted(str(site) for site in best[best == 0].index))
    kept = buckets[~buckets["site"].isin(failed)].reset_index(drop=True)
    return Yields(kept, int((kept["recorded"] < heads_per_bucket).sum()), int(unknown.sum()), failed)
