"""All trials of a ledger as the records of one model, and the question that they answer together."""

from __future__ import annotations

import io
from collections.abc import Sequence
from functools import partial

import numpy as np
import pandas as pd

from trialkit.advice.records import Records
from trialkit.analysis.advising import Question, days_by_treatment
from trialkit.analysis.bucket_records import ADVICE_STREAM, BUCKET_COLUMNS, as_records, nitrogen_per_tsp, prices_of
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


def pooled_records(found: LedgerContents) -> Records:
    """Records of all trials that count, and of those of which only means are left.

    Doses meet on the scale of nitrogen. A trial whose nitrogen is not known stays where no trial's is; beside others
    its dose has no place on that scale, and it is left out.
    """
    rows = read_buckets(found.entries)
    in_nitrogen = bool(np.isfinite(found.n_per_tsp)) and bool(rows["n_mg_l"].notna().any())
    if in_nitrogen:
        rows = rows[rows["n_mg_l"].notna() | rows["dose_tsp"].isna()]
    means = [row for entry in found.summaries for row in entry.of_summary.means] if in_nitrogen else []
    scatter = [entry.of_trial.head_scatter for entry in found.entries if entry.of_trial.head_scatter is not None]
    gardens = pd.DataFrame(
        [
            (f"{i:05d}", one.site, one.alkalinity_mg_l_caco3, one.sun_hours, one.kind or None)
            for i, entry in enumerate(found.entries)
            for one in entry.of_trial.sites
        ],
        columns=["trial", "site", "alkalinity", "sun_hours", "kind"],
    )
    dose = rows["n_mg_l"] if in_nitrogen else rows["dose_tsp"]
    summed = (sum(one.squares for one in scatter), sum(one.df for one in scatter))
    records = as_records(rows, gardens.astype({"alkalinity": float, "sun_hours": float}), dose, summed)
    if not means:
        return records
    older = pd.DataFrame(
        {
            "trial": [f"means {row.citation}" for row in means],
            "site": [f"gardens of {row.citation}" for row in means],
            "block": "", "whole_plot": "",
            "cultivar": [row.cultivar for row in means],
            "acidifier": [row.acidifier for row in means],
            "planned": 0, "recorded": 0, "usable": 1,
            "dose": [row.n_mg_l for row in means],
            "weight_g": [row.mean_g for row in means],
            "known_variance": [row.se_g**2 for row in means],
        }
    )  # fmt: skip
    buckets = records.buckets.assign(known_variance=np.nan)
    return Records(pd.concat([buckets, older], ignore_index=True), records.gardens, records.head_variance)


def question_of(found: LedgerContents, previous: Recommended | None) -> Question:
    """Ask which treatment is to be the default.

    What is said now is what was recommended last or, where nothing was, the practice of the newest protocol.
    """
    newest, protocol = found.latest, found.latest.protocol
    per_tsp = nitrogen_per_tsp(newest)
    practice, strength = protocol.practice, None
    if previous is not None:
        practice, strength = previous.recommended.treatment, previous.recommended.n_mg_l
    in_nitrogen = bool(np.isfinite(per_tsp)) and practice.dose_tsp is not None
    days = _days(found.entries)
    if strength is None:
        strength = (practice.dose_tsp or 0.0) * (per_tsp if in_nitrogen else 1.0)
    return Question(
        practice=practice,
        practice_dose=round(strength, 3),
        per_tsp=per_tsp if in_nitrogen else 1.0,
        in_nitrogen=in_nitrogen,
        rule=protocol.decision,
        prices=partial(prices_of, newest, days_known=bool(days)),
        days=days_by_treatment(days) if days else None,
        seasons=tuple(entry.listed.season for entry in found.entries if entry.listed.season),
        seed=protocol.seed_of(ADVICE_STREAM),
    )


def _days(entries: Sequence[Entry]) -> list[tuple[Treatment, float]]:
    """Mean days to harvest of each treatment over the trials that tell, each counting by its standard error."""
    told: dict[Treatment, list[tuple[float, float]]] = {}
    for entry in entries:
        for one in entry.of_trial.days:
            if one.se > 0:
                told.setdefault(one.treatment, []).append((one.mean, one.se**-2))
    return [(treatment, sum(m * w for m, w in some) / sum(w for _, w in some)) for treatment, some in told.items()]
