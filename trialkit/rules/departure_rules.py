"""Departures from the layout: found in the records, accepted where their own row says why, and told of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

import pandas as pd

from trialkit.documents.departures import Departure, DepartureKind
from trialkit.documents.problems import Problem
from trialkit.documents.returns import Correction
from trialkit.domain.table_names import TableName
from trialkit.domain.treatment import NO_PRODUCT, SAME_STRENGTH, Level
from trialkit.protocol.trial_protocol import Protocol
from trialkit.rules.mixings import FARTHEST_VOLUME, first_mixings
from trialkit.rules.trial_tables import TrialTables, at_rows

LATE_DAYS = 3
"""Buckets of a garden that were planted or mixed within so many days of each other count as at one time: seedlings are
moved over a long weekend (common practice, no source)."""
TABLES: tuple[TableName, ...] = ("layout", "solution", "heads")
RULES = {"solution": ("TK-S01", "TK-S02"), "heads": ("TK-H21", "TK-H22")}
"""Of each table: of a departure of which its row does not say why, and of one of which it does."""


@dataclass(frozen=True)
class FoundDeparture:
    """A departure, and the cell that tells of it."""

    departure: Departure
    table: Literal["heads", "solution"]
    row: Annotated[int, "By the index of the table."]
    column: str

    @property
    def case(self) -> str:
        """Case of the rule that tells of it."""
        return "no acid" if self.departure.kind == "acid" and self.departure.assigned == NO_PRODUCT else self.kind

    @property
    def kind(self) -> DepartureKind:
        """What was otherwise."""
        return self.departure.kind


def find_departures(
    protocol: Protocol,
    layout: pd.DataFrame,
    solution: pd.DataFrame,
    heads: pd.DataFrame,
    corrections: Sequence[Correction] = (),
) -> Iterator[FoundDeparture]:
    """Find every departure that the records tell of: of each bucket and kind the first."""
    finder = _Finder(protocol, layout.drop_duplicates("bucket").set_index("bucket"), solution, heads, corrections)
    yield from finder.doses()
    yield from finder.acids()
    yield from finder.volumes()
    yield from finder.mixings()
    yield from finder.transplantings()
    yield from finder.cultivars()


def departures_in(tables: TrialTables) -> Iterator[FoundDeparture]:
    """Find every departure that tables as they were read tell of."""
    layout, solution, heads = (tables.frame(name) for name in TABLES)
    yield from find_departures(tables.protocol, layout, solution, heads, tables.corrections)


def buckets_are_treated_as_randomised(tables: TrialTables) -> Iterator[Problem]:
    """TK-S01, TK-S02, TK-H21, TK-H22: each bucket was treated as randomised, in time with its garden's others.

    A departure counts as accepted where a note in its own row, or a correction of its cell, says why. A note elsewhere
    says nothing of it. Later doses may be top-ups, so the first one counts.
    """
    for found in departures_in(tables):
        reading, one = tables.readings[found.table], found.departure
        here = pd.Series(reading.frame.index == found.row, index=reading.frame.index)
        rule = RULES[found.table][bool(one.why)]
        facts = {"why": one.why} if one.why else {}
        yield from at_rows(rule, reading, here, found.column, found.case, assigned=one.assigned, **facts)


@dataclass(frozen=True)
class _Finder:
    """Looks for departures; the layout goes by bucket."""

    protocol: Protocol
    layout: pd.DataFrame
    solution: pd.DataFrame
    heads: pd.DataFrame
    corrections: Sequence[Correction]

    def doses(self) -> Iterator[FoundDeparture]:
        """First dose recorded, where it is another than assigned."""
        if "dose" not in self.protocol.factors:
            return
        first = self._dosed
        assigned = self._of_layout(first, "dose_tsp")
        for row in first.index[(first["nutrient_tsp"] != assigned) & assigned.notna()]:
            applied = float(first.at[row, "nutrient_tsp"])
            yield self._mixed(row, "nutrient_tsp", "dose", float(assigned[row]), applied, "[tsp_us]")

    def acids(self) -> Iterator[FoundDeparture]:
        """Acid in a bucket that was to have none, and none in the first mixing of one that was to have some."""
        factor = self.protocol.factors.get("acidifier")
        if factor is None:
            return
        acid = self._of_layout(self.solution, "acidifier").fillna("")
        given = self.solution[(acid == NO_PRODUCT) & (self.solution["acid_tsp"] > 0)]
        others = [str(level) for level in factor.levels if level != NO_PRODUCT]
        which = others[0] if len(others) == 1 else None
        for row in given.sort_values("measured_on", kind="stable").drop_duplicates("bucket").index:
            yield self._mixed(row, "acid_tsp", "acid", NO_PRODUCT, which)
        first = self._dosed
        forgotten = ~acid[first.index].isin(["", NO_PRODUCT]) & (first["acid_tsp"] == 0)
        for row in first.index[forgotten]:
            yield self._mixed(row, "acid_tsp", "acid", str(acid[row]), NO_PRODUCT)

    def volumes(self) -> Iterator[FoundDeparture]:
        """Volume of a first mixing that makes another strength; one too far off to be true only where its row says why.

        What is too far off is TK-S12.
        """
        planned = self.protocol.bucket.volume_l
        first = first_mixings(self.solution)
        volume = first["volume_l"]
        for row in first.index[volume.notna() & ((planned / volume - 1).abs() > SAME_STRENGTH)]:
            found = self._mixed(row, "volume_l", "volume", planned, float(volume[row]), "L")
            if planned / FARTHEST_VOLUME <= volume[row] <= planned * FARTHEST_VOLUME or found.departure.why:
                yield found

    def mixings(self) -> Iterator[FoundDeparture]:
        """First dose on another day than most buckets of the garden."""
        for row, usual, day in self._out_of_time(self._dosed, "measured_on"):
            yield self._mixed(row, "measured_on", "mixing", usual, day)

    def transplantings(self) -> Iterator[FoundDeparture]:
        """A head transplanted on another day than most heads of the garden."""
        for row, usual, day in self._out_of_time(self.heads, "transplanted_on"):
            yield self._planted(row, "transplanted_on", "transplanting", usual, day, day)

    def cultivars(self) -> Iterator[FoundDeparture]:
        """A head of another cultivar than assigned; what stands in the bucket is told where its heads are of one."""
        named = self.heads[self.heads["cultivar_planted"] != ""]
        assigned = self._of_layout(named, "cultivar").fillna("")
        others = named[(named["cultivar_planted"] != assigned) & (assigned != "")]
        planted = self.heads["bucket"].value_counts()
        for bucket, rows in others.groupby("bucket", sort=False):
            row, names = rows.index[0], rows["cultivar_planted"].unique()
            applied = str(names[0]) if len(names) == 1 and len(rows) == planted[bucket] else None
            day = rows["transplanted_on"].iloc[0]
            yield self._planted(row, "cultivar_planted", "cultivar", str(assigned[row]), applied, _iso(day))

    @property
    def _dosed(self) -> pd.DataFrame:
        """The first row of each bucket in which nutrient was added."""
        dosed = self.solution[self.solution["nutrient_tsp"].notna()]
        return dosed.sort_values("measured_on", kind="stable").drop_duplicates("bucket")

    def _out_of_time(self, rows: pd.DataFrame, column: str) -> Iterator[tuple[int, str, str]]:
        """First row of each bucket whose day is far from its garden's usual one: the row, that day and its own."""
        dated = rows[rows[column].notna()]
        site = self._of_layout(dated, "site").fillna("")
        if dated.empty:
            return
        usual = dated[column].groupby(site).transform(lambda days: days.mode().iloc[0])
        far = dated[((dated[column] - usual).dt.days.abs() > LATE_DAYS) & (site != "")]
        for row in far.sort_values(column, kind="stable").drop_duplicates("bucket").sort_index().index:
            yield row, str(_iso(usual[row])), str(_iso(dated.at[row, column]))

    def _of_layout(self, rows: pd.DataFrame, column: str) -> pd.Series:
        """Look a column of the layout up for rows of another table; missing where the layout does not know it."""
        if column not in self.layout:
            return pd.Series(None, index=rows.index, dtype=object)
        return self.layout[column].reindex(rows["bucket"]).set_axis(rows.index)

    def _mixed(
        self,
        row: int,
        column: str,
        kind: DepartureKind,
        assigned: Level,
        applied: Level | None,
        unit: str | None = None,
    ) -> FoundDeparture:
        """Make a departure of a row of the solution."""
        bucket, day = str(self.solution.at[row, "bucket"]), _iso(self.solution.at[row, "measured_on"])
        why = self._why("solution", (bucket, day or ""), column, self.solution.at[row, "note"])
        site = str(self.layout["site"].get(bucket, ""))
        return FoundDeparture(
            Departure(bucket, site, kind, assigned, applied, unit, day, why), "solution", int(row), column
        )

    def _planted(
        self, row: int, column: str, kind: DepartureKind, assigned: Level, applied: Level | None, day: str | None
    ) -> FoundDeparture:
        """Make a departure of a row of the heads."""
        bucket, head = str(self.heads.at[row, "bucket"]), str(self.heads.at[row, "head"])
        why = self._why("heads", (bucket, head), column, self.heads.at[row, "note"])
        site = str(self.layout["site"].get(bucket, ""))
        return FoundDeparture(
            Departure(bucket, site, kind, assigned, applied, None, day, why), "heads", int(row), column
        )

    def _why(self, table: str, key: tuple[str, str], column: str, note: str) -> str:
        """Return what the note of a row, or a correction of its cell, says of it."""
        corrected = (one.why for one in self.corrections if one.cell == (table, key, column))
        return " ".join([*filter(None, [note]), *corrected])


def _iso(day: pd.Timestamp) -> str | None:
    return None if pd.isna(day) else day.date().isoformat()
