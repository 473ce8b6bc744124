"""From a ledger to recommended defaults: all trials pooled, judged as one trial is, with what the defaults rest on."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from trialkit.documents.pooled import Gain
from trialkit.documents.recommended import Changed, Compared, Default, Recommended, Rests, Varies
from trialkit.domain.errors import NotComputed
from trialkit.domain.rounding import ROUNDING
from trialkit.domain.treatment import Treatment
from trialkit.evidence.advice import acid_for_classes, expected_days, expected_yield, next_trial
from trialkit.evidence.judging import gains, judged, shown_beside, tried_enough
from trialkit.evidence.pooling import SAME_DOSE, Pool, links, pool
from trialkit.evidence.situation import Situation, evidence_digest, practice, practice_label
from trialkit.words.measures import spoons
from trialkit.words.treatments import treatment_words

FEWEST_DF = 2.0


def recommend(found: Situation, previous: Mapping[str, Any] | None, version: str) -> Recommended:
    """Judge the evidence of a ledger.

    Parameters
    ----------
    found : Situation
    previous : mapping, optional
        The last version that rested on other evidence; its recommendation is the current practice then. Without one it
        is that of the newest protocol.
    version : str
        Of trialkit.

    Raises
    ------
    NotComputed
        If the current practice was never tried, or nothing is linked with it.
    """
    current = practice_label(found, practice(found, previous))
    pooled = pool(found.rows, found.treatments, current)
    comparisons = pooled.fit.compare("treatment", "versus", pooled.current, "dunnett", confidence=found.confidence)
    df = float(comparisons["df"].min())
    if df < FEWEST_DF - ROUNDING:
        raise NotComputed("The ledger holds too few buckets to set treatments beside the current practice.")
    decision, draws = judged(found, pooled, comparisons, df)
    labels = list(pooled.treatments.index)
    chosen = labels[[candidate.is_recommended for candidate in decision.candidates].index(True)]
    shown = shown_beside(decision, labels, chosen, pooled.current)
    by_trial, growth, classes = gains(found, pooled, shown, df)
    candidate = next(one for one in decision.candidates if one.is_recommended)
    document = Recommended(
        schema="trialkit-recommended-1",
        version=1 if previous is None else int(previous["version"]) + 1,
        date=max(max(one.added_on, one.withdrawn_on or "") for one in found.index),
        evidence_sha256=evidence_digest(found.index),
        made_with={"trialkit": version},
        recommended=found.default(chosen),
        current=found.default(pooled.current),
        alternative=None if shown is None else found.words(shown),
        verdict=decision.verdict,
        sentences=decision.sentences,
        probability_better=None if shown is None else decision.candidates[labels.index(shown)].probability_better,
        expected_loss=candidate.expected_loss,
        yield_g=expected_yield(pooled, chosen, draws, labels.index(chosen), df, found.confidence),
        days=expected_days(found, chosen),
        acid=acid_for_classes(found, chosen),
        classes=classes,
        evidence=_rests(found, by_trial),
        gardens=int(found.rows.loc[found.rows["yield_g"].notna(), "site"].nunique()),
        compared=tuple(_compared(found, pooled, comparisons)),
        variation=tuple(_variation(pooled)),
        refused=tuple(_refused(found, pooled)),
        together=growth,
        decision=decision,
        changed=Changed(None, ()),
        would_change=decision.would_change,
        next_trial=next_trial(found, pooled, decision, draws, chosen, classes),
        notes=(*pooled.notes, *_too_few(found, pooled), *_by_nitrogen_alone(found, chosen)),
    )
    return replace(document, changed=_changed(document, previous))


def _rests(found: Situation, gains: Mapping[str, Gain]) -> tuple[Rests, ...]:
    return tuple(
        Rests(
            one.id,
            one.kind,
            one.trial,
            one.title,
            one.season,
            one.gardens,
            one.buckets,
            one.heads,
            gains[one.id].gain if one.id in gains else None,
            gains[one.id].se if one.id in gains else None,
        )
        for one in (entry.listed for entry in (*found.older, *found.entries))
    )


def _words(found: Situation, label: str) -> str:
    return treatment_words(found.words(label))


TERMS = {
    "trial": "trials",
    "garden": "gardens within trials",
    "garden:block": "blocks within gardens",
    "garden:block:whole_plot": "whole plots within blocks",
    "residual": "buckets treated alike",
}
EFFECTS = {"cultivar": "cultivars", "n_level": "doses", "acidifier": "acids"}


def _variation(pooled: Pool) -> Iterator[Varies]:
    for term, value in pooled.fit.variances.items():
        grouping, _, effect = str(term).rpartition(":")
        label = TERMS.get(str(term)) or f"effects of {EFFECTS[effect]} between {grouping}s"
        yield Varies(label, math.sqrt(max(float(value), 0.0)))


def _compared(found: Situation, pooled: Pool, comparisons: pd.DataFrame) -> Iterator[Compared]:
    means, buckets = pooled.fit.means("treatment")["mean"], pooled.rows.groupby("treatment", observed=True).size()
    for label in map(str, pooled.treatments.index):
        trials, beside = links(pooled, label)
        own = label == pooled.current
        row = None if own else comparisons.loc[label]
        nitrogen = float(pooled.treatments.loc[label, "n_mg_l"])
        yield Compared(
            treatment=found.words(label),
            n_mg_l=nitrogen if math.isfinite(nitrogen) else None,
            mean=float(means[label]),
            buckets=int(buckets[label]),
            trials=trials,
            beside=beside,
            difference=None if row is None else float(row["estimate"]),
            se=None if row is None else float(row["se"]),
            df=None if row is None else float(row["df"]),
            lower=None if row is None else float(row["lower"]),
            upper=None if row is None else float(row["upper"]),
            p=None if row is None else float(row["p"]),
        )


def _too_few(found: Situation, pooled: Pool) -> Iterator[str]:
    """Name the treatments that too few trials tried to be recommended."""
    few = [found.words(label) for label in map(str, pooled.treatments.index) if not tried_enough(pooled, label)]
    few = [words for words in few if words != found.words(pooled.current)]
    if few:
        yield (
            f"Tried in one trial only, and so not recommended yet, whatever it found: "
            f"{'; '.join(treatment_words(words) for words in few)}."
        )


def _refused(found: Situation, pooled: Pool) -> list[str]:
    """Name the comparisons that no trial allows."""
    practice = _words(found, pooled.current)
    return [
        f"{_words(found, str(label))} cannot be compared with {practice}: no trial links them, nor any chain of trials."
        for label in pooled.apart.index
    ]


def _changed(now: Recommended, previous: Mapping[str, Any] | None) -> Changed:
    """Say what changed since the last version, and why."""
    if previous is None:
        return Changed(None, ("This is the first version.",))
    before = {one["id"]: one for one in previous["evidence"]}
    after = {one.id: one for one in now.evidence}
    said = [
        f"New evidence: {after[name].trial}, {after[name].season or 'season not stated'}."
        for name in sorted(after.keys() - before.keys())
    ]
    said += [
        f"Withdrawn: {before[name]['trial']}, {before[name]['season'] or 'season not stated'}."
        for name in sorted(before.keys() - after.keys())
    ]
    if not said:
        said.append("The evidence is the same; it was worked out anew.")
    then = Default(**previous["recommended"])
    if not _is_same(now.recommended, then):
        said.append(
            f"The default changes from {treatment_words(_as_treatment(then))} to "
            f"{treatment_words(_as_treatment(now.recommended))}."
        )
    elif now.recommended.dose_tsp == then.dose_tsp:
        said.append("The default stays as it was.")
    else:
        new, old = spoons(now.recommended.dose_tsp), spoons(then.dose_tsp)
        said.append(
            f"The default stays as it was: {new} teaspoons of {now.recommended.product} bring the nitrogen that {old} "
            f"of {then.product} did."
        )
    return Changed(int(previous["version"]), tuple(said))


def _is_same(one: Default, other: Default) -> bool:
    """Whether two defaults are one: doses by their nitrogen, where it is known of both."""
    if (one.cultivar, one.acidifier) != (other.cultivar, other.acidifier):
        return False
    if one.n_mg_l is None or other.n_mg_l is None:
        return one.dose_tsp == other.dose_tsp
    return abs(one.n_mg_l - other.n_mg_l) <= SAME_DOSE * max(one.n_mg_l, other.n_mg_l)


def _by_nitrogen_alone(found: Situation, chosen: str) -> Iterator[str]:
    """Say where the recommended dose was tried with other products than today's only."""
    tried = found.rows[found.rows["treatment"] == chosen]
    products = {str(entry.facts["product"]) for entry in found.entries if (tried["trial"] == entry.listed.id).any()}
    dose = found.latest.protocol.factors.get("dose")
    today = dose.product if dose else None
    if today and found.treatments.loc[chosen, "n_level"] and today not in products:
        yield (
            f"No trial used this much of {today}: the dose is reckoned from {', '.join(sorted(products))} by nitrogen "
            "alone, and the other elements differ. Try it before you print it."
        )


def _as_treatment(default: Default) -> Treatment:
    return Treatment(default.cultivar, default.dose_tsp, default.acidifier)
