"""What a ledger holds: every trial that counts as one table, and today's practice and shelf."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from trialkit.documents.recommended import Default
from trialkit.domain.errors import NotComputed, WrongCall
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.treatment import Treatment
from trialkit.evidence.ledger import Entry, Listed, open_entry, read_index
from trialkit.evidence.pooling import SAME_DOSE, read_buckets, with_treatments
from trialkit.rules.check import Trial, read_trial
from trialkit.rules.mixings import nutrient_of
from trialkit.solution.nutrients import elements_mg_l


@dataclass(frozen=True)
class Situation:
    """What a ledger holds, before anything is judged.

    Attributes
    ----------
    entries : tuple of Entry
        Trials that count, in the order of seasons.
    older : tuple of Entry
        Tables of older means that count.
    index : tuple of Listed
        All of them.
    latest : Trial
        The newest trial: its practice, thresholds and shelf are today's.
    rows, treatments : pandas.DataFrame
        Buckets of all trials, and the treatments among them.
    """

    entries: tuple[Entry, ...]
    older: tuple[Entry, ...]
    index: tuple[Listed, ...]
    latest: Trial
    rows: pd.DataFrame
    treatments: pd.DataFrame

    @property
    def confidence(self) -> float:
        """Of the intervals, as today's protocol wants it."""
        return self.latest.protocol.decision.confidence

    @cached_property
    def n_per_tsp(self) -> float:
        """Nitrogen that a level teaspoon of today's nutrient brings to a bucket, mg/L; missing if not known."""
        product = nutrient_of(self.latest.protocol, self.latest.products)
        litres = self.latest.protocol.bucket.volume_l
        return elements_mg_l([(product, 1.0)], litres).get("N", np.nan) if product else np.nan

    def words(self, label: str) -> Treatment:
        """A treatment in the columns of a layout, its dose in teaspoons of today's nutrient."""
        row = self.treatments.loc[label]
        return Treatment.of({**row, "dose_tsp": self.dose_tsp(label) if row["n_level"] else None})

    def dose_tsp(self, label: str) -> float:
        """Teaspoons of today's nutrient that bring the treatment's nitrogen; as recorded where that is not known."""
        nitrogen = float(self.treatments.loc[label, "n_mg_l"])
        if np.isfinite(nitrogen) and np.isfinite(self.n_per_tsp) and self.n_per_tsp > 0:
            return round(nitrogen / self.n_per_tsp * 20) / 20
        return float(self.rows.loc[self.rows["treatment"] == label, "dose_tsp"].iloc[0])

    def default(self, label: str) -> Default:
        """A treatment as a practice."""
        row, protocol = self.treatments.loc[label], self.latest.protocol
        dose = protocol.factors.get("dose")
        nitrogen = float(row["n_mg_l"])
        return Default(
            cultivar=str(row["cultivar"]) or None,
            dose_tsp=self.dose_tsp(label) if row["n_level"] else None,
            n_mg_l=nitrogen if np.isfinite(nitrogen) else None,
            product=dose.product if dose else None,
            acidifier=str(row["acidifier"]) or None,
            volume_l=protocol.bucket.volume_l,
            heads=protocol.bucket.heads,
        )


def situation(ledger: Path) -> Situation:
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
    rows, treatments = with_treatments(rows, {entry.listed.id: entry.facts["product"] for entry in entries})
    newest = entries[-1]
    for name in newest.files:
        newest.read(name)
    older = tuple(open_entry(ledger, one) for one in index if one.counts and one.kind == "means")
    return Situation(entries, older, index, read_trial(newest.folder), rows, treatments)


def evidence_digest(index: Sequence[Listed]) -> str:
    """Digest of what counts: the same evidence, the same digest."""
    return hashlib.sha256(json.dumps(sorted(one.id for one in index if one.counts)).encode()).hexdigest()


def practice_label(found: Situation, practice: Mapping[str, Any]) -> str:
    """Label of a practice among the treatments.

    Raises
    ------
    NotComputed
        If no trial of the ledger tried it.
    """
    table = found.treatments
    chosen = pd.Series(True, index=table.index)
    for column in ("cultivar", "acidifier"):
        if practice.get(column):
            chosen &= table[column] == str(practice[column])
    dose = practice.get("dose_tsp")
    if dose is not None:
        nitrogen = practice.get("n_mg_l")
        wanted = float(dose) * found.n_per_tsp if nitrogen is None else float(nitrogen)
        near = (table["n_mg_l"] - wanted).abs() <= SAME_DOSE * max(wanted, 1.0)
        as_spoons = {str(label) for label in found.rows.loc[found.rows["dose_tsp"] == float(dose), "treatment"]}
        chosen &= near if np.isfinite(wanted) else table.index.isin(as_spoons)
    labels = [str(label) for label in table.index[chosen]]
    if not labels:
        spoons = f"{dose:g} tsp" if dose is not None else ""
        words = ", ".join(str(part) for part in (practice.get("cultivar"), spoons, practice.get("acidifier")) if part)
        raise NotComputed(
            f"No trial of this ledger tried the current practice ({words}), so nothing can be set beside it. Add the "
            "trial that did, or withdraw the newest if its practice is not the county's (trialkit evidence withdraw)."
        )
    return labels[0]


def practice(found: Situation, previous: Mapping[str, Any] | None) -> dict[str, Any]:
    """The current practice: what was recommended last, else what the newest protocol calls so."""
    if previous is not None:
        last = previous["recommended"]
        # Its spoons were of the nutrient of that time: nitrogen is what stays.
        return {name: last[name] for name in ("cultivar", "dose_tsp", "n_mg_l", "acidifier")}
    protocol = found.latest.protocol
    stated = {FACTOR_COLUMNS[name]: level for name, level in protocol.decision.current_practice.items()}
    fixed = {
        FACTOR_COLUMNS[name]: factor.levels[0] for name, factor in protocol.factors.items() if len(factor.levels) == 1
    }
    return {**fixed, **stated}
