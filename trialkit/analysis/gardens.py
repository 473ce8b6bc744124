"""Gardens: what a treatment gains at each, whether it holds at every one, and what the gain goes with."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from trialkit.documents.findings import Exploration, Gardens, Interval, SiteDifference
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit
from trialkit.stats.straight_line import straight_line
from trialkit.words.phrases import number, p_value, treatment_words

FEWEST_TO_EXPLORE = 4
COVARIATES = {
    "sun_hours": ("sun", 1.0, "for each hour"),
    "alkalinity_mg_l_caco3": ("alkalinity", 100.0, "for each 100 mg/L"),
}


def new_garden_limits(fit: MixedFit, columns: Sequence[str], gardens: int, confidence: float) -> dict[str, Interval]:
    """Means of the treatments at a garden not yet seen, by joint label; empty where too few gardens tell.

    The variance of a garden's level and of the effects that differ between gardens comes on top of that of the mean;
    t with one degree of freedom fewer than there are gardens, as the gardens are what the prediction rests on.

    Parameters
    ----------
    fit : MixedFit
        With a joint ``treatment`` factor.
    columns : sequence of str
        Treatment factors.
    gardens : int
    confidence : float
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
    unit: str,
    labels: tuple[str, str],
    treatments: tuple[Treatment, Treatment],
    sites: pd.DataFrame,
    confidence: float,
) -> Gardens | None:
    """Set one treatment beside another at each garden; None where no garden has both.

    Parameters
    ----------
    rows : pandas.DataFrame
        One row a bucket or a head: bucket, site, block, ``treatment``, the response.
    response, unit : str
    labels : tuple of str
        Joint labels: the treatment, and the current practice.
    treatments : tuple of Treatment
        The same in levels.
    sites : pandas.DataFrame
        The trial's gardens, with sun and alkalinity where known.
    confidence : float
        Of the intervals of slopes.
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
    explored = tuple(_explore(found, sites, unit, confidence))
    statement = " ".join(_statement(found, treatments[0], unit))
    return Gardens(treatments[0], tuple(found), statement, explored)


def _statement(found: Sequence[SiteDifference], treatment: Treatment, unit: str) -> Iterator[str]:
    """What holds at every garden, and what on average only."""
    gains = [one.difference for one in found]
    ahead, name = sum(gain > 0 for gain in gains), treatment_words(treatment)
    spread = f"{number(min(gains))} to {number(max(gains))} {unit}"
    if len(found) == 1:
        yield f"Only one garden has both {name} and the current practice."
    elif ahead in (0, len(found)):
        yield (
            f"At every one of {len(found)} gardens {name} was {'ahead of' if ahead else 'behind'} the current practice "
            f"({spread}); single gardens are known poorly."
        )
    else:
        yield (
            f"What holds on average does not hold everywhere: {name} was ahead of the current practice at {ahead} of "
            f"{len(found)} gardens ({spread}). With few buckets a garden, some of that is luck."
        )


def _explore(
    found: Sequence[SiteDifference], sites: pd.DataFrame, unit: str, confidence: float
) -> Iterator[Exploration]:
    """Straight lines of the gardens' differences on what is known of the gardens; an exploration, not a test."""
    from scipy.special import stdtrit

    known = sites.set_index("site")
    for column, (label, step, words) in COVARIATES.items():
        if column not in known:
            continue
        x = pd.to_numeric(known[column], errors="coerce").reindex([one.site for one in found]).to_numpy(float) / step
        y = np.array([one.difference for one in found])
        usable = np.isfinite(x)
        if usable.sum() < FEWEST_TO_EXPLORE or np.ptp(x[usable]) == 0:
            continue
        line = straight_line(x[usable], y[usable])
        half = float(stdtrit(line.df, (1 + confidence) / 2)) * line.se
        slope = line.slope
        more = "more" if slope > 0 else "less"
        yield Exploration(
            covariate=column,
            label=label,
            per=step,
            slope=Interval(slope, slope - half, slope + half),
            p=line.p,
            gardens=int(usable.sum()),
            statement=(
                f"An exploration: the gain was {number(abs(slope))} {unit} {more} {words} of {label} "
                f"({number(slope - half)} to {number(slope + half)}; {p_value(line.p)}; "
                f"{int(usable.sum())} gardens). Gardens were not given their {label} at random: this can be an idea "
                "for a trial, never a reason."
            ),
        )
