"""What the ledger takes of a trial: its files as they are, its buckets on a common scale, and a few facts."""

from __future__ import annotations

import hashlib
from dataclasses import fields

import pandas as pd

from trialkit.analysis import analyse
from trialkit.analysis.bucket_records import bucket_records, gardens_of, head_scatter
from trialkit.analysis.water_chemistry import acid_taken
from trialkit.documents.document import as_data, as_written, is_alike
from trialkit.documents.ledger_entry import EntrySite, HeadScatter, TrialFacts
from trialkit.documents.results import Results
from trialkit.domain.errors import WrongCall
from trialkit.evidence.ledger import NewEntry, name_in_ledger
from trialkit.languages import translatable
from trialkit.rules.mixings import feed_of
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.atomic import csv_text

BUCKETS_FILE, RESULTS_FILE = "buckets.csv", "results.json"
VOLATILE = {"made_with", "sha256"}
"""Parts of results that libraries change, not records."""


def trial_entry(trial: CheckedTrial, results: Results, written: bytes) -> NewEntry:
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
            translatable(
                "The results are not those of these records ({changed} changed): run trialkit analyse {folder} first."
            ),
            changed=", ".join(changed),
            folder=trial.folder,
        )
    days = results.responses.get("days")
    buckets = bucket_records(trial, days.buckets if days else ())
    if buckets["yield_g"].isna().all():
        raise WrongCall(translatable("No bucket of this trial has a weight, so it is no evidence yet."))
    told = buckets[buckets["recorded"] > 0]  # a garden that lost everything is evidence too
    about = trial.protocol.trial
    return NewEntry(
        kind="trial",
        trial=name_in_ledger(trial.protocol, trial.folder),
        title=about.title,
        season=about.season,
        started_on=_started(trial),
        buckets=len(told),
        heads=int(told["recorded"].sum()),
        gardens=int(told["site"].nunique()),
        inputs=inputs,
        made={RESULTS_FILE: written, BUCKETS_FILE: csv_text(buckets).encode("utf-8")},
        facts=_facts(trial, results),
    )


def analysed_again(trial: CheckedTrial, results: Results) -> Results:
    """Analyse a trial in the way in which results of it were made, and return them as they would be written."""
    pairs = any(response.pairs for response in results.responses.values())
    return as_written(analyse(trial, all_pairs=pairs))


def require_recomputed(trial: CheckedTrial, results: Results) -> None:
    """Refuse results that are not what the records give when they are analysed again.

    Raises
    ------
    WrongCall
        Naming the parts of the results that are others.
    """
    again = analysed_again(trial, results)
    parts = [field.name for field in fields(Results) if field.name not in VOLATILE]
    other = [name for name in parts if not is_alike(as_data(getattr(results, name)), as_data(getattr(again, name)))]
    if other:
        raise WrongCall(
            translatable(
                "{results_file} is not what these records give: {other}. Nothing was added. Run trialkit analyse "
                "{folder} again, and look at what it says first."
            ),
            results_file=RESULTS_FILE,
            other=", ".join(other),
            folder=trial.folder,
        )


def _started(trial: CheckedTrial) -> str:
    """When the trial began: as stated, else as planned, else when its first head was planted."""
    planted = trial.heads["transplanted_on"].min()
    found = trial.protocol.trial.started_on or trial.protocol.schedule.sow_on
    if found is None and pd.notna(planted):
        found = planted.date()
    return found.isoformat() if found else ""


def _facts(trial: CheckedTrial, results: Results) -> TrialFacts:
    """What the pool asks of a trial besides its buckets."""
    feed = feed_of(trial.protocol, trial.products)
    return TrialFacts(
        made_with=results.made_with,
        product=feed.name if feed else None,
        sites=tuple(_site(row) for _, row in gardens_of(trial, results.water).sort_values("site").iterrows()),
        verdict=results.decision.verdict if results.decision else None,
        head_scatter=HeadScatter(*head_scatter(trial)),
        acid=tuple(acid_taken(trial)),
    )


def _site(row: pd.Series) -> EntrySite:
    alkalinity, sun = row["alkalinity"], row["sun_hours"]
    return EntrySite(
        site=str(row["site"]),
        kind=str(row["kind"] or ""),
        alkalinity_mg_l_caco3=None if pd.isna(alkalinity) else float(alkalinity),
        sun_hours=None if pd.isna(sun) else float(sun),
    )
