"""Every bucket of a trial with what it gave, on a scale that other trials share, and the question that it answers."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import pandas as pd

from trialkit.advice.days_to_harvest import days_records
from trialkit.advice.gathering import BucketRecords
from trialkit.analysis.advising import AdviceQuestion
from trialkit.analysis.pricing import Prices, prices
from trialkit.analysis.recorded_responses import YIELD, bucket_yields
from trialkit.analysis.water_chemistry import alkalinity_by_readings
from trialkit.documents.findings import BucketMean
from trialkit.documents.water import RecordedWater
from trialkit.domain.heads import is_recorded, is_usable
from trialkit.rules.mixings import feed_of
from trialkit.rules.trial_folder import CheckedTrial

BUCKET_COLUMNS = (
    "bucket", "site", "block", "whole_plot", "cultivar", "dose_tsp", "n_mg_l", "acidifier",
    "planned", "recorded", "usable", "yield_g", "days", "days_se", "weighed",
)  # fmt: skip
SQUARES_PLACES = 3
"""As the ledger writes them, so that a trial and a ledger of that trial say the same to the last digit."""
ADVICE_STREAM = 1
"""Of the protocol's seed; the layout is stream 0, an example's records stream 2."""


def bucket_records(trial: CheckedTrial, days: Sequence[BucketMean] = ()) -> pd.DataFrame:
    """Every bucket that counts with what it gave.

    Parameters
    ----------
    trial : CheckedTrial
    days : sequence of BucketMean
        Of the days to harvest, where they were analysed.

    Returns
    -------
    pandas.DataFrame
        `BUCKET_COLUMNS`: where it stood (block within its site, whole plot within that or ""), what it was randomised
        to (dose in teaspoons, and as mg/L of nitrogen, missing where products.csv does not tell), heads planned,
        recorded, usable and, of these, weighed; ``yield_g``: marketable weight per transplanted head, lost ones
        counting as zero; ``days`` and ``days_se``: days to harvest by its own heads, and what these err by; missing
        where they are not known.
    """
    layout, heads = trial.counting_buckets, trial.counting_heads
    each = trial.protocol.bucket.heads
    yields = bucket_yields(layout, heads, each).buckets.set_index("bucket")[YIELD] / each
    of_bucket = heads.assign(usable=is_usable(heads))[is_recorded(heads)].groupby("bucket")["usable"]
    counted = of_bucket.agg(recorded="size", usable="sum")
    weighed = heads[is_usable(heads) & heads["weight_g"].notna()].groupby("bucket").size()
    doses = layout["dose_tsp"] if "dose_tsp" in layout else pd.Series(np.nan, index=layout.index)
    per_tsp = nitrogen_per_tsp(trial)
    columns = {
        "bucket": layout["bucket"],
        "site": layout["site"],
        "block": _places(layout, "block", "volunteer"),
        "whole_plot": _places(layout, "whole_plot"),
        "cultivar": layout.get("cultivar", ""),
        "dose_tsp": doses.astype(float),
        "n_mg_l": (doses.astype(float) * per_tsp).round(3),
        "acidifier": layout.get("acidifier", ""),
        "planned": layout["planned"],
        "recorded": layout["bucket"].map(counted["recorded"]).fillna(0).astype(int),
        "usable": layout["bucket"].map(counted["usable"]).fillna(0).astype(int),
        "yield_g": layout["bucket"].map(yields).astype(float).round(6),
        "days": layout["bucket"].map({one.bucket: one.own_mean for one in days}).astype(float).round(6),
        "days_se": layout["bucket"].map({one.bucket: one.own_se for one in days}).astype(float).round(6),
        "weighed": layout["bucket"].map(weighed).fillna(0).astype(int),
    }
    return pd.DataFrame(columns)[list(BUCKET_COLUMNS)]


def nitrogen_per_tsp(trial: CheckedTrial) -> float:
    """Nitrogen that a level teaspoon of the trial's feed brings to a bucket, mg/L; NaN where it is not known."""
    feed = feed_of(trial.protocol, trial.products)
    return feed.elements_mg_l(1.0, trial.protocol.bucket.volume_l).get("N", np.nan) if feed else np.nan


def _places(layout: pd.DataFrame, *columns: str) -> pd.Series:
    """Join the places that a layout has of these, "" where it has none."""
    found = pd.Series("", index=layout.index)
    for column in columns:
        if column in layout:
            found = found + layout[column].map(lambda value: "" if pd.isna(value) else str(value)) + "/"
    return found.str.strip("/")


def head_scatter(trial: CheckedTrial) -> tuple[float, int]:
    """Sum of squares of marketable heads about their bucket's mean, g squared, and its degrees of freedom."""
    heads = trial.heads[is_usable(trial.heads) & trial.heads["weight_g"].notna()]
    of_bucket = heads.groupby("bucket")["weight_g"]
    squares = float(((heads["weight_g"] - of_bucket.transform("mean")) ** 2).sum())
    return round(squares, SQUARES_PLACES), len(heads) - of_bucket.ngroups


def as_records(
    buckets: pd.DataFrame,
    gardens: pd.DataFrame,
    dose: pd.Series,
    scatter: tuple[float, int],
    mean_days: pd.DataFrame | None = None,
) -> BucketRecords:
    """Records for the model, from `BUCKET_COLUMNS` with ``trial`` and the strength of each bucket.

    Of trials whose buckets tell no days, `mean_days` has those of treatments, as `days_records` takes them.
    """
    usable, recorded = buckets["usable"].astype(float), buckets["recorded"].astype(float)
    weight = (buckets["yield_g"] * recorded / usable.where(usable > 0)).where(buckets["yield_g"] > 0)
    squares, df = scatter
    kept = ["trial", "site", "block", "whole_plot", "cultivar", "acidifier", "planned", "recorded", "usable", "weighed"]
    rows = buckets[kept].assign(dose=dose.to_numpy(float))
    days = rows.assign(days=buckets["days"], days_se=buckets["days_se"])
    if mean_days is not None:
        days = pd.concat([days.assign(known_variance=np.nan), mean_days], ignore_index=True)
    return BucketRecords(
        rows.assign(weight_g=weight), gardens, squares / df if df else 0.0, days_records(days, gardens)
    )


def trial_records(trial: CheckedTrial, water: RecordedWater, days: Sequence[BucketMean] = ()) -> BucketRecords:
    """Records of one trial; what it did not vary plays no part. Arguments are those of `bucket_records`."""
    return records_of(trial, bucket_records(trial, days), gardens_of(trial, water))


def records_of(trial: CheckedTrial, buckets: pd.DataFrame, gardens: pd.DataFrame) -> BucketRecords:
    """Records of a trial's buckets, given as `bucket_records` gives them, in gardens as from `gardens_of`."""
    buckets = buckets.assign(trial=trial.protocol.trial.id)
    varied = trial.protocol.treatment_columns
    for column in ("cultivar", "acidifier"):
        if column not in varied:
            buckets[column] = ""
    strength = buckets["n_mg_l"] if np.isfinite(nitrogen_per_tsp(trial)) else buckets["dose_tsp"]
    dose = strength if "dose_tsp" in varied else pd.Series(np.nan, index=buckets.index)
    return as_records(buckets, gardens, dose, head_scatter(trial))


def gardens_of(trial: CheckedTrial, water: RecordedWater) -> pd.DataFrame:
    """What is known of gardens that count: alkalinity by their readings where they tell, else as stated; sun; kind."""
    sites = trial.counting_sites.drop_duplicates("site").set_index("site")
    alkalinity = sites["alkalinity_mg_l_caco3"].astype(float)
    by_readings = pd.Series(alkalinity_by_readings(water), dtype=float)
    return pd.DataFrame(
        {
            "trial": trial.protocol.trial.id,
            "site": sites.index.astype(str),
            "alkalinity": by_readings.reindex(sites.index).fillna(alkalinity).round(1).to_numpy(),
            "sun_hours": sites.get("sun_hours", pd.Series(np.nan, index=sites.index)).astype(float).to_numpy(),
            "kind": sites.get("kind", pd.Series("", index=sites.index)).to_numpy(),
        }
    )


def question_of(trial: CheckedTrial, *, in_ledger: bool = False) -> AdviceQuestion:
    """Ask which treatment of one trial is to be the default.

    Among the trials of a ledger, what one of them held the same in all buckets is a level like another.
    """
    protocol = trial.protocol
    practice = protocol.practice if in_ledger else protocol.practice.among(protocol.treatment_columns)
    per_tsp = nitrogen_per_tsp(trial)
    known = bool(np.isfinite(per_tsp)) and practice.dose_tsp is not None
    return AdviceQuestion(
        practice=practice,
        practice_dose=round((practice.dose_tsp or 0.0) * per_tsp, 3) if known else practice.dose_tsp or 0.0,
        per_tsp=per_tsp if known else 1.0,
        in_nitrogen=known,
        rule=protocol.decision,
        prices=partial(prices_of, trial),
        seasons=tuple(season for season in (protocol.trial.season,) if season),
        seed=protocol.seed_of(ADVICE_STREAM),
    )


def prices_of(trial: CheckedTrial, candidates: pd.DataFrame, days_known: bool) -> Prices:
    """Price candidates by a trial's products and what its buckets took of acid."""
    solution = trial.solution.merge(trial.layout[["bucket", "acidifier"]], on="bucket")
    return prices(trial.protocol, trial.products, solution, candidates, days_known=days_known)
