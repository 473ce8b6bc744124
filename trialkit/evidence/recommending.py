"""From a ledger to recommended defaults: the answer of all its trials, with what goes with it and what it rests on."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import Literal

import numpy as np
import pandas as pd

from trialkit.advice.gathering import ALKALINITY_STEP, SUN_STEP, USUAL_ALKALINITY, USUAL_SUN
from trialkit.advice.terms import Points
from trialkit.analysis.advising import Advice, advise, planted_yields
from trialkit.documents.decision import NoDecision
from trialkit.documents.ledger_entry import EntrySite
from trialkit.documents.recommended import (
    Change,
    EvidenceTrial,
    Expected,
    GardenGain,
    NitrogenAlone,
    ProposedTrial,
    Recommended,
    TrialName,
)
from trialkit.domain.errors import NotComputed
from trialkit.domain.treatment import Treatment
from trialkit.evidence.acid_advice import acid_for_classes, ratio_for
from trialkit.evidence.ledger_contents import LedgerContents, evidence_digest
from trialkit.evidence.pooling import pooled_records, question_of, read_buckets
from trialkit.languages import translatable
from trialkit.solution.mixing import ALKALINITY_CLASSES

SUNS = (("little sun", 0.0, 5.0), ("some sun", 5.0, 7.0), ("much sun", 7.0, math.inf))
"""Hours of direct sun a day, from and up to (common practice, no source)."""
MOST_SUN = 9.0
"""Hours that the open class of sun is taken to end at (common practice, no source)."""
NO_ANSWER = {
    "not_asked": translatable("The trials do not ask for the weight of heads."),
    "nothing_usable": translatable("No head of any trial in the ledger became marketable and was weighed."),
    "no_practice_record": translatable(
        "No trial of this ledger tried the current practice, so nothing can be set beside it. Add the trial that did, "
        "or withdraw the newest if its practice is not the county's (trialkit evidence withdraw)."
    ),
    "one_treatment": translatable("The trials of this ledger tried nothing besides the current practice."),
    "practice_lost": translatable(
        "No head of the current practice became marketable, and too little is known of the others to recommend one of "
        "them. Add another trial of them."
    ),
    "too_open": translatable("The trials leave the sizes of variation too open for an answer."),
}

Propose = Callable[[LedgerContents, Advice], ProposedTrial | None]
"""From a ledger and what it says now: the trial to run next."""


def recommend(
    found: LedgerContents,
    previous: Recommended | None,
    current: Recommended | None,
    version: str,
    propose: Propose,
) -> Recommended:
    """Judge the evidence of a ledger.

    Parameters
    ----------
    found : LedgerContents
    previous : Recommended, optional
        The last version that rested on other evidence.
    current : Recommended, optional
        The last version all of whose evidence still counts: what it recommended is the current practice.
    version : str
        Of trialkit.
    propose : callable
        Finds the next trial: planning stands above the evidence.

    Raises
    ------
    NotComputed
        If the current practice was never tried, or nothing besides it.
    """
    rows = read_buckets(found.entries)
    question = question_of(found, current)
    advice = advise(pooled_records(found, rows, question), question)
    if isinstance(advice, NoDecision):
        raise NotComputed(NO_ANSWER[advice.code])
    decision = advice.decision
    chosen, practice = decision.chosen, decision.candidate(decision.current)
    days = advice.expected_days(chosen.treatment)
    evidence, ratio = tuple(_evidence(found, advice)), ratio_for(found, chosen.treatment)
    return Recommended(
        schema="trialkit-recommended-4",
        version=1 if previous is None else previous.version + 1,
        date=max(max(one.added_on, one.withdrawn_on or "") for one in found.index),
        evidence_sha256=evidence_digest(found.index),
        made_with={"trialkit": version},
        recommended=found.practice(chosen.treatment, chosen.n_mg_l),
        current=found.practice(practice.treatment, practice.n_mg_l),
        yield_g=_expected_yield(advice),
        days=Expected(*days) if days else None,
        acid=acid_for_classes(found, chosen.treatment, ratio),
        acid_ratio=ratio,
        by_garden=tuple(_by_garden(found, advice)),
        evidence=evidence,
        decision=decision,
        change=None if previous is None else _change(evidence, previous),
        next_trial=propose(found, advice),
        nitrogen_alone=_nitrogen_alone(found, advice),
        measures=found.latest.protocol.trial.measures,
        language=found.latest.protocol.trial.language,
    )


def _evidence(found: LedgerContents, advice: Advice) -> Iterator[EvidenceTrial]:
    gains = _raw_gains(advice)
    places = {entry.listed.id: f"{i:05d}" for i, entry in enumerate(found.entries)}
    for entry in (*found.summaries, *found.entries):
        one = entry.listed
        gain, se = gains.get(places.get(one.id, ""), (None, None))
        yield EvidenceTrial(
            id=one.id,
            kind=one.kind,
            trial=one.trial,
            title=one.title,
            season=one.season,
            gardens=one.gardens,
            buckets=one.buckets,
            heads=one.heads,
            gain=gain,
            gain_se=se,
        )


def _raw_gains(advice: Advice) -> dict[str, tuple[float, float | None]]:
    """Differences of the alternative's and the practice's buckets as recorded, and their standard errors, by trial.

    Each garden that had both counts by its buckets, so that gardens which had one alone do not pass for a gain.
    """
    decision = advice.decision
    ours, practice = (
        planted_yields(own).groupby([own["trial"], own["site"]]).agg(["size", "mean", "var"])
        for own in (_stood_for(advice, decision.alternative), _stood_for(advice, decision.current))
    )
    both = ours.join(practice.add_suffix("_now"), how="inner")
    each = both["size"] * both["size_now"] / (both["size"] + both["size_now"])
    squares = sum((both[f"var{of}"].fillna(0.0) * (both[f"size{of}"] - 1) for of in ("", "_now")), 0.0 * each)
    gain, df = each * (both["mean"] - both["mean_now"]), both["size"] + both["size_now"] - 2
    sums = pd.DataFrame({"each": each, "gain": gain, "squares": squares, "df": df}).groupby(level="trial").sum()
    return {
        str(trial): (float(total / weight), math.sqrt(left / spare / weight) if spare else None)
        for trial, weight, total, left, spare in sums.itertuples()
    }


def _stood_for(advice: Advice, treatment: Treatment) -> pd.DataFrame:
    """Buckets of a treatment; of a dose between those tried, of the two that it lies between."""
    decision = advice.decision
    tried = decision.stood_as(decision.candidate(treatment)) or (decision.candidate(treatment),)
    return pd.concat([advice.buckets_of(one.treatment) for one in tried])


def _expected_yield(advice: Advice) -> Expected:
    """What a transplanted head yields, on average over gardens and seasons and in a new one."""
    return Expected(*advice.expected(advice.decision.recommended))


def _by_garden(found: LedgerContents, advice: Advice) -> Iterator[GardenGain]:
    """Gain of the alternative by what gardens are like, and in those that came back."""
    terms, gathered = advice.asked.gathered.terms, advice.asked.gathered
    alternative = advice.decision.alternative
    sites = [one for entry in found.entries for one in entry.of_trial.sites]
    buckets = _stood_for(advice, alternative)
    had = {str(site) for site in buckets.loc[buckets["recorded"] > 0, "site"]}

    def told(
        of: Literal["water", "kind", "sun", "garden"],
        name: str,
        mine: Iterable[EntrySite],
        at: Callable[[Points], Points],
        garden: int | None = None,
    ) -> GardenGain:
        names = {one.site for one in mine}
        return GardenGain(of, name, len(names), bool(names & had), advice.gain_in(alternative, at, garden))

    if terms.water:
        for name, low, high in ALKALINITY_CLASSES:
            water = ((low + high) / 2 - USUAL_ALKALINITY) / ALKALINITY_STEP
            top = math.inf if name == ALKALINITY_CLASSES[-1][0] else high
            mine = [one for one in sites if _lies(one.alkalinity_mg_l_caco3, low, top)]
            yield told("water", name, mine, _at(water=water))
    if terms.sun:
        for name, low, high in SUNS:
            sun = ((low + min(high, MOST_SUN)) / 2 - USUAL_SUN) / SUN_STEP
            yield told("sun", name, [one for one in sites if _lies(one.sun_hours, low, high)], _at(sun=sun))
    if terms.kinds > 1:
        for i, name in enumerate(gathered.levels.kind):
            yield told("kind", name, [one for one in sites if one.kind == name], _at(kind=i))
    for i, name in enumerate(gathered.returning):
        yield told("garden", name, [one for one in sites if one.site == name], _at(), i)


def _lies(value: float | None, low: float, high: float) -> bool:
    return value is not None and low <= value < high


def _at(water: float = 0.0, sun: float = 0.0, kind: int = -1) -> Callable[[Points], Points]:
    def put(points: Points) -> Points:
        n = len(points)
        return replace(points, water=np.full(n, water), sun=np.full(n, sun), kind=np.full(n, kind))

    return put


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


def _nitrogen_alone(found: LedgerContents, advice: Advice) -> NitrogenAlone | None:
    """Products that the recommended dose was tried with, where so much of today's was never tried."""
    dose, question = found.latest.protocol.factors.get("dose"), advice.asked.question
    strength = advice.decision.chosen.n_mg_l
    if dose is None or not dose.product or not question.in_nitrogen or strength is None:
        return None
    reach = advice.asked.rows.groupby("trial")["dose"].agg(["min", "max"])
    reached = (reach["min"] * (1 - 1e-9) <= strength) & (strength <= reach["max"] * (1 + 1e-9))
    tried = {
        str(entry.of_trial.product)
        for i, entry in enumerate(found.entries)
        if entry.of_trial.product and reached.get(f"{i:05d}", False)
    }
    today = found.feed.name if found.feed else dose.product
    return NitrogenAlone(today, tuple(sorted(tried))) if tried and today not in tried else None
