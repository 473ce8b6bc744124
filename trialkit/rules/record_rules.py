"""Rules that tie the records (heads, solution, visits) to each other, to the layout and to the protocol."""

from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd

from trialkit.documents.problems import Problem
from trialkit.domain.heads import NOT_CUT, NOT_WEIGHED, is_harvested, is_recorded
from trialkit.rules.amendments import withdrawn_gardens
from trialkit.rules.pattern_rules import grew_too_fast
from trialkit.rules.trial_tables import Tables, TrialTables, at_rows
from trialkit.tables.bucket_ids import nearest_bucket_id
from trialkit.tables.nearest import nearest_name, plain_name
from trialkit.tables.problem import problem
from trialkit.tables.table_schema import ForeignKey
from trialkit.tables.typed_tables import TableReading

LONGEST_TRIAL_DAYS = 365
# Full heads in the field take 65 to 130 days (Horticulturae 2020, 6(1):7); beyond half a year a date is mistyped.
MOST_GROWTH_DAYS = 180
WINDOW_SLACK_DAYS = 14
MOST_SUGGESTIONS = 10
# A weight this many robust standard deviations (1.4826 MAD, on the log scale) from its site's median is asked about;
# common practice, no source. With fewer weights the spread is not known well enough.
FAR_IN_DEVIATIONS = 6.0
FEWEST_WEIGHTS = 12


def names_are_declared(tables: Tables) -> Iterator[Problem]:
    """TK-K02: each site and each bucket that a table names stands in the table that declares it."""
    for reading in tables.readings.values():
        for link in reading.schema.foreign_keys:
            if tables.knows_all(link.table, link.other_column):
                yield from _broken_links(reading, link, set(tables.frame(link.table)[link.other_column]))


def _broken_links(reading: TableReading, link: ForeignKey, known: set[str]) -> Iterator[Problem]:
    values = reading.frame[link.column]
    broken = values[~values.isin(known) & (values != "")]
    nearest: Callable[[str, set[str]], str | None] = nearest_bucket_id if link.column == "bucket" else nearest_name
    texts = broken.drop_duplicates()[:MOST_SUGGESTIONS]
    near = {text: found for text in texts if (found := nearest(text, known))}
    for row, text in broken.items():
        yield problem(
            "TK-K02",
            reading.file,
            row=int(row),
            column=link.column,
            text=text,
            listed_in=link.table,
            near=near.get(text),
        )


def gardens_have_names_of_their_own(tables: Tables) -> Iterator[Problem]:
    """TK-K04: no garden's short or full name is another's too, but for capitals, accents or blanks."""
    reading = tables.readings["sites"]
    others: dict[str, str] = {}
    for row, site, name in zip(reading.frame.index, reading.frame["site"], reading.frame["name"], strict=True):
        for column, text in (("site", site), ("name", name)):
            other = others.setdefault(plain_name(text), site) if text else site
            if other != site:
                yield problem("TK-K04", reading.file, row=int(row), column=column, text=text, other=other)


def dates_lie_in_the_trial(tables: TrialTables) -> Iterator[Problem]:
    """TK-K03: no date before the trial began, or more than a year after."""
    started = tables.protocol.trial.started_on
    if started is None:
        return
    first = pd.Timestamp(min(started, tables.protocol.schedule.sow_on or started))
    last = pd.Timestamp(started) + pd.Timedelta(days=LONGEST_TRIAL_DAYS)
    for name in ("solution", "visits", "heads"):
        reading = tables.readings[name]
        for field in reading.schema.fields:
            if field.type == "date":
                dates = reading.frame[field.name]
                yield from at_rows(
                    "TK-K03",
                    reading,
                    (dates < first) | (dates > last),
                    field.name,
                    first=str(first.date()),
                    last=str(last.date()),
                )


def heads_fit_the_bucket(tables: TrialTables) -> Iterator[Problem]:
    """TK-H01: no head is numbered above the heads that a bucket holds."""
    reading, heads = tables.readings["heads"], tables.protocol.bucket.heads
    yield from at_rows("TK-H01", reading, reading.frame["head"] > heads, "head", heads=heads)


def harvested_heads_are_weighed(tables: TrialTables) -> Iterator[Problem]:
    """TK-H02 and TK-H03: a harvested head has its weight, unless nobody weighed it, and its date."""
    reading = tables.readings["heads"]
    harvested = is_harvested(reading.frame)
    weight, day = reading.frame["weight_g"], reading.frame["harvested_on"]
    if tables.protocol.responses.weight:
        weighed = harvested & (reading.frame["outcome"] != NOT_WEIGHED)
        yield from at_rows("TK-H02", reading, weighed & weight.isna(), "weight_g")
    yield from at_rows("TK-H03", reading, harvested & day.isna(), "harvested_on")


def heads_not_cut_have_no_harvest(tables: Tables) -> Iterator[Problem]:
    """TK-H04 and TK-H05: a head that was not cut has neither weight nor harvest date (a bolted one may)."""
    reading = tables.readings["heads"]
    outcome, weighed = reading.frame["outcome"], reading.frame["weight_g"].notna()
    not_cut = outcome.isin(NOT_CUT)
    yield from at_rows("TK-H04", reading, not_cut & weighed, "weight_g")
    yield from at_rows("TK-H04", reading, (outcome == NOT_WEIGHED) & weighed, "weight_g", "not weighed")
    yield from at_rows("TK-H05", reading, not_cut & reading.frame["harvested_on"].notna(), "harvested_on")


def harvests_have_an_outcome(tables: Tables) -> Iterator[Problem]:
    """TK-H18: a head of which a harvest is recorded says what became of it."""
    reading = tables.readings["heads"]
    frame = reading.frame
    told = frame["harvested_on"].notna() | frame["weight_g"].notna() | frame["marketable"].notna()
    yield from at_rows("TK-H18", reading, (frame["outcome"] == "") & told, "outcome")


def recorded_heads_were_transplanted(tables: Tables) -> Iterator[Problem]:
    """TK-H19: a head whose outcome says something has the day on which it went into the bucket."""
    reading = tables.readings["heads"]
    frame = reading.frame
    yield from at_rows("TK-H19", reading, is_recorded(frame) & frame["transplanted_on"].isna(), "transplanted_on")


def fates_are_written(tables: Tables) -> Iterator[Problem]:
    """TK-H20: heads have an outcome (said once a garden, of those of which nothing is recorded).

    Of gardens that withdrew nothing is asked.
    """
    reading = tables.readings["heads"]
    frame = reading.frame
    blank = (frame["outcome"] == "") & frame["weight_g"].isna() & frame["harvested_on"].isna()
    blank &= frame["marketable"].isna()
    unread = {
        row for name in ("outcome", "weight_g", "harvested_on", "marketable") for row in reading.rows_at_fault(name)
    }
    blank &= ~frame.index.isin(unread)  # something is written there
    place = tables.frame("layout").drop_duplicates("bucket").set_index("bucket")["site"]
    site = place.reindex(frame["bucket"]).set_axis(frame.index).fillna("")
    blank &= ~site.isin(withdrawn_gardens(tables.frame("amendments")))
    blank &= site != ""  # a bucket that the layout does not know is told of by TK-K02
    for name, rows in frame[blank].groupby(site[blank]):
        row, count = int(rows.index[0]), len(rows)
        yield problem("TK-H20", reading.file, row=row, column="outcome", site=str(name), count=count)


def head_dates_are_in_order(tables: Tables) -> Iterator[Problem]:
    """TK-H06 and TK-H07: transplanted, then last seen not ready, then harvested (the last two may share a day)."""
    reading = tables.readings["heads"]
    planted, ripe = reading.frame["transplanted_on"], reading.frame["harvested_on"]
    unripe = reading.frame["last_not_ready_on"]
    yield from at_rows("TK-H06", reading, ripe < planted, "harvested_on")
    yield from at_rows("TK-H07", reading, (unripe > ripe) | (unripe < planted), "last_not_ready_on")


def temperatures_are_in_order(tables: Tables) -> Iterator[Problem]:
    """TK-T01: the lowest temperature of a day is not above its highest."""
    reading = tables.readings["weather"]
    wrong = reading.frame["t_min_c"] > reading.frame["t_max_c"]
    yield from at_rows("TK-T01", reading, wrong, "t_min_c")


def growth_is_plausible(tables: TrialTables) -> Iterator[Problem]:
    """TK-H11 and TK-H12: days from transplanting to harvest are possible, and not far outside the planned window."""
    reading = tables.readings["heads"]
    days = (reading.frame["harvested_on"] - reading.frame["transplanted_on"]).dt.days
    impossible = days > MOST_GROWTH_DAYS
    yield from at_rows("TK-H11", reading, impossible, "harvested_on", most_days=MOST_GROWTH_DAYS)
    first, last = tables.protocol.schedule.harvest_after_days
    unusual = (days >= 0) & ~impossible & ((days < first - WINDOW_SLACK_DAYS) | (days > last + WINDOW_SLACK_DAYS))
    yield from at_rows("TK-H12", reading, unusual, "harvested_on", first_days=first, last_days=last)


def every_head_is_recorded(tables: TrialTables) -> Iterator[Problem]:
    """TK-H08 and TK-H09: each bucket of a garden that did not withdraw has a row for each of its heads."""
    heads = tables.protocol.bucket.heads
    if not tables.knows_all("heads", "bucket") or not len(tables.frame("heads")):
        return
    reading = tables.readings["layout"]
    expected = ~reading.frame["site"].isin(withdrawn_gardens(tables.frame("amendments")))
    buckets = reading.frame.loc[expected, "bucket"]
    recorded = buckets.map(tables.frame("heads")["bucket"].value_counts()).fillna(0)
    bare = ((recorded == 0) & (buckets != "")).reindex(reading.frame.index, fill_value=False)
    yield from at_rows("TK-H08", reading, bare, "bucket")
    for row, count in recorded[(recorded > 0) & (recorded < heads)].astype(int).items():
        bucket = buckets[row]
        yield problem("TK-H09", reading.file, row=int(row), column="bucket", bucket=bucket, count=count, heads=heads)


def weights_are_near_their_site(tables: Tables) -> Iterator[Problem]:
    """TK-H10: no weight lies far from the others of its site, as a slipped point or another unit would make it.

    Of one that its days do not allow TK-H16 asks already, for weight and days together.
    """
    reading = tables.readings["heads"]
    place = tables.frame("layout").drop_duplicates("bucket").set_index("bucket")["site"]
    logs = np.log(reading.frame["weight_g"].where(reading.frame["weight_g"] > 0))
    by_site = reading.frame["bucket"].map(place)
    middle = logs.groupby(by_site).transform("median")
    spread = 1.4826 * (logs - middle).abs().groupby(by_site).transform("median")
    count = logs.groupby(by_site).transform("count")
    far = ((logs - middle).abs() > FAR_IN_DEVIATIONS * spread) & (count >= FEWEST_WEIGHTS) & (spread > 0)
    far &= ~grew_too_fast(reading.frame)
    yield from at_rows("TK-H10", reading, far, "weight_g")
