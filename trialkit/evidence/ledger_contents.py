"""What a ledger holds: every trial that counts as one table, and today's practice and shelf."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Annotated

import numpy as np
import pandas as pd

from trialkit.documents.ledger_entry import Listed
from trialkit.documents.recommended import Practice, Recommended
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.treatment import Treatment, is_same_dose, is_same_strength
from trialkit.evidence.ledger import Entry, open_entry, read_index
from trialkit.evidence.pooling import read_buckets, with_treatments
from trialkit.rules.mixings import nutrient_of
from trialkit.rules.trial_folder import Trial, read_trial
from trialkit.solution.nutrients import Product, elements_mg_l


@dataclass(frozen=True)
class LedgerContents:
    """What a ledger holds, before anything is judged."""

    entries: Annotated[tuple[Entry, ...], "Trials that count, in the order of seasons."]
    summaries: Annotated[tuple[Entry, ...], "Tables of means and standard errors that count."]
    index: Annotated[tuple[Listed, ...], "All of them."]
    latest: Annotated[Trial, "The newest trial: its practice, thresholds and shelf are today's."]
    # Buckets of all trials, and the treatments among them.
    rows: pd.DataFrame
    treatments: pd.DataFrame

    @property
    def confidence(self) -> float:
        """Of the intervals, as today's protocol wants it."""
        return self.latest.protocol.decision.confidence

    @cached_property
    def nutrient(self) -> Product | None:
        """Today's nutrient; None where its label or spoon is not known."""
        return nutrient_of(self.latest.protocol, self.latest.products)

    @cached_property
    def n_per_tsp(self) -> float:
        """Nitrogen that a level teaspoon of today's nutrient brings to a bucket, mg/L; missing if not known."""
        litres = self.latest.protocol.bucket.volume_l
        return elements_mg_l([(self.nutrient, 1.0)], litres).get("N", np.nan) if self.nutrient else np.nan

    def treatment(self, label: str) -> Treatment:
        """A treatment, its dose in teaspoons of today's nutrient."""
        row = self.treatments.loc[label]
        return Treatment.of({**row, "dose_tsp": self.dose_tsp(label) if row["n_level"] else None})

    def dose_tsp(self, label: str) -> float:
        """Teaspoons of today's nutrient that bring the treatment's nitrogen; as recorded where that is not known."""
        nitrogen = float(self.treatments.loc[label, "n_mg_l"])
        if np.isfinite(nitrogen) and np.isfinite(self.n_per_tsp) and self.n_per_tsp > 0:
            return round(nitrogen / self.n_per_tsp * 20) / 20
        return float(self.rows.loc[self.rows["treatment"] == label, "dose_tsp"].iloc[0])

    def practice(self, label: str) -> Practice:
        """A treatment as a practice."""
        protocol, nitrogen = self.latest.protocol, float(self.treatments.loc[label, "n_mg_l"])
        dose = protocol.factors.get("dose")
        return Practice(
            treatment=self.treatment(label),
            n_mg_l=nitrogen if np.isfinite(nitrogen) else None,
            product=dose.product if dose else None,
            nutrient_g_per_tsp=self.nutrient.grams_per_tsp if self.nutrient else None,
            volume_l=protocol.bucket.volume_l,
            heads=protocol.bucket.heads,
        )


def read_ledger(ledger: Path) -> LedgerContents:
    """Read all that counts in a ledger.

    Raises
    ------
    WrongCall
        If there is no ledger, or nothing in it counts, or it was damaged.
    """
    index = read_index(ledger)
    counting = sorted((one for one in index if one.counts and one.kind == "trial"), key=lambda one: one.started_on)
    if not counting:
        raise WrongCall(f"No trial in {ledger} counts: add one with trialkit evidence add.")
    entries = tuple(open_entry(ledger, one) for one in counting)
    rows = read_buckets(entries)
    rows, treatments = with_treatments(rows, {entry.listed.id: entry.of_trial.product for entry in entries})
    newest = entries[-1]
    for name in newest.manifest.files:
        newest.read(name)
    summaries = tuple(open_entry(ledger, one) for one in index if one.counts and one.kind == "means")
    return LedgerContents(entries, summaries, index, read_trial(newest.folder), rows, treatments)


def evidence_digest(index: Sequence[Listed]) -> str:
    """Digest of what counts: the same evidence, the same digest."""
    return hashlib.sha256(json.dumps(sorted(one.id for one in index if one.counts)).encode()).hexdigest()


def current_label(found: LedgerContents, previous: Recommended | None) -> str:
    """Label of the current practice: what was recommended last, else what the newest protocol calls so."""
    if previous is None:
        return label_of(found, found.latest.protocol.practice)
    # Its spoons were of the nutrient of that time: nitrogen is what stays.
    return label_of(found, previous.recommended.treatment, previous.recommended.n_mg_l)


def label_of(found: LedgerContents, practice: Treatment, n_mg_l: float | None = None) -> str:
    """Label of a practice among the treatments; its dose by its nitrogen, where that is known.

    Raises
    ------
    NotComputed
        If no trial of the ledger tried it.
    """
    table = found.treatments
    chosen = pd.Series(True, index=table.index)
    for column in ("cultivar", "acidifier"):
        if level := practice.level(column):
            chosen &= table[column] == level
    dose = practice.dose_tsp
    if dose is not None:
        wanted = dose * found.n_per_tsp if n_mg_l is None else n_mg_l
        if np.isfinite(wanted):
            chosen &= table["n_mg_l"].map(lambda strength: is_same_strength(strength, wanted))
        else:
            same = found.rows["dose_tsp"].map(lambda other: is_same_dose(other, dose))
            chosen &= table.index.isin(found.rows.loc[same, "treatment"])
    labels = [str(label) for label in table.index[chosen]]
    if not labels:
        spoons = f"{dose:g} tsp" if dose is not None else None
        levels = ", ".join(level for level in (practice.cultivar, spoons, practice.acidifier) if level)
        raise NotComputed(
            f"No trial of this ledger tried the current practice ({levels}), so nothing can be set beside it. Add the "
            "trial that did, or withdraw the newest if its practice is not the county's (trialkit evidence withdraw)."
        )
    return labels[0]
