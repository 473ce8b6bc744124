"""Older evidence: trials of which only means and standard errors are left, with where they stand."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from trialkit.documents.check import Problem
from trialkit.documents.pooled import Gain
from trialkit.evidence.ledger import Contents
from trialkit.evidence.pooling import SAME_DOSE, Pool
from trialkit.evidence.situation import Situation
from trialkit.tables.problem import TrialError
from trialkit.tables.source_file import read_source
from trialkit.tables.table_schema import load_schema
from trialkit.tables.typed_tables import read_table

MEANS_FILE = "means.csv"


def means_contents(path: Path) -> Contents:
    """Gather what the ledger keeps of a table of older means (``schemas/means.json``).

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
    records = [
        {
            "citation": str(row["citation"]),
            "season": str(row["season"]),
            "started_on": "" if pd.isna(row["started_on"]) else row["started_on"].date().isoformat(),
            "cultivar": str(row["cultivar"]),
            "n_mg_l": float(row["n_mg_l"]),
            "acidifier": str(row["acidifier"]),
            "mean_g": float(row["mean_g"]),
            "se_g": float(row["se_g"]),
            "gardens": None if pd.isna(row["gardens"]) else int(row["gardens"]),
        }
        for row in frame.to_dict("records")
    ]
    return Contents(
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
        facts={"means": records},
    )


def older_gains(found: Situation, pooled: Pool, label: str) -> Iterator[tuple[str, Gain]]:
    """Gains of a treatment over the current practice in older trials that have a mean of both, with when they began.

    The two means are taken as independent: with means alone nobody can tell otherwise, and it makes the error no
    smaller than it is where gardens were shared.
    """
    ours, practice = pooled.treatments.loc[label], pooled.treatments.loc[pooled.current]
    rows = [row for entry in found.older for row in entry.facts["means"]]
    for citation in dict.fromkeys(row["citation"] for row in rows):
        mine = [row for row in rows if row["citation"] == citation]
        one, other = (next((row for row in mine if _is(row, wanted)), None) for wanted in (ours, practice))
        if one is None or other is None:
            continue
        gain = Gain(
            name=citation,
            season=one["season"],
            gain=one["mean_g"] - other["mean_g"],
            se=float(np.hypot(one["se_g"], other["se_g"])),
            gardens=int(one["gardens"] or 0),
            citation=citation,
        )
        yield one["started_on"], gain


def _is(row: Mapping[str, Any], wanted: pd.Series) -> bool:
    """Whether a mean is of a treatment of the pool."""
    nitrogen = float(wanted["n_mg_l"])
    near = abs(row["n_mg_l"] - nitrogen) <= SAME_DOSE * max(nitrogen, 1.0)
    return bool(row["cultivar"] == wanted["cultivar"] and row["acidifier"] == wanted["acidifier"] and near)
