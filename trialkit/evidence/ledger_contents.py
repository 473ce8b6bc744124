"""What a ledger holds: every trial that counts as one table, and today's practice and shelf."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Annotated

import numpy as np

from trialkit.documents.ledger_entry import Listed
from trialkit.documents.recommended import Practice, PracticePart
from trialkit.domain.errors import WrongCall
from trialkit.domain.short_repr import ShortRepr
from trialkit.domain.treatment import Treatment
from trialkit.evidence.kept_versions import KeptVersion
from trialkit.evidence.ledger import Entry
from trialkit.evidence.verifying import verify
from trialkit.languages import translatable
from trialkit.rules.mixings import feed_of
from trialkit.rules.trial_folder import CheckedTrial, read_trial
from trialkit.solution.nutrients import Feed
from trialkit.tables.problem import TrialError


@dataclass(frozen=True, repr=False)
class LedgerContents(ShortRepr):
    """What a ledger holds, before anything is judged."""

    entries: Annotated[tuple[Entry, ...], "Trials that count, in the order of seasons."]
    summaries: Annotated[tuple[Entry, ...], "Tables of means and standard errors that count."]
    index: Annotated[tuple[Listed, ...], "All of them."]
    latest: Annotated[CheckedTrial, "The newest trial: its practice, thresholds and shelf are today's."]
    versions: Annotated[tuple[KeptVersion, ...], "Of the defaults, in the order of their numbers."] = ()
    copy_problem: Annotated[str, "What is wrong with the copy of the newest of them, or nothing."] = ""

    @property
    def confidence(self) -> float:
        """Of the intervals, as today's protocol wants it."""
        return self.latest.protocol.decision.confidence

    @cached_property
    def sites(self) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Gardens of the newest trial: those that come back, and those that gave up, unless all did."""
        every, gone = sorted(map(str, self.latest.sites["site"])), self.latest.amended.withdrawn
        staying = tuple(site for site in every if site not in gone)
        return (staying, tuple(site for site in every if site in gone)) if staying else (tuple(every), ())

    @cached_property
    def feed(self) -> Feed | None:
        """Today's feed; None where its label or spoon is not known."""
        return feed_of(self.latest.protocol, self.latest.products)

    @cached_property
    def n_per_tsp(self) -> float:
        """Nitrogen that a level teaspoon of today's feed brings to a bucket, mg/L; missing if not known."""
        litres = self.latest.protocol.bucket.volume_l
        return self.feed.elements_mg_l(1.0, litres).get("N", np.nan) if self.feed else np.nan

    @property
    def head_scatter(self) -> tuple[float, int]:
        """Sum of squares of heads about their bucket's mean over all trials, g squared, and its degrees of freedom."""
        known = [entry.of_trial.head_scatter for entry in self.entries if entry.of_trial.head_scatter is not None]
        return sum(one.squares for one in known), sum(one.df for one in known)

    def practice(self, treatment: Treatment, n_mg_l: float | None) -> Practice:
        """A treatment as it is done: with what was the same in every bucket of the newest trial."""
        protocol = self.latest.protocol
        dose, litres = protocol.factors.get("dose"), protocol.bucket.volume_l
        return Practice(
            treatment=treatment,
            n_mg_l=n_mg_l,
            product=dose.product if dose else None,
            nutrient_g_per_tsp=self.feed.base.grams_per_tsp if self.feed else None,
            volume_l=litres,
            heads=protocol.bucket.heads,
            parts=tuple(self._parts(treatment.dose_tsp or 0.0)),
            elements_mg_l=self.feed.elements_mg_l(treatment.dose_tsp or 0.0, litres) if self.feed else {},
        )

    def _parts(self, dose_tsp: float) -> Iterator[PracticePart]:
        for product, tsp in self.feed.spoons(dose_tsp)[1:] if self.feed and dose_tsp else ():
            yield PracticePart(product.name, tsp, product.grams_per_tsp)


def read_ledger(ledger: Path, *, held: bool = False) -> LedgerContents:
    """Read all that counts in a ledger.

    Raises
    ------
    WrongCall
        If there is no ledger, or nothing in it counts, or it was damaged.
    """
    found = verify(ledger, held=held)
    found.require_whole()
    counting = [one for one in found.entries if one.listed.counts]
    trials = sorted((one for one in counting if one.listed.kind == "trial"), key=lambda one: one.listed.started_on)
    if not trials:
        raise WrongCall(translatable("No trial in {ledger} counts: add one with trialkit evidence add."), ledger=ledger)
    summaries = tuple(one for one in counting if one.listed.kind == "means")
    newest = trials[-1].folder
    try:
        latest = read_trial(newest)
    except TrialError as error:
        raise TrialError([replace(one, file=str(newest / one.file)) for one in error.problems]) from error
    return LedgerContents(tuple(trials), summaries, found.index.listed, latest, found.versions, found.copy_problem)


def evidence_digest(index: Sequence[Listed]) -> str:
    """Digest of what counts: the same evidence, the same digest."""
    return hashlib.sha256(json.dumps(sorted(one.id for one in index if one.counts)).encode()).hexdigest()
