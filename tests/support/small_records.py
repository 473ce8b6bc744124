"""Records of a small trial drawn from a truth, as the model of advice takes them, and a question that they answer."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from trialkit.advice.days_to_harvest import days_records
from trialkit.advice.gathering import BucketRecords
from trialkit.analysis.advising import AdviceQuestion
from trialkit.analysis.pricing import Prices
from trialkit.domain.treatment import Treatment
from trialkit.protocol.sections import DecisionRule

HEADS = 4
HEAD_SD_G, BUCKET_SD_G, GARDEN_SD_G = 14.0, 8.0, 12.0
Mean = Callable[[str, float], float]


def small_records(
    mean: Mean,
    *,
    cultivars: tuple[str, ...] = ("A", "B"),
    doses: tuple[float, ...] = (2.0, 4.0, 6.0, 8.0),
    gardens: int = 4,
    blocks: int = 2,
    usable: Mapping[str, float] | None = None,
    seed: int = 1,
) -> BucketRecords:
    """Draw the buckets of a trial in complete blocks.

    Parameters
    ----------
    mean : callable
        Weight of a usable head, g, by cultivar and dose.
    cultivars, doses : tuple
        LevelNames; doses are teaspoons, none where dose plays no part.
    gardens, blocks, seed : int
    usable : mapping, optional
        Share of heads that become usable, by cultivar; 0.95 where not named.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for g in range(gardens):
        level = rng.normal(0, GARDEN_SD_G)
        for b in range(blocks):
            for cultivar in cultivars:
                for dose in doses or (np.nan,):
                    count = int(rng.binomial(HEADS, (usable or {}).get(cultivar, 0.95)))
                    weight = mean(cultivar, dose) + level + rng.normal(0, BUCKET_SD_G)
                    weight += rng.normal(0, HEAD_SD_G) / max(count, 1) ** 0.5
                    rows.append(
                        ("t", f"g{g}", str(b), "", cultivar, "", HEADS, HEADS, count, dose, weight if count else np.nan)
                    )
    columns = ["trial", "site", "block", "whole_plot", "cultivar", "acidifier"]
    columns += ["planned", "recorded", "usable", "dose", "weight_g"]
    names = [f"g{g}" for g in range(gardens)]
    about = pd.DataFrame({"trial": "t", "site": names, "alkalinity": 90.0, "sun_hours": 6.0, "kind": "school"})
    return BucketRecords(pd.DataFrame(rows, columns=columns), about, HEAD_SD_G**2)


def small_question(
    *,
    cultivar: str | None = "A",
    dose: float | None = 4.0,
    price_per_tsp: float = 0.0,
    **rule: Any,
) -> AdviceQuestion:
    """Ask what to grow, by the protocol's defaults but for `rule`; strengths are teaspoons.

    With ``price_per_kg`` a bucket of four heads is worth its weight less `price_per_tsp` for each teaspoon.
    """
    practice = {name: level for name, level in (("cultivar", cultivar), ("dose", dose)) if level is not None}
    decision = DecisionRule(current_practice=practice, **rule)

    def priced(candidates: pd.DataFrame, days_known: bool) -> Prices:
        if decision.price_per_kg is None:
            return Prices("g per transplanted head", 1.0, np.zeros(len(candidates)), 0.0, ())
        doses = candidates["dose_tsp"].to_numpy(float) if "dose_tsp" in candidates else np.zeros(len(candidates))
        per_gram = HEADS * decision.price_per_kg / 1000
        per_day = decision.delay_cost_per_day if days_known else 0.0
        return Prices("currency a bucket", per_gram, price_per_tsp * doses, per_day, ())

    return AdviceQuestion(
        practice=Treatment(cultivar, dose),
        practice_dose=dose or 0.0,
        per_tsp=1.0,
        in_nitrogen=False,
        rule=decision,
        prices=priced,
        seasons=("autumn 2026",),
        seed=1,
    )


def with_days(records: BucketRecords, days: Mean) -> BucketRecords:
    """Add days to harvest to every bucket, those of its treatment to a hair's breadth."""
    buckets = records.buckets.drop(columns="weight_g")
    of = [days(str(cultivar), float(dose)) for cultivar, dose in zip(buckets["cultivar"], buckets["dose"], strict=True)]
    return replace(records, days=days_records(buckets.assign(days=of, days_se=0.05), records.gardens))
