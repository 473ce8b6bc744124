"""Advice from records, those of one trial or of a whole ledger: the same question, the same functions, one answer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from scipy.special import ndtri

from trialkit.advice.choice import Chosen, Prospects, Value, expected_value, grow_now, how_sure, prospects
from trialkit.advice.days_to_harvest import DaysToHarvest, days_to_harvest
from trialkit.advice.gathering import BucketRecords, Gathered, fewer_trials, gather
from trialkit.advice.priors import WEIGHT_G
from trialkit.advice.terms import Points
from trialkit.advice.usable_shares import Shares, count
from trialkit.advice.weights import Weights, rescaled, weigh
from trialkit.analysis.pricing import Prices
from trialkit.documents.decision import (
    Candidate,
    Decision,
    DoseAdvice,
    DosePoint,
    Evidence,
    Gain,
    NoDecision,
    Spread,
    Stood,
    Thresholds,
    TippingPoint,
    Variation,
    Verdict,
)
from trialkit.domain.arrays import BoolArray, FloatArray, IntArray
from trialkit.domain.errors import NotComputed
from trialkit.domain.thresholds import SAME_VALUE_G
from trialkit.domain.treatment import Treatment
from trialkit.protocol.sections import DecisionRule
from trialkit.stats.shares import overdispersion

HALF_SPOON, QUARTER_SPOON, NARROW_TSP = 0.5, 0.25, 3.0
"""Steps of the kitchen's measures, the finer ones where the doses tried lie within so many teaspoons of each other."""
MOST_DOSES = 40
FACTOR_COLUMNS = ["cultivar", "acidifier", "dose"]
OTHER_PRIORS = (0.5, 2.0)
MOST_LEARNT = 24
"""Trials from which standard deviations are learnt; effects come from all. Sixty take four times as long, for gains
that differ by less than a tenth of their standard deviations."""


@dataclass(frozen=True)
class AdviceQuestion:
    """What the records are asked.

    Attributes
    ----------
    practice : Treatment
        What is said now; its levels of the factors that the records have.
    practice_dose : float
        Its strength in the unit of the records; 0 where dose plays no part.
    per_tsp : float
        Strength that a level teaspoon of today's nutrient brings; 1 where strengths are in teaspoons.
    in_nitrogen : bool
        Whether strengths are mg/L of nitrogen.
    rule : DecisionRule
    prices : callable
        From candidates (columns of the factors), and whether the days of all are known, to their prices.
    seasons : tuple of str
        As stated, in order.
    seed : int
    within : tuple of float, optional
        Least and greatest strength that may be recommended, where the records have others too.
    """

    practice: Treatment
    practice_dose: float
    per_tsp: float
    in_nitrogen: bool
    rule: DecisionRule
    prices: Callable[[pd.DataFrame, bool], Prices]
    seasons: tuple[str, ...]
    seed: int
    within: tuple[float, float] | None = None


@dataclass(frozen=True)
class Advice:
    """A decision, and the model that it comes from, for whoever asks more of it."""

    decision: Decision
    asked: Candidacy
    weights: Weights
    shares: Shares
    prospects: Prospects

    def buckets_of(self, treatment: Treatment) -> pd.DataFrame:
        """Buckets planned under a candidate."""
        return self.asked.own[self.asked.treatments.index(treatment)]

    def expected(self, treatment: Treatment) -> tuple[float, float, float, float, float]:
        """What a transplanted head yields: mean, limits on average over gardens and seasons, limits in a new one, g."""
        asked, found = self.asked, self.prospects
        i, confidence = asked.treatments.index(treatment), asked.question.rule.confidence
        tails = [(1 - confidence) / 2, (1 + confidence) / 2]
        lower, upper = np.quantile(found.yields[:, i], tails)
        one = asked.points.take(np.array([i]))
        more = self.weights.elsewhere(one, 0)[0, :, 0] + self.weights.levels_elsewhere
        among = found.share[i] ** 2 * float(self.weights.points.weight @ more)
        half = -float(ndtri(tails[0])) * float(np.sqrt(found.yields[:, i].var() + among))
        mean = float(found.yield_g[i])
        return mean, float(lower), float(upper), max(mean - half, 0.0), mean + half

    def expected_days(self, treatment: Treatment) -> tuple[float, float, float, float, float] | None:
        """Days to harvest, told as `expected` tells the yield; None where they are not known."""
        asked = self.asked
        i, confidence = asked.treatments.index(treatment), asked.question.rule.confidence
        return asked.days.expected(i, confidence) if asked.days else None

    def worth_of_knowing(self) -> dict[Treatment, float]:
        """What it would be worth on average to know whether a candidate is better than the one recommended."""
        draws, chosen = self.prospects.draws, self.asked.treatments.index(self.decision.recommended)
        more = np.maximum(draws - draws[:, [chosen]], 0.0).mean(0)
        # What is already expected of a better one, which a change did not seem worth, is not for knowing.
        more = more - np.maximum(self.prospects.value - self.prospects.value[chosen], 0.0)
        return dict(zip(self.asked.treatments, map(float, more), strict=True))

    def gain_in(self, treatment: Treatment, at: Callable[[Points], Points], garden: int | None = None) -> Gain:
        """Gain of a candidate over the practice in gardens of a kind, or in one that took part in several trials.

        Parameters
        ----------
        treatment : Treatment
        at : callable
            Puts treatments into such a garden.
        garden : int, optional
            Place among the returning gardens.
        """
        asked = self.asked
        pair = np.array([asked.practice, asked.treatments.index(treatment)])
        points = at(asked.points.take(pair))
        where = None if garden is None else np.full(2, garden)
        found = prospects(self.weights, self.shares, points, 0, Value.in_grams(2), asked.question.seed, where)
        return _gain(found, 1, asked.question.rule.confidence)


def advise(records: BucketRecords, question: AdviceQuestion) -> Advice | NoDecision:
    """Advise what to grow.

    Parameters
    ----------
    records : BucketRecords
    question : AdviceQuestion
    """
    found = _weighed_up(records, question)
    return found if isinstance(found, NoDecision) else Advice(_decide(*found), *found)


@dataclass(frozen=True)
class Choice:
    """What to grow, of a decision that is asked for nothing else."""

    treatment: Treatment
    verdict: Verdict
    probability_near_best: float


def choose(records: BucketRecords, question: AdviceQuestion, weights: Weights | None = None) -> Choice | NoDecision:
    """Choose as `advise` does, and leave out what it works out besides.

    Parameters
    ----------
    records : BucketRecords
    question : AdviceQuestion
    weights : Weights, optional
        The model of weights of records that differ from these in their counts of heads alone.
    """
    if not question.rule.delay_cost_per_day:
        records = replace(records, days=None)
    weighed = _weighed_up(records, question, weights)
    if isinstance(weighed, NoDecision):
        return weighed
    asked, _, _, found = weighed
    chosen = _choose(asked, found)
    return Choice(asked.treatments[chosen.at], _verdict(chosen), float(chosen.near_best[chosen.at]))


def _weighed_up(
    records: BucketRecords, question: AdviceQuestion, weights: Weights | None = None
) -> tuple[Candidacy, Weights, Shares, Prospects] | NoDecision:
    """Fit both parts of the model, and foresee every candidate."""
    rows, seen = records.buckets, known_rows(records)
    known = seen.buckets
    if not ((known["usable"] > 0) & known["weight_g"].notna()).any():
        return NoDecision("nothing_usable")
    practice = _is_practice(known, question)
    if not practice.any() and (_is_practice(rows, question).any() or not _is_within(known, question)):
        return NoDecision("no_practice_record")
    if practice.all():
        return NoDecision("one_treatment")
    asked = Candidacy.of(seen, rows, question)
    labelled = treated_alike(known)
    try:
        learnt = asked.learnt
        weights = weights or weigh(asked.gathered, learnt)
        shares = count(asked.gathered, overdispersion(labelled[labelled["recorded"] > 0]), learnt)
    except NotComputed:
        return NoDecision("too_open")
    found = prospects(weights, shares, asked.points, asked.practice, asked.value, question.seed)
    if asked.came_to_nothing[_grown(asked, found.value)]:
        return NoDecision("practice_lost")
    return asked, weights, shares, found


def known_rows(records: BucketRecords) -> BucketRecords:
    """Leave out buckets without a record; stated means stay."""
    rows = records.buckets
    told = rows["recorded"] > 0
    known = rows[told | rows["known_variance"].notna()] if "known_variance" in rows else rows[told]
    return replace(records, buckets=known)


def treated_alike(rows: pd.DataFrame) -> pd.DataFrame:
    """Label buckets by their treatment."""
    return rows.assign(treatment=rows.groupby(FACTOR_COLUMNS, dropna=False).ngroup())


def _is_practice(rows: pd.DataFrame, question: AdviceQuestion) -> pd.Series:
    same = pd.Series(True, index=rows.index)
    for column in ("cultivar", "acidifier"):
        if level := question.practice.level(column):
            same &= rows[column] == level
    if question.practice.dose_tsp is not None and rows["dose"].notna().any():
        same &= _is_dose(rows["dose"], question.practice_dose)
    return same


def _is_dose(doses: pd.Series, dose: float) -> pd.Series:
    return pd.Series(np.isclose(doses, dose, rtol=1e-9, atol=1e-9), index=doses.index)


def _is_within(rows: pd.DataFrame, question: AdviceQuestion) -> bool:
    """Whether a practice that no bucket was planned under is made of levels that have records: the model speaks of it.

    What was recommended last may be a dose between those tried, or a combination of levels that never stood together.
    """
    named = (
        not (level := question.practice.level(column)) or (rows[column] == level).any()
        for column in ("cultivar", "acidifier")
    )
    dose = rows["dose"]
    low, high = dose.min() * (1 - 1e-9), dose.max() * (1 + 1e-9)
    inside = question.practice.dose_tsp is None or dose.isna().all() or low <= question.practice_dose <= high
    return all(named) and bool(inside)


@dataclass(frozen=True)
class Candidacy:
    """Candidates of a question, and the records gathered for it."""

    question: AdviceQuestion
    rows: pd.DataFrame
    records: BucketRecords
    gathered: Gathered
    points: Points
    treatments: tuple[Treatment, ...]
    practice: int

    @property
    def learnt(self) -> Gathered | None:
        """Some of the trials to learn standard deviations from, where there are more than that needs."""
        few = fewer_trials(self.records, MOST_LEARNT)
        return None if few is None else gather(few, self.gathered.terms.doses.tolist())

    @classmethod
    def of(cls, records: BucketRecords, every: pd.DataFrame, question: AdviceQuestion) -> Candidacy:
        """Gather records for a question; `every` has the buckets without a record too."""
        rows = records.buckets
        tried = np.unique(rows["dose"].dropna().to_numpy(float))
        if question.within is not None:
            tried = tried[(tried >= question.within[0]) & (tried <= question.within[1])]
        strengths = _strengths(tried, question)
        gathered = gather(records, strengths)
        levels, terms = gathered.levels, gathered.terms
        doses = strengths if terms.scale else [0.0]
        wanted = question.practice
        # A trial that does not name what today's practice names tells of the rest, and is nothing to recommend.
        cultivars, acidifiers = (
            [one for one in some if one or not named]
            for some, named in ((levels.cultivar, wanted.cultivar), (levels.acidifier, wanted.acidifier))
        )
        of = [(c, a, d) for c in cultivars for a in acidifiers for d in doses]
        points = levels.points([c for c, _, _ in of], [a for _, a, _ in of], np.array([d for _, _, d in of]))
        has_dose = wanted.dose_tsp is not None
        spoons = [wanted.dose_tsp if terms.scale is None else spoons_of(d, question.per_tsp) for _, _, d in of]
        treatments = tuple(
            Treatment(c or None, float(tsp) if has_dose and tsp is not None else None, a or None)
            for (c, a, _), tsp in zip(of, spoons, strict=True)
        )
        practice = next(
            i
            for i, (c, a, d) in enumerate(of)
            if (wanted.cultivar or "", wanted.acidifier or "") == (c, a)
            and (terms.scale is None or np.isclose(d, question.practice_dose, rtol=1e-9, atol=1e-9))
        )
        return cls(question, every, records, gathered, points, treatments, practice)

    @cached_property
    def frame(self) -> pd.DataFrame:
        """Candidates as a table of the factors that play a part."""
        return pd.DataFrame([one.levels for one in self.treatments])

    @cached_property
    def prices(self) -> Prices:
        """Of the candidates."""
        known = self.days is not None and bool(self.days.known.all())
        return self.question.prices(self.frame, known)

    @cached_property
    def days(self) -> DaysToHarvest | None:
        """Days to harvest of the candidates; None where the records tell none, or leave too much open."""
        if self.records.days is None:
            return None
        names, at = self.gathered.levels, self.points
        # Where weights are of one dose only, its strength plays no part in the points.
        only = np.nan_to_num(self.records.buckets["dose"].max())
        dose = at.dose if self.gathered.terms.scale else np.full(len(at), only)
        try:
            return days_to_harvest(
                self.records.days,
                [names.cultivar[i] for i in at.cultivar],
                [names.acidifier[i] for i in at.acidifier],
                dose,
                MOST_LEARNT,
            )
        except NotComputed:
            return None

    @cached_property
    def of_levels(self) -> tuple[tuple[BoolArray, IntArray], ...]:
        """By factor: which buckets planned (rows) have each level (columns), and the level of each candidate."""
        rows, names, at = self.rows, self.gathered.levels, self.points
        found = [
            (np.column_stack([(rows[column] == level).to_numpy() for level in levels]), places)
            for column, levels, places in (
                ("cultivar", names.cultivar, at.cultivar),
                ("acidifier", names.acidifier, at.acidifier),
            )
        ]
        if self.gathered.terms.scale is not None:
            doses, places = np.unique(at.dose, return_inverse=True)
            found.append((np.isclose(rows["dose"].to_numpy(float)[:, None], doses, rtol=1e-9, atol=1e-9), places))
        return tuple(found)

    def _is_own(self, candidate: int) -> BoolArray:
        return np.asarray(np.logical_and.reduce([has[:, places[candidate]] for has, places in self.of_levels]), bool)

    @cached_property
    def own(self) -> tuple[pd.DataFrame, ...]:
        """Buckets planned under each candidate."""
        return tuple(self.rows[self._is_own(i)] for i in range(len(self.points)))

    @cached_property
    def came_to_nothing(self) -> BoolArray:
        """Candidates all of whose records say that no head became marketable, or those of a level of theirs."""
        told = (self.rows["recorded"] > 0).to_numpy()
        came = told & ((self.rows["usable"] > 0) | self.rows["weight_g"].notna()).to_numpy()

        def is_lost(mine: BoolArray) -> bool:
            return bool(told[mine].any()) and not came[mine].any()

        by_level = [np.array([is_lost(mine) for mine in has.T])[places] for has, places in self.of_levels]
        whole = np.array([is_lost(self._is_own(i)) for i in range(len(self.points))])
        return np.asarray(np.logical_or.reduce([whole, *by_level]), bool)

    @cached_property
    def value(self) -> Value:
        """Of the candidates; waiting has a price where the days of all of them are known."""
        wait = self.prices.per_day * self.days.mean if self.days and self.prices.per_day else 0.0
        return Value(self.prices.per_gram, self.prices.cost + wait)


def _strengths(tried: FloatArray, question: AdviceQuestion) -> list[float]:
    """Strengths that could be recommended: those tried, the practice's, and the kitchen's measures between them."""
    if not len(tried):
        return []
    low, high = tried.min() / question.per_tsp, tried.max() / question.per_tsp
    step = HALF_SPOON if high - low > NARROW_TSP else QUARTER_SPOON
    step = (
        max(step, np.ceil((high - low) / MOST_DOSES / HALF_SPOON) * HALF_SPOON)
        if high - low > step * MOST_DOSES
        else step
    )
    between = np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step * question.per_tsp
    known = [*tried.tolist()]
    if tried.min() <= question.practice_dose <= tried.max():
        known.append(question.practice_dose)
    found: list[float] = sorted(set(known))
    found += [float(one) for one in between if not np.isclose(found, one, rtol=1e-6).any()]
    return sorted(found)


def spoons_of(strength: float, per_tsp: float) -> float:
    """Teaspoons of today's nutrient, to a twentieth: no kitchen tells more apart."""
    return round(strength / per_tsp * 20) / 20


def _decide(asked: Candidacy, weights: Weights, shares: Shares, found: Prospects) -> Decision:
    rule = asked.question.rule
    chosen = _choose(asked, found)
    verdict = _verdict(chosen)
    alternative = chosen.at if chosen.changed else _best_other(found, asked)
    shown = [i for i, own in enumerate(asked.own) if len(own) or i in (chosen.at, alternative, asked.practice)]
    later = asked.days.later(alternative, asked.practice, rule.confidence) if asked.days else None
    return Decision(
        verdict=verdict,
        unit=asked.prices.unit,
        current=asked.treatments[asked.practice],
        recommended=asked.treatments[chosen.at],
        alternative=asked.treatments[alternative],
        thresholds=thresholds_of(rule),
        candidates=tuple(_candidate(asked, found, chosen, i) for i in shown),
        evidence=_evidence(asked),
        dose=_dose(asked, found, chosen),
        spreads=tuple(_spreads(weights, rule.confidence)),
        effective_points=weights.points.effective,
        draws=len(found.draws),
        uncounted=asked.prices.uncounted,
        days_later=later[0] if later else None,
        days_later_limits=later[1:] if later else None,
        tipping=tuple(_tipping(asked, found, chosen, alternative)),
        other_priors=tuple(_other_priors(asked, weights, shares, chosen)),
    )


def _grown(asked: Candidacy, value: FloatArray) -> int:
    """Place of what to grow now: no change is made to what came to nothing, however little there was of it."""
    rule, per_gram = asked.question.rule, asked.prices.per_gram
    others = np.arange(len(value)) != asked.practice
    value = np.where(others & asked.came_to_nothing, -np.inf, value)
    cost, same = rule.change_cost_g * per_gram, SAME_VALUE_G * per_gram
    return int(grow_now(value, asked.practice, asked.points.but_for_dose, asked.points.dose, cost, same))


def _choose(asked: Candidacy, found: Prospects) -> Chosen:
    rule = asked.question.rule
    margin = rule.margin_g * asked.prices.per_gram
    return how_sure(found, _grown(asked, found.value), margin, rule.adopt_probability)


def _verdict(chosen: Chosen) -> Verdict:
    if chosen.changed:
        return Verdict.CHANGE if chosen.settled else Verdict.CHANGE_AND_TEST
    return Verdict.KEEP if chosen.settled else Verdict.KEEP_AND_TEST


def _best_other(found: Prospects, asked: Candidacy) -> int:
    """The best of those that are not the practice; a dose next to it, or what was lost, only where nothing else is."""
    others = np.arange(len(found.value)) != asked.practice
    stood = others & np.array([len(own) > 0 for own in asked.own])
    came = next(some for some in (stood & ~asked.came_to_nothing, stood, others) if some.any())
    return int(np.where(came, found.value, -np.inf).argmax())


def thresholds_of(rule: DecisionRule) -> Thresholds:
    """Thresholds of a protocol's section on the decision."""
    return Thresholds(
        margin_g=rule.margin_g,
        change_cost_g=rule.change_cost_g,
        adopt_probability=rule.adopt_probability,
        confidence=rule.confidence,
        price_per_kg=rule.price_per_kg,
        cost_per_bucket=rule.cost_per_bucket,
        delay_cost_per_day=rule.delay_cost_per_day,
    )


def _candidate(asked: Candidacy, found: Prospects, chosen: Chosen, i: int) -> Candidate:
    own, current = asked.own[i], i == asked.practice
    seen = own[own["recorded"] > 0]
    planned = float(own["planned"].sum())
    return Candidate(
        treatment=asked.treatments[i],
        n_mg_l=float(asked.points.dose[i]) if asked.question.in_nitrogen and asked.gathered.terms.scale else None,
        stood=Stood(len(seen), seen["site"].nunique(), seen["trial"].nunique()),
        raw_yield_g=_raw_yield(own),
        yield_g=float(found.yield_g[i]),
        weight_g=float(found.weight_g[i]),
        share_usable=float(found.share[i]),
        share_unrecorded=1 - float(own["recorded"].sum()) / planned if planned else 0.0,
        expected_value=float(found.value[i]),
        gain=None if current else _gain(found, i, asked.question.rule.confidence),
        probability_better=None if current else float(found.better_here[i]),
        probability_near_best=float(chosen.near_best[i]),
        expected_loss=float(chosen.regret[i]),
        is_current=current,
        is_recommended=i == chosen.at,
        days=float(asked.days.mean[i]) if asked.days and asked.days.known[i] else None,
    )


def planted_yields(own: pd.DataFrame) -> pd.Series:
    """What a transplanted head gave in each bucket that has a record, lost ones counting as nothing, g."""
    seen = own[(own["recorded"] > 0) & (own["weight_g"].notna() | (own["usable"] == 0))]
    return seen["weight_g"].fillna(0.0) * seen["usable"] / seen["recorded"]


def _raw_yield(own: pd.DataFrame) -> float | None:
    """Mean over buckets as recorded; None without any."""
    yields = planted_yields(own)
    return float(yields.mean()) if len(yields) else None


def _gain(found: Prospects, i: int, confidence: float) -> Gain:
    """Gain in grams of yield, with limits from the draws of it."""
    tails = [(1 - confidence) / 2, (1 + confidence) / 2]
    lower, upper = np.quantile(found.yield_gains(i), tails)
    return Gain(float(found.yield_g[i] - found.yield_g[found.practice]), float(lower), float(upper))


def _evidence(asked: Candidacy) -> Evidence:
    seen = asked.rows[asked.rows["recorded"] > 0]
    usable = seen.groupby(["trial", "site"], sort=True)["usable"].sum()
    return Evidence(
        buckets=len(seen),
        gardens=seen["site"].nunique(),
        trials=seen["trial"].nunique(),
        seasons=asked.question.seasons,
        failed_gardens=tuple(dict.fromkeys(str(site) for (_, site), n in usable.items() if n == 0)),
    )


def _dose(asked: Candidacy, found: Prospects, chosen: Chosen) -> DoseAdvice | None:
    """The curve through the recommended cultivar and acid."""
    if asked.gathered.terms.scale is None:
        return None
    points, rule = asked.points, asked.question.rule
    mine = [
        i
        for i in range(len(points))
        if (points.cultivar[i], points.acidifier[i]) == (points.cultivar[chosen.at], points.acidifier[chosen.at])
    ]
    mine.sort(key=lambda i: points.dose[i])
    best = found.value[mine].max()
    good = [i for i in mine if found.value[i] >= best - SAME_VALUE_G * asked.prices.per_gram]
    tails = [(1 - rule.confidence) / 2, (1 + rule.confidence) / 2]
    limits = np.quantile(found.yields[:, mine], tails, axis=0)
    best_from, best_to = np.quantile(found.draws[:, mine].argmax(1), tails, method="inverted_cdf")
    return DoseAdvice(
        points=tuple(
            DosePoint(
                dose_tsp=float(asked.treatments[i].dose_tsp or 0.0),
                n_mg_l=float(points.dose[i]) if asked.question.in_nitrogen else None,
                yield_g=float(found.yield_g[i]),
                lower=float(low),
                upper=float(high),
                value=float(found.value[i]),
                raw_yield_g=_raw_yield(asked.own[i]),
                buckets=int((asked.own[i]["recorded"] > 0).sum()),
            )
            for i, low, high in zip(mine, *limits, strict=True)
        ),
        good_from_tsp=float(asked.treatments[good[0]].dose_tsp or 0.0),
        good_to_tsp=float(asked.treatments[good[-1]].dose_tsp or 0.0),
        best_from_tsp=float(asked.treatments[mine[best_from]].dose_tsp or 0.0),
        best_to_tsp=float(asked.treatments[mine[best_to]].dose_tsp or 0.0),
        at_edge=chosen.at == mine[-1],
    )


def _spreads(weights: Weights, confidence: float) -> Iterator[Spread]:
    order, pi = (1 - confidence) / 2, weights.points.weight
    for name in weights.model.names:
        if name == "lasting":
            continue
        sd = weights.sd[name]
        rank = np.argsort(sd)
        reached = np.cumsum(pi[rank])
        low, high = sd[rank][np.minimum(np.searchsorted(reached, [order, 1 - order]), len(rank) - 1)]
        yield Spread(_variation(name), float(pi @ sd), float(low), float(high))


def _variation(name: str) -> Variation:
    return name  # type: ignore[return-value]  # the names of the priors are those of the document (a test holds them)


def _tipping(asked: Candidacy, found: Prospects, chosen: Chosen, alternative: int) -> Iterator[TippingPoint]:
    """What would have to be true of heads without a record, treatment by treatment, for the choice to turn."""
    other = asked.practice if chosen.changed else alternative
    need = asked.question.rule.change_cost_g * asked.prices.per_gram
    lead = found.value[chosen.at] - found.value[other] + (-need if chosen.changed else need)
    for i, towards in ((chosen.at, -1.0), (other, 1.0)):
        own = asked.own[i]
        heads, missing = float(own["planned"].sum()), float((own["planned"] - own["recorded"]).sum())
        if missing <= 0:
            continue
        # A head without a record counts as is expected of all; to turn, it must do so much worse or better.
        per_share = found.weight_g[i] * asked.prices.per_gram * missing / heads
        turns = found.share[i] + towards * lead / per_share
        recorded = float(own["recorded"].sum())
        seen = float(own["usable"].sum()) / recorded if recorded else float(found.share[i])
        yield TippingPoint(asked.treatments[i], int(missing), seen, float(turns) if 0 <= turns <= 1 else None)


def _other_priors(asked: Candidacy, weights: Weights, shares: Shares, chosen: Chosen) -> Iterator[Treatment]:
    """What would follow with every prior half or twice as wide, where it is another treatment."""
    for times in OTHER_PRIORS:
        other = rescaled(weights, {name: scale * times for name, scale in WEIGHT_G.items()})
        value = expected_value(other, shares, asked.points, asked.value)
        at = _grown(asked, value)
        if not is_near(asked.treatments[at], asked.treatments[chosen.at]):
            yield asked.treatments[at]


def is_near(one: Treatment, other: Treatment) -> bool:
    """Whether two treatments are one, or doses of one next to each other on the kitchen's measures."""
    if (one.cultivar, one.acidifier) != (other.cultivar, other.acidifier):
        return False
    if one.dose_tsp is None or other.dose_tsp is None:
        return one.dose_tsp == other.dose_tsp
    return abs(one.dose_tsp - other.dose_tsp) <= HALF_SPOON + 1e-9
