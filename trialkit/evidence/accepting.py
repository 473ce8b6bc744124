"""What the ledger takes of a trial: its files as they are, its buckets on a common scale, and a few facts."""

from __future__ import annotations

import hashlib
from dataclasses import asdict

import numpy as np
import pandas as pd

from trialkit.analysis.recorded_responses import YIELD, bucket_yields
from trialkit.documents.ledger_entry import DaysMean, EntrySite, TrialFacts
from trialkit.documents.results import Results
from trialkit.domain.errors import WrongCall
from trialkit.domain.heads import is_usable
from trialkit.evidence.ledger import NewEntry
from trialkit.rules.mixings import nutrient_of
from trialkit.rules.trial_folder import Trial
from trialkit.solution.nutrients import elements_mg_l
from trialkit.tables.atomic import csv_text

BUCKETS_FILE, RESULTS_FILE = "buckets.csv", "results.json"
BUCKET_COLUMNS = (
    "bucket", "site", "block", "whole_plot", "cultivar", "dose_tsp", "n_mg_l", "acidifier",
    "planned", "recorded", "usable", "yield_g",
)  # fmt: skip


def bucket_records(trial: Trial) -> pd.DataFrame:
    """Every bucket of a layout with what it gave, on a scale that other trials share.

    Returns
    -------
    pandas.DataFrame
        `BUCKET_COLUMNS`: where it stood (block within its site, whole plot within that or ""), what it got (dose in
        teaspoons and as mg/L of nitrogen, missing where products.csv does not tell), heads planned, recorded and
        usable, and ``yield_g``: marketable weight per transplanted head, lost ones counting as zero; missing where it
        is not known.
    """
    layout, heads = trial.layout, trial.heads
    each = trial.protocol.bucket.heads
    yields = bucket_yields(layout, heads, each).buckets.set_index("bucket")[YIELD] / each
    usable = is_usable(heads)
    counted = heads.assign(usable=usable).groupby("bucket").agg(recorded=("usable", "size"), usable=("usable", "sum"))
    product = nutrient_of(trial.protocol, trial.products)
    litres = trial.protocol.bucket.volume_l
    doses = layout["dose_tsp"] if "dose_tsp" in layout else pd.Series(np.nan, index=layout.index)
    nitrogen = {
        dose: elements_mg_l([(product, float(dose))], litres).get("N", np.nan) if product else np.nan
        for dose in doses.dropna().unique()
    }
    columns = {
        "bucket": layout["bucket"],
        "site": layout["site"],
        "block": _places(layout, "block", "volunteer"),
        "whole_plot": _places(layout, "whole_plot"),
        "cultivar": layout.get("cultivar", ""),
        "dose_tsp": doses.astype(float),
        "n_mg_l": doses.map(nitrogen).astype(float).round(3),
        "acidifier": layout.get("acidifier", ""),
        "planned": each,
        "recorded": layout["bucket"].map(counted["recorded"]).fillna(0).astype(int),
        "usable": layout["bucket"].map(counted["usable"]).fillna(0).astype(int),
        "yield_g": layout["bucket"].map(yields).astype(float).round(6),
    }
    return pd.DataFrame(columns)[list(BUCKET_COLUMNS)]


def _places(layout: pd.DataFrame, *columns: str) -> pd.Series:
    """Join the places that a layout has of these, "" where it has none."""
    found = pd.Series("", index=layout.index)
    for column in columns:
        if column in layout:
            found = found + layout[column].map(lambda value: "" if pd.isna(value) else str(value)) + "/"
    return found.str.strip("/")


def trial_entry(trial: Trial, results: Results, written: bytes) -> NewEntry:
    """Gather what the ledger keeps of a checked and analysed trial, its results as they stand in results.json too.

    Raises
    ------
    WrongCall
        If the results are not those of these records, or no bucket has a record.
    """
    inputs = {name: (trial.folder / name).read_bytes() for name in sorted(trial.sha256)}
    made_from = {one.file: one.sha256 for one in results.inputs}
    found = {name: hashlib.sha256(data).hexdigest() for name, data in inputs.items()}
    if not found == dict(trial.sha256) == made_from:
        changed = sorted(name for name in found | made_from if found.get(name) != made_from.get(name))
        raise WrongCall(
            f"The results are not those of these records ({', '.join(changed)} changed): run trialkit analyse "
            f"{trial.folder} first."
        )
    buckets = bucket_records(trial)
    known = buckets[buckets["yield_g"].notna()]
    if known.empty:
        raise WrongCall("No bucket of this trial has a weight, so it is no evidence yet.")
    about = trial.protocol.trial
    return NewEntry(
        kind="trial",
        trial=about.id if about.id != "trial" else trial.folder.resolve().name,
        title=about.title,
        season=about.season,
        started_on=_started(trial),
        buckets=len(known),
        heads=int(known["recorded"].sum()),
        gardens=int(known["site"].nunique()),
        inputs=inputs,
        made={RESULTS_FILE: written, BUCKETS_FILE: csv_text(buckets).encode("utf-8")},
        facts=_facts(trial, results),
    )


def _started(trial: Trial) -> str:
    """When the trial began: as stated, else as planned, else when its first head was planted."""
    planted = trial.heads["transplanted_on"].min()
    found = trial.protocol.trial.started_on or trial.protocol.schedule.sow_on
    if found is None and pd.notna(planted):
        found = planted.date()
    return found.isoformat() if found else ""


def _facts(trial: Trial, results: Results) -> TrialFacts:
    """What the pool asks of a trial besides its buckets."""
    by_readings = {
        one.site: one.effective for one in results.water.sites if one.effective is not None and not one.bounded
    }
    days = results.responses.get("days")
    product = nutrient_of(trial.protocol, trial.products)
    return TrialFacts(
        made_with=results.made_with,
        product=product.name if product else None,
        sites=tuple(
            _site(row, by_readings.get(row["site"], row["alkalinity_mg_l_caco3"]))
            for _, row in trial.sites.sort_values("site").iterrows()
        ),
        days=tuple(
            DaysMean(**asdict(one.treatment), mean=one.mean, se=one.se, df=one.df)
            for one in (days.means if days else ())
        ),
        verdict=results.decision.verdict if results.decision else None,
    )


def _site(row: pd.Series, alkalinity: float) -> EntrySite:
    return EntrySite(
        site=str(row["site"]),
        kind=str(row.get("kind", "")),
        alkalinity_mg_l_caco3=None if pd.isna(alkalinity) else round(float(alkalinity), 1),
    )
