"""All trials of a ledger as the records of one model, and the question that they answer together."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd

from trialkit.advice.gathering import BucketRecords
from trialkit.analysis.advising import AdviceQuestion, days_by_treatment, spoons_of
from trialkit.analysis.bucket_records import ADVICE_STREAM, BUCKET_COLUMNS, as_records, prices_of
from trialkit.documents.recommended import Recommended
from trialkit.domain.treatment import Treatment
from trialkit.evidence.accepting import BUCKETS_FILE
from trialkit.evidence.ledger import Entry, LedgerDamaged
from trialkit.evidence.ledger_contents import LedgerContents
from trialkit.tables.formula_text import restored

TYPES = {
    "bucket": "str", "site": "str", "block": "str", "whole_plot": "str", "cultivar": "str", "acidifier": "str",
    "dose_tsp": "float64", "n_mg_l": "float64", "planned": "int64", "recorded": "int64", "usable": "int64",
    "yield_g": "float64",
}  # fmt: skip


def read_buckets(entries: Sequence[Entry]) -> pd.DataFrame:
    """Read the buckets of entries as one table; ``trial`` is the entry's name.

    Raises
    ------
    LedgerDamaged
        If a file is not what was put there.
    """
    header = ",".join(BUCKET_COLUMNS).encode() + b"\n"
    bodies, counts = [], []
    for entry in entries:
        data = entry.read(BUCKETS_FILE)
        if not data.startswith(header):
            raise LedgerDamaged(f"{entry.folder / BUCKETS_FILE} has other columns than {', '.join(BUCKET_COLUMNS)}.")
        bodies.append(data[len(header) :])
        counts.append(bodies[-1].count(b"\n"))
    text = ["bucket", "site", "block", "whole_plot", "cultivar", "acidifier"]
    rows = pd.read_csv(
        io.BytesIO(header + b"".join(bodies)),
        dtype=TYPES,
        keep_default_na=False,
        na_values={name: [""] for name in TYPES if name not in text},
    )
    if len(rows) != sum(counts):
        raise LedgerDamaged("A file of buckets has a line break within a cell: no file of this ledger has.")
    for name in ("cultivar", "acidifier"):  # names may begin like a formula, which a table is not to be taken for
        rows[name] = rows[name].map({text: restored(text) for text in rows[name].unique()})
    return rows.assign(trial=np.repeat([f"{i:05d}" for i in range(len(entries))], counts))


def pooled_records(found: LedgerContents, rows: pd.DataFrame, question: AdviceQuestion) -> BucketRecords:
    """Records of all trials that count, and of those of which only means are left.

    Doses meet on the scale of today's: nitrogen, or teaspoons where today's label or spoon is not known. A dose that
    has no place on it leaves its trial out. A trial that states no dose gave every bucket the same, and is taken to
    have given today's.

    Parameters
    ----------
    found : LedgerContents
    rows : pandas.DataFrame
        As from `read_buckets`.
    question : AdviceQuestion
        As from `question_of`.
    """
    stated = rows["dose_tsp"].notna()
    if question.practice.dose_tsp is None:
        rows = rows[~stated]
        dose = rows["dose_tsp"]
    else:
        rows = rows[~stated | (rows["n_mg_l"].notna() == question.in_nitrogen)]
        dose = rows["n_mg_l"].map(_strengths(rows["n_mg_l"], question)) if question.in_nitrogen else rows["dose_tsp"]
        dose = dose.fillna(question.practice_dose)
    gardens = pd.DataFrame(
        [
            (f"{i:05d}", one.site, one.alkalinity_mg_l_caco3, one.sun_hours, one.kind or None)
            for i, entry in enumerate(found.entries)
            for one in entry.of_trial.sites
        ],
        columns=["trial", "site", "alkalinity", "sun_hours", "kind"],
    )
    records = as_records(rows, gardens.astype({"alkalinity": float, "sun_hours": float}), dose, found.head_scatter)
    means = [row for entry in found.summaries for row in entry.of_summary.means] if question.in_nitrogen else []
    if not means:
        return records
    strengths = pd.Series([row.n_mg_l for row in means])
    older = pd.DataFrame(
        {
            "trial": [f"means {row.citation}" for row in means],
            "site": [f"gardens of {row.citation}" for row in means],
            "block": "", "whole_plot": "",
            "cultivar": [row.cultivar for row in means],
            "acidifier": [row.acidifier for row in means],
            "planned": 0, "recorded": 0, "usable": 1,
            "dose": strengths.map(_strengths(strengths, question)),
            "weight_g": [row.mean_g for row in means],
            "known_variance": [row.se_g**2 for row in means],
        }
    )  # fmt: skip
    buckets = records.buckets.assign(known_variance=np.nan)
    return BucketRecords(pd.concat([buckets, older], ignore_index=True), records.gardens, records.head_variance)


def _strengths(known: pd.Series, question: AdviceQuestion) -> dict[float, float]:
    """Strengths as today's spoons tell them apart, so that a spoon weighed anew does not make another dose."""
    return {one: _as_measured(one, question.per_tsp) for one in known.dropna().unique()}


def _as_measured(strength: float, per_tsp: float) -> float:
    return round(spoons_of(strength, per_tsp) * per_tsp, 3)


def question_of(found: LedgerContents, rows: pd.DataFrame, previous: Recommended | None) -> AdviceQuestion:
    """Ask which treatment is to be the default.

    What is said now is what was recommended last or, where nothing was, the practice of the newest protocol.

    Parameters
    ----------
    found : LedgerContents
    rows : pandas.DataFrame
        As from `read_buckets`.
    previous : Recommended, optional
        What was recommended last.
    """
    newest, protocol = found.latest, found.latest.protocol
    practice, strength = protocol.practice, None
    if previous is not None:
        practice, strength = previous.recommended.treatment, previous.recommended.n_mg_l
    in_nitrogen = bool(np.isfinite(found.n_per_tsp)) and practice.dose_tsp is not None
    per_tsp = found.n_per_tsp if in_nitrogen else 1.0
    if strength is None or not in_nitrogen:
        strength = (practice.dose_tsp or 0.0) * per_tsp
    told = days_told(found, rows, per_tsp)
    return AdviceQuestion(
        practice=practice,
        practice_dose=_as_measured(strength, per_tsp) if in_nitrogen else strength,
        per_tsp=per_tsp,
        in_nitrogen=in_nitrogen,
        rule=protocol.decision,
        prices=partial(prices_of, newest, days_known=bool(told)),
        days=days_by_treatment(_averaged(told)) if told else None,
        seasons=tuple(entry.listed.season for entry in found.entries if entry.listed.season),
        seed=protocol.seed_of(ADVICE_STREAM),
    )


@dataclass(frozen=True)
class DaysTold:
    """Mean days to harvest of a treatment in one trial; its dose in teaspoons of today's nutrient."""

    trial: str
    treatment: Treatment
    mean: float
    se: float
    df: float


def days_told(found: LedgerContents, rows: pd.DataFrame, per_tsp: float) -> list[DaysTold]:
    """Days to harvest of every trial that tells, with what it held the same in all its buckets.

    Parameters
    ----------
    found : LedgerContents
    rows : pandas.DataFrame
        As from `read_buckets`.
    per_tsp : float
        Nitrogen of a teaspoon of today's nutrient; 1 where doses are compared as teaspoons.
    """
    made, of_trial = [], rows.groupby("trial")
    for i, entry in enumerate(found.entries):
        days = [one for one in entry.of_trial.days if one.se > 0]
        if not days:
            continue
        own = of_trial.get_group(f"{i:05d}")
        held = {
            column: own[column].iloc[0]
            for column in ("cultivar", "dose_tsp", "acidifier")
            if own[column].nunique(dropna=False) == 1
        }
        nitrogen = dict(zip(own["dose_tsp"], own["n_mg_l"], strict=True))
        for one in days:
            treatment = Treatment.of(held | one.treatment.levels)
            strength = nitrogen.get(treatment.dose_tsp, np.nan)
            if per_tsp != 1.0 and np.isfinite(strength):
                treatment = replace(treatment, dose_tsp=spoons_of(strength, per_tsp))
            made.append(DaysTold(entry.listed.id, treatment, one.mean, one.se, one.df))
    return made


def _averaged(told: Sequence[DaysTold]) -> list[tuple[Treatment, float]]:
    """Mean days of each treatment over the trials that tell, each counting by its standard error."""
    by_treatment: dict[Treatment, list[DaysTold]] = {}
    for one in told:
        by_treatment.setdefault(one.treatment, []).append(one)
    return [
        (treatment, float(np.average([one.mean for one in some], weights=[one.se**-2 for one in some])))
        for treatment, some in by_treatment.items()
    ]
