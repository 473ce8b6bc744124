"""How a layout was changed after it was handed out: gardens that joined, withdrew and rejoined, version by version."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

import pandas as pd

from trialkit.documents.problems import Problem
from trialkit.documents.results import Amendment
from trialkit.domain.heads import is_recorded
from trialkit.protocol.randomise import AddedGarden
from trialkit.rules.trial_tables import Tables, at_rows
from trialkit.tables.problem import problem
from trialkit.tables.table_schema import load_schema

FIRST_VERSION = 1


@dataclass(frozen=True)
class Amendments:
    """What amendments.csv says."""

    added: Annotated[tuple[AddedGarden, ...], "In the order in which they joined."]
    withdrawn: frozenset[str]
    joined_in: Annotated[dict[str, int], "Version of the layout in which each garden joined, of those that did."]
    version: Annotated[int, "Of the layout as it is now."]


def amendments_of(table: pd.DataFrame, blocks: int) -> Amendments:
    """Read a table of amendments; `blocks` are those of a garden of which it tells none that can be."""
    joined, limits = table[table["change"] == "joined"], load_schema("amendments").field("blocks")
    own = joined["blocks"].where(joined["blocks"].between(limits.minimum, limits.maximum), blocks)
    told = zip(joined["site"].astype(str), own.fillna(blocks), strict=True)
    versions = zip(joined["site"].astype(str), joined["layout_version"].fillna(FIRST_VERSION), strict=True)
    return Amendments(
        tuple(AddedGarden(site, int(count)) for site, count in dict(told).items()),
        withdrawn_gardens(table),
        {site: int(version) for site, version in versions},
        FIRST_VERSION + len(table),
    )


def withdrawn_gardens(table: pd.DataFrame) -> frozenset[str]:
    """Name the gardens that withdrew and did not rejoin."""
    newest = dict(zip(table["site"].astype(str), table["change"], strict=True))
    return frozenset(site for site, change in newest.items() if change == "withdrew")


def heads_that_count(heads: pd.DataFrame, layout: pd.DataFrame, withdrawn: frozenset[str]) -> pd.DataFrame:
    """Leave out the heads of gardens that withdrew of which no record says anything, as if they had no row."""
    of_withdrawn = heads["bucket"].isin(layout.loc[layout["site"].isin(withdrawn), "bucket"])
    return heads[~of_withdrawn | is_recorded(heads)]


def buckets_that_count(
    layout: pd.DataFrame, counting: pd.DataFrame, heads_per_bucket: int, withdrawn: frozenset[str]
) -> pd.DataFrame:
    """Say of each bucket how many heads of the trial it has, ``planned``; those without any are left out.

    Of a garden that withdrew these are its heads among `counting`, as `heads_that_count` gives them: whoever stops
    leaves every treatment at once, so that the others say nothing of what treatments do.
    """
    recorded = layout["bucket"].map(counting["bucket"].value_counts()).fillna(0)
    planned = recorded.where(layout["site"].isin(withdrawn), heads_per_bucket).astype(int)
    return layout.assign(planned=planned)[planned > 0].reset_index(drop=True)


def amendments_made(table: pd.DataFrame) -> tuple[Amendment, ...]:
    """Return each change of a table without errors, in its order."""
    return tuple(
        Amendment(
            int(row["layout_version"]),
            row["amended_on"].date().isoformat(),
            str(row["site"]),
            row["change"],
            None if pd.isna(row["blocks"]) else int(row["blocks"]),
            str(row["why"]),
        )
        for row in table.to_dict("records")
    )


def amendments_are_in_order(tables: Tables) -> Iterator[Problem]:
    """TK-L11: versions count up from 2, a garden joins once at most, and withdraws and rejoins in turn."""
    reading = tables.readings["amendments"]
    frame = reading.frame
    wanted = pd.Series(range(FIRST_VERSION + 1, FIRST_VERSION + 1 + len(frame)), index=frame.index)
    for row, version in wanted[(frame["layout_version"] != wanted) & frame["layout_version"].notna()].items():
        text = str(frame["layout_version"][row])
        yield problem(
            "TK-L11", reading.file, "version", row=int(row), column="layout_version", text=text, wanted=version
        )
    change = frame["change"].where(frame["site"] != "", "")
    joined = frame["change"] == "joined"
    before = frame[~joined].groupby("site")["change"].shift().reindex(frame.index)
    twice = joined & frame.duplicated(["site", "change"]) | (change == "withdrew") & (before == "withdrew")
    yield from at_rows("TK-L11", reading, twice & (change != ""), "change", "twice")
    yield from at_rows("TK-L11", reading, (change == "rejoined") & (before != "withdrew"), "change", "present")
