"""Record sheets: what a garden writes down by hand, all of some buckets on one sheet of paper."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated

from trialkit.documents.plan import Event
from trialkit.domain.table_names import TableName
from trialkit.domain.treatment import NO_PRODUCT
from trialkit.forms.garden_buckets import NamedBucket, shared_out
from trialkit.languages import gettext
from trialkit.rules.mixings import acid_product, feed_of
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.words.phrases import from_to, short_day
from trialkit.words.sheet_words import SheetMeasures

READING_DAYS = 3
SPARE_VISITS = 1
"""A row for a visit that nobody planned."""
ROOM_MM = 190.0
"""What a sheet of either size has for rows."""
CLOSE_MM, ROOMY_MM = (6.0, 5.5, 5.0), (8.0, 7.5, 7.5)
"""Height of a row of mixing, of readings and of a head, as pack.css has them."""
READINGS_HEAD_MM = 6.0
"""By which the heads of their columns are higher than those of the visits beside them."""
VISIT_MM, MOST_VISITS = 5.5, 12
"""Height of a row beside the readings; more visits than that go over onto another sheet of paper."""
MIXING = ("volume_l", "nutrient_tsp", "acid_tsp", "ph_before", "ph_after", "note")
READING = ("ph_before", "ec_ms_cm")
VISIT = ("visited_on", "observer_role", "note")
HARVEST = ("harvested_on", "weight_g", "marketable", "last_not_ready_on", "outcome")


@dataclass(frozen=True)
class RecordSheet:
    """What is filled in by hand for some buckets."""

    name: Annotated[str, "Which it is; empty where there is one."]
    buckets: tuple[NamedBucket, ...]
    halves: Annotated[tuple[tuple[NamedBucket, ...], ...], "The same, as the tables of heads stand side by side."]
    visits: Annotated[tuple[str, ...], "Days for which visits are planned, and spare rows; on the first sheet only."]
    is_roomy: Annotated[bool, "Whether there is room for taller rows."]

    @property
    def of_buckets(self) -> str:
        """Name its buckets by the first and the last."""
        first, last = self.buckets[0].bucket, self.buckets[-1].bucket
        return first if first == last else from_to(first, last)


@dataclass(frozen=True)
class SheetColumns:
    """What the columns of all sheets of a garden are called."""

    mixing: tuple[str, ...]
    reading: tuple[str, ...]
    harvest: tuple[str, ...]
    visit: tuple[str, ...]


def sheet_measures(trial: CheckedTrial, buckets: Sequence[NamedBucket]) -> SheetMeasures:
    """Tell in which measures a garden fills in its sheets."""
    feed = feed_of(trial.protocol, trial.products)
    names = {bucket.assigned.acidifier for bucket in buckets} - {None, NO_PRODUCT}
    acids = [acid_product(trial.products, name) for name in names]
    is_powder = [acid is not None and acid.grams_per_tsp is not None for acid in acids]
    return SheetMeasures(
        trial.protocol.trial.measures,
        feed.base.grams_per_tsp if feed else None,
        has_liquid_acid=not all(is_powder),
        has_powdered_acid=any(is_powder),
    )


def sheet_columns(measures: SheetMeasures) -> SheetColumns:
    """Name the columns of a garden's sheets."""

    def named(table: TableName, names: Sequence[str]) -> tuple[str, ...]:
        return tuple(measures.heading(table, name) for name in names)

    return SheetColumns(
        named("solution", MIXING), named("solution", READING), named("heads", HARVEST), named("visits", VISIT)
    )


def record_sheets(trial: CheckedTrial, buckets: Sequence[NamedBucket], due: Sequence[Event]) -> tuple[RecordSheet, ...]:
    """Share a garden's buckets out over sheets of paper, as evenly as can be."""
    heads = trial.protocol.bucket.heads
    visits = (*_planned_visits(due), *[""] * SPARE_VISITS)

    def fits(sheets: int, rows_mm: tuple[float, float, float]) -> bool:
        mixing, reading, head = rows_mm
        most = math.ceil(len(buckets) / sheets)
        beside = max(most * reading + READINGS_HEAD_MM, min(len(visits), MOST_VISITS) * VISIT_MM)
        return most * mixing + beside + math.ceil(most / 2) * heads * head <= ROOM_MM

    sheets = next((n for n in range(1, len(buckets)) if fits(n, CLOSE_MM)), len(buckets))
    is_roomy = fits(sheets, ROOMY_MM)
    return tuple(
        RecordSheet(
            gettext("{number} of {last}", number=number, last=sheets) if sheets > 1 else "",
            own,
            shared_out(own, min(2, len(own))),
            visits if number == 1 else (),
            is_roomy,
        )
        for number, own in enumerate(shared_out(buckets, sheets), 1)
    )


def _planned_visits(due: Sequence[Event]) -> Iterator[str]:
    for event in due:
        if event.kind == "visit":
            yield short_day(event.on) if event.on else gettext("visit {number}", number=event.number)
