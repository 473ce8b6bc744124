"""Larkmoor County, which does not exist: records drawn from a known truth, for examples and for tests.

Every number here was made up. An analysis of the records must find the truth again; the tests ask for that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.domain.arrays import FloatArray
from trialkit.planning.calendar import visit_days
from trialkit.protocol.trial_protocol import Protocol
from trialkit.rules.mixings import mixings, predicted_ph
from trialkit.tables.atomic import csv_text, write_text

# Teaspoons of acid that volunteers give a litre, for each mg/L of alkalinity; of vinegar where it is none of these.
TSP_A_LITRE = {"none": 0.0, "citric acid": 0.0003}
RECORDS_STREAM = 2  # the layout is stream 0 of the protocol's seed, the advice stream 1
FIRST_SOWING = date(2026, 8, 6)
DOSE_RATE = 0.45
"""Rate of the dose curve ``1 - exp(-rate * dose_tsp)`` (Mitscherlich), per teaspoon."""
ACIDIFIER_G = {"none": -12.0}
"""Effect of each acidifier on head weight, g; nil where not named."""
LOST = {"dead": 0.02, "bolted": 0.01, "missing": 0.01}
"""Probability of each fate other than a harvest."""


@dataclass(frozen=True)
class Truth:
    """What is true in the invented county."""

    plateau_g: Annotated[Mapping[str, float], "Head weight that each cultivar approaches with ample nutrient, g."] = (
        field(
            default_factory=lambda: {
                "Larkmoor Butter": 150.0,
                "Fenleaf": 168.0,
                "Copperfrill": 138.0,
                "Paleheart": 146.0,
                "Mossridge": 155.0,
                "Tarnfrost": 160.0,
            }
        )
    )
    days: Annotated[Mapping[str, float], "Mean days from transplanting to ready, by cultivar."] = field(
        default_factory=lambda: {
            "Larkmoor Butter": 41.0,
            "Fenleaf": 38.0,
            "Copperfrill": 37.0,
            "Paleheart": 43.0,
            "Mossridge": 42.0,
            "Tarnfrost": 40.0,
        }
    )
    # Standard deviations by random term, of weight in g and of days.
    sd_g: Mapping[str, float] = field(
        default_factory=lambda: {
            "site": 14.0,
            "site:block": 6.0,
            "site:cultivar": 3.0,
            "site:dose_tsp": 3.0,
            "site:acidifier": 2.0,
            "bucket": 9.0,
            "residual": 14.0,
        }
    )
    sd_days: Mapping[str, float] = field(
        default_factory=lambda: {"site": 1.5, "site:block": 0.5, "bucket": 1.0, "residual": 1.5}
    )
    failed: Annotated[Mapping[str, str], "Gardens where every head met one fate."] = field(default_factory=dict)

    def mean_weight_g(self, layout: pd.DataFrame) -> FloatArray:
        """Mean head weight of each row's treatment over all gardens, g; shape (rows,)."""
        plateau = layout["cultivar"].map(lambda name: self.plateau_g.get(name, 150.0)).to_numpy(float)
        dose = layout["dose_tsp"].fillna(6.0).to_numpy(float)
        acid = layout["acidifier"].map(lambda name: ACIDIFIER_G.get(name, 0.0)).to_numpy(float)
        return np.asarray(plateau * (1 - np.exp(-DOSE_RATE * dose)) + acid)


@dataclass(frozen=True)
class Records:
    """What the volunteers of the invented county send back."""

    heads: pd.DataFrame
    solution: pd.DataFrame
    visits: pd.DataFrame


def generate_records(
    protocol: Protocol,
    sites: pd.DataFrame,
    layout: pd.DataFrame,
    products: pd.DataFrame,
    truth: Truth | None = None,
) -> Records:
    """Draw the records of a whole season; the protocol's seed decides every draw."""
    truth = truth or Truth()
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence([protocol.seed, RECORDS_STREAM])))
    sown = protocol.schedule.sow_on or FIRST_SOWING
    transplanted = sown + timedelta(days=protocol.schedule.transplant_after_days)
    visits = np.array(visit_days(protocol.schedule))
    heads = layout.loc[layout.index.repeat(protocol.bucket.heads)].reset_index(drop=True)
    heads["head"] = heads.groupby("bucket", sort=False).cumcount() + 1
    weight = truth.mean_weight_g(heads) + _random_part(heads, truth.sd_g, rng)
    mean_days = heads["cultivar"].map(lambda name: truth.days.get(name, 40.0)).to_numpy(float)
    ready = mean_days + _random_part(heads, truth.sd_days, rng)
    fate = rng.choice(["", *LOST], size=len(heads), p=[1 - sum(LOST.values()), *LOST.values()])
    fate = np.array([truth.failed.get(site, own) for site, own in zip(heads["site"], fate, strict=True)])
    return Records(
        _head_rows(heads, weight, ready, fate, visits, transplanted),
        _solution_rows(protocol, sites, layout, products, transplanted, rng),
        _visit_rows(layout, visits, transplanted),
    )


def _random_part(heads: pd.DataFrame, sd: Mapping[str, float], rng: np.random.Generator) -> FloatArray:
    total = np.zeros(len(heads))
    for term, spread in sd.items():
        if term == "residual":
            total += spread * rng.standard_normal(len(heads))
            continue
        codes = heads.groupby(term.split(":"), sort=True, dropna=False).ngroup().to_numpy()
        total += spread * rng.standard_normal(int(codes.max()) + 1)[codes]
    return total


def _head_rows(
    heads: pd.DataFrame,
    weight: FloatArray,
    ready: FloatArray,
    fate: NDArray[np.str_],
    visits: NDArray[np.intp],
    transplanted: date,
) -> pd.DataFrame:
    """Each head is cut at the first visit on which it is ready; one not ready at the last visit stays."""
    at = np.searchsorted(visits, ready)
    outcome = np.where(fate != "", fate, np.where(at < len(visits), "harvested", "not_ready"))
    cut = outcome == "harvested"
    seen = np.where(outcome == "not_ready", len(visits), at)
    days = [transplanted + timedelta(days=int(day)) for day in visits]
    return pd.DataFrame(
        {
            "bucket": heads["bucket"],
            "head": heads["head"],
            "transplanted_on": transplanted.isoformat(),
            "outcome": outcome,
            "harvested_on": [days[i].isoformat() if c else "" for i, c in zip(at, cut, strict=True)],
            "last_not_ready_on": [
                days[i - 1].isoformat() if o in ("harvested", "not_ready") and i > 0 else ""
                for i, o in zip(seen, outcome, strict=True)
            ],
            "weight_g": [f"{max(w, 5.0):.0f}" if c else "" for w, c in zip(weight, cut, strict=True)],
            "marketable": ["yes" if c and w >= 60 else "no" if c else "" for w, c in zip(weight, cut, strict=True)],
            "note": "",
        }
    )


def _solution_rows(
    protocol: Protocol,
    sites: pd.DataFrame,
    layout: pd.DataFrame,
    products: pd.DataFrame,
    transplanted: date,
    rng: np.random.Generator,
) -> pd.DataFrame:
    """One mixing a bucket, on the day of transplanting; pH by charge balance, as a strip shows it, to half a unit."""
    water = sites.set_index("site").loc[layout["site"]]
    alkalinity, tap = water["alkalinity_mg_l_caco3"].to_numpy(float), water["water_ph"].to_numpy(float)
    dose = layout["dose_tsp"].fillna(6.0).to_numpy(float)
    litres = protocol.bucket.volume_l + rng.normal(0, 0.2, len(layout))
    acid = np.array([TSP_A_LITRE.get(name, 0.004) for name in layout["acidifier"]]) * alkalinity * litres
    mixed = pd.DataFrame(
        {
            "bucket": layout["bucket"].to_numpy(),
            "measured_on": transplanted.isoformat(),
            "volume_l": litres.round(1),
            "nutrient_tsp": dose,
            "acid_tsp": np.round(acid * 4) / 4,
            "ph_before": tap,
        }
    )
    made = mixings(protocol, products, sites, layout, mixed)
    after = predicted_ph(made, made["water_alkalinity"]).to_numpy(float)
    after = np.where(np.isfinite(after), after, 5.8) + rng.normal(0, 0.25, len(layout))
    conductivity = 0.1 + 0.003 * alkalinity + 0.22 * dose + rng.normal(0, 0.05, len(layout))
    return mixed.assign(
        volume_l=[f"{value:.1f}" for value in litres],
        nutrient_tsp=[f"{value:g}" for value in dose],
        acid_tsp=[f"{value:g}" for value in mixed["acid_tsp"]],
        ph_before=[f"{np.round(value * 2) / 2:.1f}" for value in tap],
        ph_after=[f"{np.round(value * 2) / 2:.1f}" for value in after],
        ec_ms_cm=[f"{max(value, 0.1):.2f}" for value in conductivity],
    )


def _visit_rows(layout: pd.DataFrame, visits: NDArray[np.intp], transplanted: date) -> pd.DataFrame:
    days = [transplanted + timedelta(days=int(day)) for day in (0, *visits)]
    rows = [(site, day.isoformat()) for site in sorted(layout["site"].unique()) for day in days]
    frame = pd.DataFrame(rows, columns=["site", "visited_on"])
    return frame.assign(observer_role="volunteer", note="")


TRUTHS: Mapping[str, Truth] = {
    "spring-dose": Truth(
        plateau_g={"Larkmoor Butter": 158.0, "Fenleaf": 174.0},
        days={"Larkmoor Butter": 43.0, "Fenleaf": 40.0},
        failed={"STAT": "bolted"},
    ),
    "volunteer-cultivars": Truth(
        sd_g={"site": 18.0, "site:cultivar": 4.0, "bucket": 9.0, "residual": 14.0},
        sd_days={"site": 2.0, "bucket": 1.0, "residual": 1.5},
    ),
}
"""What is true in each example, by the trial's id, where it is not the usual truth."""


def write_records(folder: Path, records: Records) -> None:
    """Write heads.csv, solution.csv and visits.csv into a trial folder."""
    for name in ("heads", "solution", "visits"):
        write_text(folder / f"{name}.csv", csv_text(getattr(records, name)))
