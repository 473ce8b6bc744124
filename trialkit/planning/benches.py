"""The benches of a laid-out trial, for drawing."""

from __future__ import annotations

import numpy as np
import pandas as pd

from trialkit.documents.plan import BenchPlace, PlannedBench
from trialkit.domain.treatment import Treatment
from trialkit.layouts.bench import bench_places
from trialkit.rules.trial_folder import CheckedTrial


def planned_benches(trial: CheckedTrial, layout: pd.DataFrame) -> tuple[PlannedBench, ...]:
    """Return the bench of every garden of a layout of the trial, in order of the sites' names."""
    names = dict(zip(trial.sites["site"].astype(str), trial.sites["name"].astype(str), strict=True))
    columns, benches = list(trial.protocol.treatment_columns), []
    for site, buckets in layout.groupby("site", sort=True):
        row, column = bench_places(buckets, trial.protocol.layout.bench_columns)
        treatments = [Treatment.of(levels) for levels in buckets[columns].to_dict("records")]
        identities, blocks = buckets["bucket"].tolist(), buckets["block"].tolist()
        places = tuple(
            BenchPlace(str(identities[i]), treatments[i], int(blocks[i]), int(row[i]), int(column[i]))
            for i in np.lexsort([column, row])
        )
        name = names.get(str(site)) or str(site)
        benches.append(PlannedBench(str(site), name, int(row.max()), int(column.max()), places))
    return tuple(benches)
