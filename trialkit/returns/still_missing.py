"""What the record of a garden still lacks: heads of which nothing is known, solutions and visits of which none is told.

Pure.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated

from trialkit.returns.records import Records, Row
from trialkit.rules.trial_folder import CheckedTrial

TOLD_OF_A_HEAD = ("outcome", "weight_g", "harvested_on", "marketable")
"""Columns of which any says what became of a head."""


@dataclass(frozen=True)
class StillMissing:
    """What one garden has not told."""

    site: str
    buckets: Annotated[int, "Buckets of the garden."]
    withdrew: Annotated[bool, "Whether it gave up, so that nothing is asked for."]
    heads: Annotated[Mapping[str, tuple[int, ...]], "Heads of which nothing is known, by bucket."]
    heads_planned: Annotated[int, "Heads in the garden's buckets."]
    solution: Annotated[tuple[str, ...], "Buckets of which no mixing or reading is told."]
    visits: Annotated[tuple[str, ...], "Days on which heads were cut, and no visit is told."]
    no_visit: Annotated[bool, "Whether no visit is told at all."]

    @property
    def heads_missing(self) -> int:
        """How many heads nothing is known of."""
        return sum(map(len, self.heads.values()))

    @property
    def nothing_yet(self) -> bool:
        """Whether nothing came from the garden at all."""
        return self.heads_missing == self.heads_planned and len(self.solution) == self.buckets and self.no_visit

    @property
    def is_whole(self) -> bool:
        """Whether nothing is missing."""
        return not (self.heads or self.solution or self.visits or self.no_visit)


def still_missing(trial: CheckedTrial, records: Records) -> dict[str, StillMissing]:
    """Say what each garden of the layout has not told, in the order of sites.csv.

    Parameters
    ----------
    trial : CheckedTrial
        Of which no more than the layout need be read.
    records : mapping
        The tables of the record.
    """
    numbers = range(1, trial.protocol.bucket.heads + 1)
    heads, mixed, visits = (records.get(name, {}) for name in ("heads", "solution", "visits"))
    told = {key for key, row in heads.items() if any(name in row for name in TOLD_OF_A_HEAD)}
    with_solution = {key[0] for key in mixed}
    of_garden: dict[str, list[str]] = {}
    for site, bucket in zip(trial.layout["site"], trial.layout["bucket"], strict=True):
        of_garden.setdefault(str(site), []).append(str(bucket))
    found = {}
    for site in map(str, trial.sites["site"]):
        if site not in of_garden:
            continue
        buckets = of_garden[site]
        if site in trial.amended.withdrawn:
            found[site] = StillMissing(site, len(buckets), True, {}, len(buckets) * len(numbers), (), (), False)
            continue
        lacking = {bucket: tuple(n for n in numbers if (bucket, str(n)) not in told) for bucket in buckets}
        days = {key[1] for key in visits if key[0] == site}
        found[site] = StillMissing(
            site,
            len(buckets),
            False,
            {bucket: of_it for bucket, of_it in lacking.items() if of_it},
            len(buckets) * len(numbers),
            tuple(bucket for bucket in buckets if bucket not in with_solution),
            tuple(sorted(_cut_on(heads.values(), buckets) - days)) if days else (),
            not days,
        )
    return found


def _cut_on(heads: Iterable[Row], buckets: Collection[str]) -> set[str]:
    return {row["harvested_on"] for row in heads if row["bucket"] in buckets and "harvested_on" in row}
