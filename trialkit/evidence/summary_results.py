"""Trials of which only means and standard errors are left, with where they stand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd

from trialkit.documents.ledger_entry import SummaryFacts, SummaryMean
from trialkit.documents.problems import Problem
from trialkit.evidence.ledger import NewEntry
from trialkit.tables.problem import TrialError
from trialkit.tables.source_file import read_source
from trialkit.tables.table_schema import load_schema
from trialkit.tables.typed_tables import read_table

MEANS_FILE = "means.csv"


def summary_entry(path: Path) -> NewEntry:
    """Gather what the ledger keeps of a table of means and standard errors (``schemas/means.json``).

    Raises
    ------
    TrialError
        With everything that is wrong with the table.
    """
    source = read_source(path.parent, path.name)
    if isinstance(source, Problem):
        raise TrialError([source])
    reading = read_table(load_schema("means"), source.text)
    if reading.problems:
        raise TrialError([replace(problem, file=path.name) for problem in reading.problems])
    frame = reading.frame
    citations = list(dict.fromkeys(frame["citation"].astype(str)))
    seasons = [str(season) for season in frame["season"] if season]
    begun = frame["started_on"].min()
    means = tuple(
        SummaryMean(
            citation=str(row["citation"]),
            season=str(row["season"]),
            started_on="" if pd.isna(row["started_on"]) else row["started_on"].date().isoformat(),
            cultivar=str(row["cultivar"]),
            n_mg_l=float(row["n_mg_l"]),
            acidifier=str(row["acidifier"]),
            mean_g=float(row["mean_g"]),
            se_g=float(row["se_g"]),
            gardens=None if pd.isna(row["gardens"]) else int(row["gardens"]),
        )
        for row in frame.to_dict("records")
    )
    return NewEntry(
        kind="means",
        trial=citations[0] if len(citations) == 1 else f"{len(citations)} older trials",
        title="; ".join(citations),
        season=seasons[0] if len(set(seasons)) == 1 else "",
        started_on="" if pd.isna(begun) else begun.date().isoformat(),
        buckets=int(frame["buckets"].fillna(0).sum()),
        heads=0,
        gardens=int(frame["gardens"].fillna(0).max()),
        inputs={MEANS_FILE: path.read_bytes()},
        made={},
        facts=SummaryFacts(means),
    )
