"""From a ledger to recommended defaults: all trials pooled, judged as one trial is, with what the defaults rest on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import pandas as pd

from trialkit.documents.pooled import TrialGain
from trialkit.documents.recommended import (
    Change,
    ComparedTreatment,
    EvidenceTrial,
    Gaps,
    Grouping,
    NitrogenAlone,
    Recommended,
    SourceOfVariation,
    TrialName,
)
from trialkit.domain.errors import NotComputed
from trialkit.domain.factors import FactorName
from trialkit.domain.rounding import ROUNDING
from trialkit.domain.thresholds import FEWEST_DF
from trialkit.domain.treatment import Treatment
from trialkit.evidence.advice import acid_for_classes, expected_days, expected_yield, next_trial
from trialkit.evidence.judging import gains, judged, shown_beside, tried_enough
from trialkit.evidence.ledger_contents import LedgerContents, current_label, evidence_digest
from trialkit.evidence.pooling import FACTOR_OF_LEVEL, Pool, links, pool


def recommend(found: LedgerContents, previous: Recommended | None, version: str) -> Recommended:
    """Judge the evidence of a ledger.

    The recommendation of `previous`, the last version that rested on other evidence, is the current practice; without
    one it is that of the newest protocol.

    Raises
    ------
    NotComputed
        If the current practice was never tried, or nothing is linked with it.
    """
    pooled = pool(found.rows, found.treatments, current_label(found, previous))
    comparisons = pooled.fit.compare("treatment", "versus", pooled.current, "dunnett", confidence=found.confidence)
    df = float(comparisons["df"].min())
    if df < FEWEST_DF - ROUNDING:
        raise NotComputed("The ledger holds too few buckets to set treatments beside the current practice.")
    decision, draws = judged(found, pooled, comparisons, df)
    labels = list(pooled.treatments.index)
    chosen = labels[[candidate.is_recommended for candidate in decision.candidates].index(True)]
    shown = shown_beside(decision, labels, chosen, pooled.current)
    by_trial, trial_gains, classes = gains(found, pooled, shown, df)
    evidence = _evidence(found, by_trial)
    return Recommended(
        schema="trialkit-recommended-2",
        version=1 if previous is None else previous.version + 1,
        date=max(max(one.added_on, one.withdrawn_on or "") for one in found.index),
        evidence_sha256=evidence_digest(found.index),
        made_with={"trialkit": version},
        recommended=found.practice(chosen),
        current=found.practice(pooled.current),
        alternative=None if shown is None else found.treatment(shown),
        probability_better=None if shown is None else decision.candidates[labels.index(shown)].probability_better,
        expected_loss=decision.candidates[labels.index(chosen)].expected_loss,
        yield_g=expected_yield(pooled, chosen, draws, labels.index(chosen), df, found.confidence),
        days=expected_days(found, chosen),
        acid=acid_for_classes(found, chosen),
        classes=classes,
        evidence=evidence,
        gardens=int(found.rows.loc[found.rows["yield_g"].notna(), "site"].nunique()),
        compared=tuple(_compared(found, pooled, comparisons)),
        not_linked=tuple(found.treatment(str(label)) for label in pooled.apart.index),
        variation=tuple(_variation(pooled)),
        trial_gains=trial_gains,
        decision=decision,
        change=None if previous is None else _change(evidence, previous),
        next_trial=next_trial(found, pooled, decision, draws, chosen),
        gaps=Gaps(
            few_trials=pooled.few_trials,
            not_separated=pooled.not_separated,
            tried_once=_tried_once(found, pooled),
            nitrogen_alone=_nitrogen_alone(found, chosen),
        ),
    )


def _evidence(found: LedgerContents, gains: Mapping[str, TrialGain]) -> tuple[EvidenceTrial, ...]:
    return tuple(
        EvidenceTrial(
            id=one.id,
            kind=one.kind,
            trial=one.trial,
            title=one.title,
            season=one.season,
            gardens=one.gardens,
            buckets=one.buckets,
            heads=one.heads,
            gain=gains[one.id].gain if one.id in gains else None,
            gain_se=gains[one.id].se if one.id in gains else None,
        )
        for one in (entry.listed for entry in (*found.summaries, *found.entries))
    )


TERMS: Mapping[str, Grouping] = {
    "trial": "trial",
    "trial_site": "trial_site",
    "trial_site:block": "block",
    "trial_site:block:whole_plot": "whole_plot",
    "residual": "bucket",
}


def _variation(pooled: Pool) -> Iterator[SourceOfVariation]:
    for term, value in pooled.fit.variances.items():
        grouping, _, level = str(term).rpartition(":")
        factor: FactorName | None = None if str(term) in TERMS else FACTOR_OF_LEVEL[level]
        place = TERMS[str(term) if factor is None else grouping]
        yield SourceOfVariation(place, factor, math.sqrt(max(float(value), 0.0)))


def _compared(found: LedgerContents, pooled: Pool, comparisons: pd.DataFrame) -> Iterator[ComparedTreatment]:
    means, buckets = pooled.fit.means("treatment")["mean"], pooled.rows.groupby("treatment", observed=True).size()
    for label in map(str, pooled.treatments.index):
        trials, with_current = links(pooled, label)
        own = label == pooled.current
        row = None if own else comparisons.loc[label]
        nitrogen = float(pooled.treatments.loc[label, "n_mg_l"])
        yield ComparedTreatment(
            treatment=found.treatment(label),
            n_mg_l=nitrogen if math.isfinite(nitrogen) else None,
            mean=float(means[label]),
            buckets=int(buckets[label]),
            trials=trials,
            with_current=with_current,
            difference=None if row is None else float(row["estimate"]),
            se=None if row is None else float(row["se"]),
            df=None if row is None else float(row["df"]),
            lower=None if row is None else float(row["lower"]),
            upper=None if row is None else float(row["upper"]),
            p=None if row is None else float(row["p"]),
        )


def _tried_once(found: LedgerContents, pooled: Pool) -> tuple[Treatment, ...]:
    """Treatments that too few trials tried to be recommended."""
    few = [found.treatment(label) for label in map(str, pooled.treatments.index) if not tried_enough(pooled, label)]
    return tuple(treatment for treatment in few if treatment != found.treatment(pooled.current))


def _change(evidence: tuple[EvidenceTrial, ...], previous: Recommended) -> Change:
    """What came and went since an earlier version, and what was recommended then."""
    before, after = (
        {one.id: TrialName(one.trial, one.season) for one in some} for some in (previous.evidence, evidence)
    )
    return Change(
        since=previous.version,
        added=tuple(after[name] for name in sorted(after.keys() - before.keys())),
        withdrawn=tuple(before[name] for name in sorted(before.keys() - after.keys())),
        recommended=previous.recommended,
    )


def _nitrogen_alone(found: LedgerContents, chosen: str) -> NitrogenAlone | None:
    """Products that the recommended dose was tried with, where today's is none of them."""
    tried = found.rows.loc[found.rows["treatment"] == chosen, "trial"]
    products = {str(entry.of_trial.product) for entry in found.entries if (tried == entry.listed.id).any()}
    dose = found.latest.protocol.factors.get("dose")
    today = dose.product if dose else None
    if not today or not found.treatments.loc[chosen, "n_level"] or today in products:
        return None
    return NitrogenAlone(today, tuple(sorted(products)))
