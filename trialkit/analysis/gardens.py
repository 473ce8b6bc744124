"""Gardens: what a treatment gains at each, whether it holds at every one, and what the gain goes with."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import pandas as pd

from trialkit.documents.findings import Covariate, Exploration, Gardens, Interval, SiteDifference
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit

FEWEST_TO_EXPLORE = 4
COVARIATES: Mapping[Covariate, float] = {"sun_hours": 1.0, "alkalinity_mg_l_caco3": 100.0}
"""What is known of gardens, and the step of it that a slope is for."""


def new_garden_limits(fit: MixedFit, columns: Sequence[str], gardens: int, confidence: float) -> dict[str, Interval]:
    """Means of the treatments at a garden not yet seen, by joint label; empty where too few gardens tell.

    The variance of a garden's level and of the effects that differ between gardens comes on top of that of the mean;
    t with one degree of freedom fewer than there are gardens, as the gardens are what the prediction rests on.

    The fit has a joint ``treatment`` factor; `columns` are the treatment factors.
    """
    from scipy.special import stdtrit

    if gardens < FEWEST_RANDOM_LEVELS:
        return {}
    among = sum(max(float(fit.variances.get(term, 0.0)), 0.0) for term in ("site", *(f"site:{c}" for c in columns)))
    table = fit.means("treatment")
    t = float(stdtrit(gardens - 1, (1 + confidence) / 2))
    half = t * np.sqrt(table["se"].to_numpy(float) ** 2 + among)
    return {
        str(label): Interval(float(mean), float(mean - h), float(mean + h))
        for label, mean, h in zip(table.index, table["mean"], half, strict=True)
    }


def compare_gardens(
    rows: pd.DataFrame,
    response: str,
    labels: tuple[str, str],
    treatment: Treatment,
    sites: pd.DataFrame,
    confidence: float,
) -> Gardens | None:
    """Set one treatment beside another at each garden; None where no garden has both.

    Rows are buckets or heads, with bucket, site, block, ``treatment`` and the response; the labels are those of the
    treatment and of the current practice; sites have sun and alkalinity where known.
    """
    buckets = rows.groupby(["site", "treatment", "bucket"], observed=True)[response].mean()
    cells = buckets.groupby(["site", "treatment"], observed=True).agg(["mean", "size"])
    found = []
    for site in sorted(rows["site"].unique()):
        if all((site, label) in cells.index for label in labels):
            one, other = (cells.loc[(site, label)] for label in labels)
            found.append(
                SiteDifference(str(site), float(one["mean"] - other["mean"]), int(one["size"]), int(other["size"]))
            )
    if not found:
        return None
    return Gardens(treatment, tuple(found), tuple(_explore(found, sites, confidence)))


def _explore(found: Sequence[SiteDifference], sites: pd.DataFrame, confidence: float) -> Iterator[Exploration]:
    """Straight lines of the gardens' differences on what is known of the gardens; an exploration, not a test."""
    from scipy.special import stdtrit
    from scipy.stats import linregress

    known = sites.set_index("site")
    for column, step in COVARIATES.items():
        if column not in known:
            continue
        x = pd.to_numeric(known[column], errors="coerce").reindex([one.site for one in found]).to_numpy(float) / step
        y = np.array([one.difference for one in found])
        usable = np.isfinite(x)
        if usable.sum() < FEWEST_TO_EXPLORE or np.ptp(x[usable]) == 0 or np.ptp(y[usable]) == 0:
            continue
        line = linregress(x[usable], y[usable])
        half = float(stdtrit(int(usable.sum()) - 2, (1 + confidence) / 2)) * float(line.stderr)
        slope = float(line.slope)
        yield Exploration(
            covariate=column,
            per=step,
            slope=Interval(slope, slope - half, slope + half),
            p=float(line.pvalue),
            gardens=int(usable.sum()),
        )
