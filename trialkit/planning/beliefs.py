"""What is thought of treatments before a trial: common practice and the protocol, or the trials of a ledger."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import ndtri

from trialkit.advice.choice import Value
from trialkit.advice.elimination import Effects
from trialkit.advice.gathering import BucketRecords, Gathered, fewer_trials, gather
from trialkit.advice.integration import Integrated, half_normal
from trialkit.advice.priors import PLANNED_G, PLANNED_LOGIT, SHARE_LOGIT, WEIGHT_G
from trialkit.advice.sample_information import Beliefs, DecisionCosts, PartBefore
from trialkit.advice.usable_shares import ShareModel, Shares, count
from trialkit.advice.weights import LASTING, WeightModel, Weights, weigh
from trialkit.analysis.advising import MOST_LEARNT, AdviceQuestion, Candidacy
from trialkit.domain.arrays import FloatArray, IntArray
from trialkit.domain.thresholds import SAME_VALUE_G
from trialkit.planning.assumptions import Assumptions
from trialkit.protocol.trial_protocol import Protocol
from trialkit.rules.trial_folder import CheckedTrial

POINTS, FEW_POINTS, SEED, STREAM = 16, 4, 11, 21
"""Of the standard deviations; where so many trials are known that few of these are left open."""
USUAL_WEIGHT_G, LEVEL_SD_G, LEVEL_SD_LOGIT = 150.0, 50.0, 0.5
"""A usable head, how well common practice knows heads on the whole, g, and the logit of the share that are usable (some
80 to 95 in 100; common practice, no source)."""
USUAL_DESIGN_EFFECT = 1.5
"""By how much heads of a bucket, which fare alike, count for less than if they did not (common practice, no source)."""
USUAL_RANGE_TSP = 6.0
"""Of doses tried, over which a plan's standard deviations of slope and curve are told; a narrower one differs less."""
ENDS_APART = WEIGHT_G["garden_dose"] / WEIGHT_G["garden_cultivar"]
"""Standard deviation of a slope whose ends are as far apart as two levels of that standard deviation."""
PLANNED = "~planned"
"""Name of the planned trial among those of a ledger, after all of them."""


@dataclass(frozen=True)
class Known:
    """Records of earlier trials, on the scale of the planned one's doses.

    Attributes
    ----------
    records : BucketRecords
    design_effect : float
        Of their heads.
    fitted : tuple of Weights and Shares, optional
        What advice has made of these very records; they are fitted where it is not given.
    """

    records: BucketRecords
    design_effect: float
    fitted: tuple[Weights, Shares] | None = None


@dataclass(frozen=True)
class Outlook:
    """What is thought before a trial, and what it needs to be put beside a layout.

    Attributes
    ----------
    candidacy : Candidacy
        What could be recommended after it.
    beliefs : Beliefs
    costs : DecisionCosts
    head_variance : float
        Between heads of a bucket, g squared.
    design_effect : float
    """

    candidacy: Candidacy
    beliefs: Beliefs
    costs: DecisionCosts
    head_variance: float
    design_effect: float

    def gathered(self, layout: pd.DataFrame, heads: int) -> Gathered:
        """Buckets of a layout as they are expected to be recorded."""
        usable = heads * float(self.beliefs.share.mean())
        rows = planned_rows(layout, self.candidacy.question).assign(recorded=float(heads), usable=usable, weight_g=0.0)
        return gather(BucketRecords(rows, _gardens(rows), self.head_variance), like=self.beliefs.base)


def outlook(
    trial: CheckedTrial,
    question: AdviceQuestion,
    treatments: pd.DataFrame,
    assumptions: Assumptions,
    known: Known | None = None,
) -> Outlook:
    """Put together what is thought before a trial.

    Parameters
    ----------
    trial : CheckedTrial
        Read as far as its plan.
    question : AdviceQuestion
        As from `trialkit.analysis.bucket_records.question_of`.
    treatments : pandas.DataFrame
        Columns of the treatment factors: every treatment that a design may have.
    assumptions : Assumptions
        Variances where no earlier trial tells them.
    known : Known, optional
        Records of earlier trials.
    """
    records, candidacy = _candidacy(trial, question, treatments, assumptions, known)
    if known is None:
        thought = _by_common_practice(candidacy, assumptions, trial.protocol)
    else:
        thought = _by_ledger(known, candidacy)
    rule, per_gram = question.rule, candidacy.prices.per_gram
    return Outlook(
        candidacy,
        Beliefs(
            candidacy.gathered,
            thought.sd,
            thought.weights,
            thought.logits,
            thought.shares,
            candidacy.points,
            candidacy.practice,
            Value(per_gram, candidacy.prices.cost),
        ),
        DecisionCosts(
            change=rule.change_cost_g * per_gram,
            same=SAME_VALUE_G * per_gram,
            margin=rule.margin_g * per_gram,
            sure=rule.adopt_probability,
            confidence=rule.confidence,
        ),
        records.head_variance,
        known.design_effect if known else USUAL_DESIGN_EFFECT,
    )


def with_fit(
    trial: CheckedTrial, question: AdviceQuestion, treatments: pd.DataFrame, assumptions: Assumptions, known: Known
) -> Known:
    """Fit records of earlier trials once, for any number of gardens, blocks and heads that a trial may have.

    Arguments are those of `outlook`.
    """
    candidacy = _candidacy(trial, question, treatments, assumptions, known)[1]
    return replace(known, fitted=_fitted(known, candidacy.gathered.terms.doses.tolist()))


def _candidacy(
    trial: CheckedTrial,
    question: AdviceQuestion,
    treatments: pd.DataFrame,
    assumptions: Assumptions,
    known: Known | None,
) -> tuple[BucketRecords, Candidacy]:
    """Put the treatments of a trial, in its gardens and without records, beside what is known."""
    sites = pd.DataFrame({"site": sorted(str(site) for site in trial.sites["site"])})
    blank = planned_rows(treatments.merge(sites, how="cross").assign(bucket=""), question)
    blank = blank.assign(recorded=0, usable=0.0, weight_g=np.nan, planned=0)
    if known is None:
        records = BucketRecords(blank, _gardens(blank), assumptions.head)
    else:
        rows = pd.concat([known.records.buckets, blank], ignore_index=True)
        gardens = pd.concat([known.records.gardens, _gardens(blank)], ignore_index=True)
        records = BucketRecords(rows, gardens, known.records.head_variance or assumptions.head)
    return records, Candidacy.of(records, records.buckets, question)


@dataclass(frozen=True)
class _Thought:
    """The parts of beliefs that come from where these are taken."""

    sd: Mapping[str, FloatArray]
    weights: PartBefore
    logits: PartBefore
    shares: Shares


def _by_common_practice(candidacy: Candidacy, assumptions: Assumptions, protocol: Protocol) -> _Thought:
    """Standard deviations by the assumptions or, where one trial tells little of them, by the priors."""
    base = candidacy.gathered
    level = np.array([name == "level" for name in base.effects])
    sd = {**_by_priors(POINTS), **_assumed(assumptions, protocol)}
    planned = {**sd, **{name: np.full(POINTS, size) for name, size in PLANNED_G.items() if name != "slope"}}
    narrower = _narrower(candidacy) ** -2.0
    as_planned = WeightModel(base, WEIGHT_G, PLANNED_G["slope"]).floors(planned).precision * narrower
    analysed, thought = (
        np.where(level, LEVEL_SD_G**-2, one) for one in (WeightModel(base, WEIGHT_G).floors(sd).precision, as_planned)
    )
    weights = _part(np.tile(level * USUAL_WEIGHT_G, (POINTS, 1)), thought, analysed)

    model = ShareModel(base, USUAL_DESIGN_EFFECT, SHARE_LOGIT)
    scores = _scores(POINTS, len(SHARE_LOGIT), STREAM + 1)
    of_analysis = model.sd(scores)
    of_plan = of_analysis.copy()
    of_plan[:, list(SHARE_LOGIT).index("treatment")] = PLANNED_LOGIT
    floors = model.floors(of_plan)
    analysed, thought = (
        np.where(level, LEVEL_SD_LOGIT**-2, one)
        for one in (model.floors(of_analysis).precision, floors.precision * narrower)
    )
    logits = _part(np.tile(floors.centre, (POINTS, 1)), thought, analysed)
    told = Effects(logits.mean, np.asarray(np.linalg.cholesky(logits.thought), float), np.zeros(POINTS))
    return _Thought(planned, weights, logits, Shares(model, _points(scores), of_plan, told))


def _narrower(candidacy: Candidacy) -> FloatArray:
    """By how much less effects are planned to differ where the range of doses is narrower than usual, shape (p,)."""
    base, per_tsp = candidacy.gathered, candidacy.question.per_tsp
    scale = base.terms.scale
    width = min((scale.high - scale.low) / per_tsp / USUAL_RANGE_TSP, 1.0) if scale else 1.0
    # What bends goes with the square of the width.
    return np.array([{"slope": width, "curve": width**2}.get(name, 1.0) for name in base.effects])


def _part(mean: FloatArray, thought: FloatArray, analysed: FloatArray) -> PartBefore:
    """Effects that are independent, by their precisions, shape (m, p)."""
    one = np.eye(mean.shape[1])
    return PartBefore(mean, thought[:, None, :] * one, analysed[:, None, :] * one)


def _by_ledger(known: Known, candidacy: Candidacy) -> _Thought:
    """Standard deviations and effects as earlier trials tell them; what they do not tell by the priors."""
    base = candidacy.gathered
    weights, of_shares = known.fitted or _fitted(known, base.terms.doses.tolist())
    m = POINTS if known.records.buckets["trial"].nunique() <= MOST_LEARNT else FEW_POINTS
    drawn = _equally_likely(weights.points.weight, m)
    sd = {**_by_priors(m), **{name: values[drawn] for name, values in weights.sd.items()}}
    of_weights = WeightModel(base, WEIGHT_G).effects_given(sd)
    share_model = ShareModel(base, known.design_effect, SHARE_LOGIT)
    at = of_shares.points.at[_equally_likely(of_shares.points.weight, m)]
    shares = Shares(share_model, _points(at), share_model.sd(at), share_model.effects(at))
    return _Thought(sd, _known_part(of_weights), _known_part(shares.effects), shares)


def _fitted(known: Known, doses: list[float]) -> tuple[Weights, Shares]:
    own, some = gather(known.records, doses), fewer_trials(known.records, MOST_LEARNT)
    learnt = gather(some, doses) if some else None
    return weigh(own, learnt), count(own, known.design_effect, learnt)


def _known_part(effects: Effects) -> PartBefore:
    """Effects of which the analysis will know what is known now: the same records are in it."""
    precision = effects.factor @ effects.factor.swapaxes(1, 2)
    return PartBefore(effects.mean, precision, precision)


def _points(at: FloatArray) -> Integrated:
    m, d = at.shape
    return Integrated(at, np.full(m, 1 / m), float(m), np.zeros(d))


def _equally_likely(weight: FloatArray, m: int) -> IntArray:
    """Places of m equally likely points, so many from each as its weight says."""
    places = np.searchsorted(np.cumsum(weight), (np.arange(m) + 0.5) / m)
    return np.minimum(places, len(weight) - 1)


def _by_priors(m: int) -> dict[str, FloatArray]:
    """Standard deviations as they are thought before any record, g, each of shape (m,)."""
    scores = _scores(m, len(WEIGHT_G), STREAM)
    known = {name: half_normal(score, WEIGHT_G[name]) for name, score in zip(WEIGHT_G, scores.T, strict=True)}
    return {**known, LASTING: np.full(m, 0.5)}


def _scores(m: int, d: int, stream: int) -> FloatArray:
    """Standard normal scores, shape (m, d), one in each of m equally likely strata of every column.

    A Latin hypercube (McKay, Beckman & Conover 1979, Technometrics 21, 239-245): few points for so many columns.
    """
    generator = np.random.Generator(np.random.PCG64([SEED, stream]))
    stratum = generator.permuted(np.broadcast_to(np.arange(m)[:, None], (m, d)), axis=0)
    return np.asarray(ndtri((stratum + generator.random((m, d))) / m))


def _assumed(assumptions: Assumptions, protocol: Protocol) -> Mapping[str, FloatArray]:
    """Standard deviations that even one trial tells well, and those that the protocol or an earlier trial states."""
    known = {"bucket": assumptions.bucket, "block": assumptions.block, "whole_plot": assumptions.whole_plot}
    factors = {"cultivar": "cultivar", "dose_tsp": "dose", "acidifier": "acidifier"}
    for column, name in factors.items():
        stated = assumptions.named.get(f"site:{column}")
        if stated is None and protocol.variation.site_by_factor_sd_g is not None:
            stated = assumptions.site_by_factor
        if stated is not None:
            # Levels of a factor differ so much; of doses it is the slope that does, whose ends then lie as far apart.
            known[f"garden_{name}"] = stated * (ENDS_APART**2 if name == "dose" else 1.0)
    return {name: np.full(POINTS, max(variance, 1e-6) ** 0.5) for name, variance in known.items()}


def planned_rows(layout: pd.DataFrame, question: AdviceQuestion) -> pd.DataFrame:
    """Buckets of a planned layout as the model knows them, without records."""
    places = [layout[name].astype(str) for name in ("block", "volunteer") if name in layout]
    none = pd.Series("", index=layout.index)

    def level(column: str) -> pd.Series:
        return layout[column].astype(str) if question.practice.level(column) else none

    has_dose = question.practice.dose_tsp is not None
    return pd.DataFrame(
        {
            "trial": PLANNED,
            "site": layout["site"].astype(str),
            "block": sum(places[1:], start=places[0]) if places else "",
            "whole_plot": layout["whole_plot"].astype(str) if "whole_plot" in layout else "",
            "cultivar": level("cultivar"),
            "acidifier": level("acidifier"),
            "dose": (layout["dose_tsp"].astype(float) * question.per_tsp).round(3) if has_dose else np.nan,
        },
        index=layout.index,
    )


def _gardens(rows: pd.DataFrame) -> pd.DataFrame:
    known = rows[["trial", "site"]].drop_duplicates()
    return known.assign(alkalinity=np.nan, sun_hours=np.nan, kind=None)
