"""From a ledger to recommended defaults: the answer of all its trials, with what goes with it and what it rests on."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Literal

import numpy as np
from scipy.special import stdtrit

from trialkit.advice.records import ALKALINITY_STEP, SUN_STEP, USUAL_ALKALINITY, USUAL_SUN, Records
from trialkit.advice.terms import Points
from trialkit.analysis.advising import Advice, advise, planted_yields
from trialkit.documents.decision import NoDecision
from trialkit.documents.ledger_entry import EntrySite
from trialkit.documents.recommended import (
    AcidForClass,
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
from trialkit.domain.thresholds import FEWEST_RANDOM_LEVELS
from trialkit.domain.treatment import Treatment
from trialkit.evidence.ledger_contents import LedgerContents, evidence_digest
from trialkit.evidence.pooling import pooled_records, question_of
from trialkit.rules.mixings import acid_product
from trialkit.rules.trial_folder import read_trial
from trialkit.solution.mixing import ALKALINITY_CLASSES, TARGET_PH, acid_by_class
from trialkit.stats.meta import combine

SUNS = (("little sun", 0.0, 5.0), ("some sun", 5.0, 7.0), ("much sun", 7.0, math.inf))
"""Hours of direct sun a day, from and up to (common practice, no source)."""
VERY_HARD = 300.0
"""Alkalinity that the open class stands for, mg/L as calcium carbonate."""
NO_ANSWER = {
    "nothing_usable": "No head of any trial in the ledger became marketable.",
    "no_practice_record": (
        "No trial of this ledger tried the current practice, so nothing can be set beside it. Add the trial that did, "
        "or withdraw the newest if its practice is not the county's (trialkit evidence withdraw)."
    ),
    "one_treatment": "The trials of this ledger tried nothing besides the current practice.",
    "too_open": "The trials leave the sizes of variation too open for an answer.",
}


def recommend(
    found: LedgerContents, previous: Recommended | None, current: Recommended | None, version: str
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

    Raises
    ------
    NotComputed
        If the current practice was never tried, or nothing besides it.
    """
    records = pooled_records(found)
    advice = advise(records, question_of(found, current))
    if isinstance(advice, NoDecision):
        raise NotComputed(NO_ANSWER[advice.code])
    decision = advice.decision
    chosen, practice = decision.chosen, decision.candidate(decision.current)
    evidence = tuple(_evidence(found, advice))
    return Recommended(
        schema="trialkit-recommended-3",
        version=1 if previous is None else previous.version + 1,
        date=max(max(one.added_on, one.withdrawn_on or "") for one in found.index),
        evidence_sha256=evidence_digest(found.index),
        made_with={"trialkit": version},
        recommended=found.practice(chosen.treatment, chosen.n_mg_l),
        current=found.practice(practice.treatment, practice.n_mg_l),
        yield_g=_expected_yield(advice),
        days=_expected_days(found, chosen.treatment),
        acid=acid_for_classes(found, chosen.treatment),
        by_garden=tuple(_by_garden(found, advice)),
        evidence=evidence,
        decision=decision,
        change=None if previous is None else _change(evidence, previous),
        next_trial=_next_trial(advice),
        nitrogen_alone=_nitrogen_alone(found, records),
    )


def _evidence(found: LedgerContents, advice: Advice) -> Iterator[EvidenceTrial]:
    for entry in (*found.summaries, *found.entries):
        one = entry.listed
        gain = se = None
        if one.kind == "trial":
            gain, se = _raw_gain(advice, f"{found.entries.index(entry):05d}")
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


def _raw_gain(advice: Advice, trial: str) -> tuple[float | None, float | None]:
    """Difference of the alternative's and the practice's buckets in a trial as recorded, and its standard error."""
    decision = advice.decision
    pair = [advice.buckets_of(one) for one in (decision.alternative, decision.current)]
    yields = [planted_yields(own[own["trial"] == trial]) for own in pair]
    if min(map(len, yields)) == 0:
        return None, None
    gain = float(yields[0].mean() - yields[1].mean())
    if min(map(len, yields)) < 2:
        return gain, None
    return gain, float(math.sqrt(sum(one.var() / len(one) for one in yields)))


def _expected_yield(advice: Advice) -> Expected:
    """What a transplanted head yields, on average over gardens and seasons and in a new one."""
    return Expected(*advice.expected(advice.decision.recommended))


def _expected_days(found: LedgerContents, chosen: Treatment) -> Expected | None:
    """Days to harvest of a treatment: each trial's mean of the nearest that it tried, combined."""
    means, variances, df = [], [], math.inf
    for entry in found.entries:
        own = [one for one in entry.of_trial.days if one.se > 0 and _is_like(one.treatment, chosen)]
        if own:
            one = min(own, key=lambda day: abs((day.dose_tsp or 0.0) - (chosen.dose_tsp or 0.0)))
            means.append(one.mean)
            variances.append(one.se**2)
            df = min(df, one.df)
    if not means:
        return None
    confidence = found.confidence
    if len(means) == 1:
        half = float(stdtrit(df, (1 + confidence) / 2)) * float(np.sqrt(variances[0]))
        return Expected(means[0], means[0] - half, means[0] + half, None, None)
    enough = len(means) >= FEWEST_RANDOM_LEVELS
    combined = combine(np.array(means), np.array(variances), between=enough)
    lower, upper = combined.interval(confidence) if enough else combined.common(df, confidence)
    new = combined.prediction(confidence)
    return Expected(float(combined.estimates[0]), lower, upper, *(new or (None, None)))


def _is_like(one: Treatment, other: Treatment) -> bool:
    """Whether two share cultivar and acid, as far as both tell."""
    pairs = ((one.cultivar, other.cultivar), (one.acidifier, other.acidifier))
    return all(mine is None or its is None or mine == its for mine, its in pairs)


def acid_for_classes(found: LedgerContents, chosen: Treatment) -> tuple[AcidForClass, ...]:
    """Acid of the recommended practice by class of water."""
    protocol, product = found.latest.protocol, None
    for entry in reversed(found.entries):  # the newest shelf that has it
        newest = entry is found.entries[-1]
        shelf = found.latest if newest else read_trial(entry.folder, stage="plan")
        product = acid_product(shelf.products, str(chosen.acidifier))
        if product is not None:
            break
    if product is None:
        return ()
    waters = {
        (one.site, one.alkalinity_mg_l_caco3)
        for entry in found.entries
        for one in entry.of_trial.sites
        if one.alkalinity_mg_l_caco3 is not None
    }
    rows = acid_by_class(
        protocol.bucket.volume_l,
        product,
        TARGET_PH,
        product=found.nutrient,
        nutrient_tsp=chosen.dose_tsp or 0.0,
    )
    return tuple(
        AcidForClass(
            one.name,
            one.lower,
            one.upper,
            one.acid.tsp,
            one.acid.solution_tsp,
            one.step.tsp if one.step else None,
            one.ph_at_lower,
            one.ph_at_upper,
            sum(one.lower <= alkalinity < (math.inf if one is rows[-1] else one.upper) for _, alkalinity in waters),
        )
        for one in rows
    )


def _by_garden(found: LedgerContents, advice: Advice) -> Iterator[GardenGain]:
    """Gain of the alternative by what gardens are like, and in those that came back."""
    terms, levels = advice.asked.gathered.terms, advice.asked.gathered.levels
    sites = [one for entry in found.entries for one in entry.of_trial.sites]
    had = {str(site) for site in advice.buckets_of(advice.decision.alternative)["site"]}

    def told(
        of: Literal["water", "kind", "sun", "garden"],
        name: str,
        like: Callable[[EntrySite], bool],
        at: Callable[[Points], Points],
        garden: int | None = None,
    ) -> GardenGain:
        mine = {one.site for one in sites if like(one)}
        return GardenGain(
            of, name, len(mine), bool(mine & had), advice.gain_in(advice.decision.alternative, at, garden)
        )

    if terms.water:
        for name, low, high in ALKALINITY_CLASSES:
            middle = (low + high) / 2 if math.isfinite(high) else VERY_HARD
            yield told(
                "water", name, _between("alkalinity_mg_l_caco3", low, high),
                _at(water=(middle - USUAL_ALKALINITY) / ALKALINITY_STEP),
            )  # fmt: skip
    if terms.sun:
        for name, low, high in SUNS:
            middle = (low + min(high, 9.0)) / 2
            yield told("sun", name, _between("sun_hours", low, high), _at(sun=(middle - USUAL_SUN) / SUN_STEP))
    if terms.kinds > 1:
        for i, name in enumerate(levels.kind):
            yield told("kind", name, lambda one, kind=name: one.kind == kind, _at(kind=i))  # type: ignore[misc]
    for i, name in enumerate(advice.asked.gathered.returning):
        yield told("garden", name, lambda one, site=name: one.site == site, _at(), i)  # type: ignore[misc]


def _between(field: str, low: float, high: float) -> Callable[[EntrySite], bool]:
    def like(one: EntrySite) -> bool:
        value = getattr(one, field)
        return value is not None and low <= value < high

    return like


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


def _next_trial(advice: Advice) -> ProposedTrial:
    """The rival of which it is worth most to know whether it is better than what is recommended."""
    decision = advice.decision
    worth = advice.worth_of_knowing()
    others = [one.treatment for one in decision.candidates if not one.is_recommended]
    rival = max(others, key=lambda one: worth[one])
    return ProposedTrial(recommended=decision.recommended, rival=rival, worth_g=worth[rival])


def _nitrogen_alone(found: LedgerContents, records: Records) -> NitrogenAlone | None:
    """Products that doses were tried with, where today's is none of them."""
    dose = found.latest.protocol.factors.get("dose")
    today = dose.product if dose else None
    products = {str(entry.of_trial.product) for entry in found.entries if entry.of_trial.product}
    if not today or records.buckets["dose"].isna().all() or today in products:
        return None
    return NitrogenAlone(today, tuple(sorted(products)))
