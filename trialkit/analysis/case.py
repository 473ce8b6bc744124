"""What a trial puts before the decision: candidates, their draws, what they cost, how far the evidence reaches."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import pandas as pd

from trialkit.analysis.checks import from_power, to_power
from trialkit.analysis.decision import CandidateField, judge, simultaneous_limits, thresholds_of
from trialkit.analysis.draws import MeanDraws, draw_means
from trialkit.analysis.fitting import fit_response
from trialkit.analysis.influence import Case, influence
from trialkit.analysis.losses import WORRYING_DIFFERENCE
from trialkit.analysis.recorded_responses import YIELD
from trialkit.analysis.response import Answered
from trialkit.analysis.worth import worth
from trialkit.documents.findings import Caution, Choice, Comparison, Decision, Evidence, Influence, Losses, NoDecision
from trialkit.domain.rounding import ROUNDING
from trialkit.domain.thresholds import FEWEST_DF
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit, MixedModelError
from trialkit.rules.trial_folder import Trial

# Streams of the protocol's seed; the layout is stream 0, an example's records stream 2.
YIELD_STREAM, DAYS_STREAM, DOSE_STREAM, RIPENING_STREAM, CHECKS_STREAM = 1, 3, 4, 5, 6


def decide(
    trial: Trial,
    treatments: pd.DataFrame,
    answers: Mapping[str, Answered],
    losses: Losses,
    without: Callable[[str], Answered],
) -> Decision | NoDecision:
    """Judge the candidates that have records, or say why none can be judged.

    Parameters
    ----------
    trial : Trial
    treatments : pandas.DataFrame
        Combinations by joint label.
    answers : mapping of str to Answered
        Of ``bucket_weight_g`` and ``days``.
    losses : Losses
    without : callable
        Yields analysed without the bucket named.
    """
    judged = _judged(trial, treatments, answers, losses)
    if isinstance(judged, NoDecision):
        return judged
    decision, case = judged

    def again(bucket: str) -> Choice | None:
        found = _judged(trial, treatments, {**answers, YIELD: without(bucket)}, losses)
        return None if isinstance(found, NoDecision) else found[0].choice

    other = _on_better_scale(trial, answers, case)
    if other is None or other.choice == decision.choice:
        found = influence(case, decision, again)
        return replace(decision, influence=found, cautions=tuple(_cautions(losses, answers[YIELD], found)))
    # What single buckets do is worked out in grams, and would speak of a decision that was not taken.
    cautions = ("in_grams", *_cautions(losses, answers[YIELD], None))
    return replace(other, in_grams=decision.choice, cautions=cautions)


CAUTIONED: tuple[Caution, ...] = ("missing", "residuals", "shape", "spread", "outlier")
"""Checks of the yields that, where they fail, are said beside the answer."""


def _cautions(losses: Losses, yields: Answered, found: Influence | None) -> Iterator[Caution]:
    """What is said beside the answer: whatever could well turn it."""
    if losses.go_with_the_treatment:
        yield "losses"
    if found is not None and not found.ok:
        yield "influence"
    failed = [check.id for check in yields.result.checks if not check.ok]
    yield from (one for name in failed for one in CAUTIONED if one == name)


def _on_better_scale(trial: Trial, answers: Mapping[str, Answered], case: Case) -> Decision | None:
    """Judge on the scale of the yields that fits better, where there is one; means are brought back to grams."""
    yields = answers[YIELD]
    diagnostics = yields.result.diagnostics
    scale = diagnostics.scale if diagnostics else None
    if scale is None or scale.chosen == 1 or yields.model is None:
        return None
    rows = case.rows.assign(**{YIELD: to_power(case.rows[YIELD].to_numpy(float), scale.chosen)})
    try:
        fits = fit_response(YIELD, rows, yields.model)
        table = fits.joint.compare("treatment", "versus", case.labels[case.field.current])
    except MixedModelError:
        return None
    df = float(table["df"].min())
    if df < FEWEST_DF - ROUNDING:
        return None
    candidates = pd.DataFrame([one.levels for one in case.field.treatments], index=list(case.labels))
    drawn = draw_means(fits.joint, candidates, df, trial.protocol.seed_of(YIELD_STREAM))
    around = float(fits.joint.variances.filter(regex="^(?!site:(?!block|volunteer))").clip(lower=0).sum())
    in_grams = MeanDraws(*(from_power(part, scale.chosen, around) for part in (drawn.average, drawn.garden)))
    field = replace(case.field, yields=in_grams.divided(case.heads))
    gains = field.yields.average - field.yields.average[:, [field.current]]
    limits = simultaneous_limits(gains, field.current, case.thresholds.confidence)
    comparisons = tuple(
        Comparison(
            treatment,
            difference=float(gains[:, i].mean()),
            se=float(gains[:, i].std()),
            df=df,
            lower=float(limits[0, i]),
            upper=float(limits[1, i]),
            p=math.nan,  # draws have an interval only
        )
        for i, treatment in enumerate(field.treatments)
        if i != field.current
    )
    days = answers["days"].result.comparisons
    return judge(field, case.worth, case.thresholds, comparisons, days, case.evidence)


def _judged(
    trial: Trial, treatments: pd.DataFrame, answers: Mapping[str, Answered], losses: Losses
) -> tuple[Decision, Case] | NoDecision:
    """Judge once, on the scale as it is."""
    yields, days = answers[YIELD], answers["days"]
    if yields.fits is None:
        return NoDecision("yields_not_analysed")
    labels = [label for label in treatments.index if label in yields.fits.joint.model.fixed.factors["treatment"]]
    if current_label(trial, treatments) not in labels:
        return NoDecision("no_practice_record")
    if not _enough(yields):
        return NoDecision("too_small", _df(yields))
    candidates = treatments.loc[labels]
    field = _field(trial, candidates, treatments, answers, losses)
    solution = trial.solution.merge(trial.layout[["bucket", "acidifier"]], on="bucket")
    assert isinstance(yields.fits.joint, MixedFit)  # only days are seen between visits
    case = Case(
        field=field,
        worth=worth(trial.protocol, trial.products, solution, candidates, field.current, field.days is not None),
        thresholds=thresholds_of(trial.protocol.decision),
        evidence=Evidence(
            yields.rows["bucket"].nunique(),
            yields.rows["site"].nunique(),
            tuple(season for season in (trial.protocol.trial.season,) if season),
            confounded=bool(yields.model and yields.model.confounded),
            unrecorded=_treatments(treatments.drop(index=labels)),
        ),
        labels=tuple(labels),
        fit=yields.fits.joint,
        rows=yields.fits.rows,
        heads=trial.protocol.bucket.heads,
    )
    comparisons = _a_head(yields.result.comparisons, case.heads)
    decision = judge(field, case.worth, case.thresholds, comparisons, days.result.comparisons, case.evidence)
    return decision, case


def current_label(trial: Trial, treatments: pd.DataFrame) -> str:
    """Joint label of the current practice."""
    practice = trial.protocol.practice.among(treatments.columns)
    return str(treatments.index[_treatments(treatments).index(practice)])


def _a_head(comparisons: Sequence[Comparison], heads: int) -> tuple[Comparison, ...]:
    """Comparisons of buckets in grams a transplanted head."""
    names = ("difference", "se", "lower", "upper")
    return tuple(replace(row, **{name: getattr(row, name) / heads for name in names}) for row in comparisons)


def _field(
    trial: Trial,
    candidates: pd.DataFrame,
    treatments: pd.DataFrame,
    answers: Mapping[str, Answered],
    losses: Losses,
) -> CandidateField:
    """Draw what each candidate would give."""
    by_label = dict(zip(treatments.index, losses.by_treatment, strict=True))
    rows = [by_label[label] for label in candidates.index]
    current = list(candidates.index).index(current_label(trial, treatments))
    unrecorded = [row.heads.unrecorded / row.heads.planned for row in rows]
    return CandidateField(
        treatments=_treatments(candidates),
        current=current,
        yields=_mean_draws(trial, answers[YIELD], candidates, YIELD_STREAM).divided(trial.protocol.bucket.heads),
        days=_days_draws(trial, answers["days"], candidates),
        usable=tuple(row.share_usable or 0.0 for row in rows),
        unrecorded=tuple(unrecorded),
        buckets=_bucket_counts(answers[YIELD], candidates),
        eligible=tuple(abs(u - unrecorded[current]) <= WORRYING_DIFFERENCE + ROUNDING for u in unrecorded),
    )


def _bucket_counts(yields: Answered, candidates: pd.DataFrame) -> tuple[int, ...]:
    """Buckets of each candidate that have a record."""
    counts = yields.rows.groupby("treatment", observed=True)["bucket"].nunique()
    return tuple(int(counts[label]) for label in candidates.index)


def _days_draws(trial: Trial, days: Answered, candidates: pd.DataFrame) -> MeanDraws | None:
    """Draw days to harvest where waiting costs something; None where they are not known for every candidate."""
    if days.fits is None or not trial.protocol.decision.delay_cost_per_day:
        return None
    if not set(candidates.index) <= set(days.fits.joint.model.fixed.factors["treatment"]) or not _enough(days):
        return None
    return _mean_draws(trial, days, candidates, DAYS_STREAM)


def _mean_draws(trial: Trial, answered: Answered, candidates: pd.DataFrame, stream: int) -> MeanDraws:
    assert answered.fits is not None
    return draw_means(answered.fits.joint, candidates, _df(answered), trial.protocol.seed_of(stream))


def _enough(answered: Answered) -> bool:
    return _df(answered) >= FEWEST_DF - ROUNDING


def _df(answered: Answered) -> float:
    """Smallest degrees of freedom of a difference from the current practice."""
    comparisons: Sequence[Comparison] = answered.result.comparisons
    return min((comparison.df for comparison in comparisons), default=0.0)


def _treatments(frame: pd.DataFrame) -> tuple[Treatment, ...]:
    return tuple(Treatment.of(row) for row in frame.to_dict("records"))
