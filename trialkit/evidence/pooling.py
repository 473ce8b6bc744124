"""All trials of a ledger as the records of one model, and the question that they answer together."""

from __future__ import annotations

import io
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial

import numpy as np
import pandas as pd

from trialkit.advice.gathering import BucketRecords
from trialkit.analysis.advising import AdviceQuestion, spoons_of
from trialkit.analysis.bucket_records import ADVICE_STREAM, BUCKET_COLUMNS, as_records, prices_of
from trialkit.documents.recommended import Recommended
from trialkit.evidence.accepting import BUCKETS_FILE
from trialkit.evidence.ledger import LARGEST_NUMBER, Entry
from trialkit.evidence.ledger_contents import LedgerContents
from trialkit.evidence.ledger_index import RESTORE, LedgerDamaged, told_at_once
from trialkit.tables.formula_text import restored

TYPES = {
    "bucket": "str", "site": "str", "block": "str", "whole_plot": "str", "cultivar": "str", "acidifier": "str",
    "dose_tsp": "float64", "n_mg_l": "float64", "planned": "int64", "recorded": "int64", "usable": "int64",
    "yield_g": "float64", "days": "float64", "days_se": "float64", "weighed": "float64",
}  # fmt: skip
EARLIER = (BUCKET_COLUMNS[:-3], BUCKET_COLUMNS[:-1])
"""Columns of entries made before days, and before heads that nobody weighed, were kept."""


def read_buckets(entries: Sequence[Entry]) -> pd.DataFrame:
    """Read the buckets of entries as one table; ``trial`` is the entry's name.

    Raises
    ------
    LedgerDamaged
        If files are not what was put there; names each.
    """
    bodies = [_body(entry) for entry in entries]
    try:
        rows = _typed(bodies)
    except (ValueError, OverflowError) as error:
        spoilt = [
            entry.folder / BUCKETS_FILE for entry, body in zip(entries, bodies, strict=True) if not _is_sound(body)
        ]
        raise LedgerDamaged(
            told_at_once([f"{path} is no table of buckets as trialkit writes it. {RESTORE}" for path in spoilt])
        ) from error
    for name in ("cultivar", "acidifier"):  # names may begin like a formula, which a table is not to be taken for
        rows[name] = rows[name].map({text: restored(text) for text in rows[name].unique()})
    counts = [body.count(b"\n") for body in bodies]
    return rows.assign(trial=np.repeat([f"{i:05d}" for i in range(len(entries))], counts))


def _body(entry: Entry) -> bytes:
    """Read an entry's buckets, without their header, with the columns of today."""
    data = entry.read(BUCKETS_FILE)
    header, *earlier = (",".join(columns).encode() + b"\n" for columns in (BUCKET_COLUMNS, *EARLIER))
    for older in earlier:
        if data.startswith(older):
            empty = b"," * (header.count(b",") - older.count(b","))
            data = header + data[len(older) :].replace(b"\n", empty + b"\n")
    if not data.startswith(header):
        columns = ", ".join(BUCKET_COLUMNS)
        raise LedgerDamaged(f"{entry.folder / BUCKETS_FILE} has other columns than {columns}. {RESTORE}")
    return data[len(header) :]


def _typed(bodies: Sequence[bytes]) -> pd.DataFrame:
    """Read buckets as one table; raises a ValueError or an OverflowError where they are none that trialkit writes."""
    text = ["bucket", "site", "block", "whole_plot", "cultivar", "acidifier"]
    numbers = [name for name in TYPES if name not in text]
    rows = pd.read_csv(
        io.BytesIO(b"".join(bodies)),
        names=list(BUCKET_COLUMNS),
        dtype=TYPES,
        keep_default_na=False,
        na_values={name: [""] for name in numbers},
    )
    if len(rows) != sum(body.count(b"\n") for body in bodies):
        raise ValueError("a line break within a cell, or none at the end")
    if (rows[numbers] < 0).any(axis=None) or (rows[numbers] >= LARGEST_NUMBER).any(axis=None):
        raise ValueError("a number that no bucket has")
    return rows


def _is_sound(body: bytes) -> bool:
    with suppress(ValueError, OverflowError):
        _typed([body])
        return True
    return False


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
    gardens = gardens.astype({"alkalinity": float, "sun_hours": float})
    days = _mean_days(found.entries, rows.assign(dose=dose))
    records = as_records(rows, gardens, dose, found.head_scatter, days)
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
    return replace(records, buckets=pd.concat([buckets, older], ignore_index=True))


def _mean_days(entries: Sequence[Entry], rows: pd.DataFrame) -> pd.DataFrame | None:
    """Mean days of treatments, of entries made before days stood beside each bucket; with what was held the same."""
    made = []
    for i, entry in enumerate(entries):
        if not entry.of_trial.days:
            continue
        name = f"{i:05d}"
        own = rows[rows["trial"] == name]
        for one in entry.of_trial.days:
            levels = one.treatment.levels
            like = own[np.logical_and.reduce([own[column] == level for column, level in levels.items()])]
            if len(like) and one.se > 0:
                row = like.iloc[0]
                made.append(
                    {
                        "trial": name, "site": f"gardens of {entry.listed.id}", "block": "", "whole_plot": "",
                        "cultivar": row["cultivar"], "acidifier": row["acidifier"], "dose": row["dose"],
                        "days": one.mean, "days_se": one.se, "known_variance": one.se**2,
                    }
                )  # fmt: skip
    return pd.DataFrame(made) if made else None


def _strengths(known: pd.Series, question: AdviceQuestion) -> dict[float, float]:
    """Strengths as today's spoons tell them apart, so that a spoon weighed anew does not make another dose."""
    return {one: _as_measured(one, question.per_tsp) for one in known.dropna().unique()}


def _as_measured(strength: float, per_tsp: float) -> float:
    return round(spoons_of(strength, per_tsp) * per_tsp, 3)


def question_of(found: LedgerContents, previous: Recommended | None) -> AdviceQuestion:
    """Ask which treatment is to be the default.

    What is said now is what was recommended last or, where nothing was, the practice of the newest protocol.

    Parameters
    ----------
    found : LedgerContents
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
    return AdviceQuestion(
        practice=practice,
        practice_dose=_as_measured(strength, per_tsp) if in_nitrogen else strength,
        per_tsp=per_tsp,
        in_nitrogen=in_nitrogen,
        rule=protocol.decision,
        prices=partial(prices_of, newest),
        seasons=tuple(entry.listed.season for entry in found.entries if entry.listed.season),
        seed=protocol.seed_of(ADVICE_STREAM),
    )
