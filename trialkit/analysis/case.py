"""What a trial puts before the decision: candidates, their draws, what they cost, how far the evidence reaches."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from trialkit.analysis.decision import Field, judge, simultaneous_limits
from trialkit.analysis.decision_words import Evidence, thresholds_of
from trialkit.analysis.diagnostics import from_power, to_power
from trialkit.analysis.draws import MeanDraws, draw_means
from trialkit.analysis.fitting import fit_response
from trialkit.analysis.influence import Case, influence
from trialkit.analysis.losses import WORRYING_DIFFERENCE
from trialkit.analysis.response import Answered
from trialkit.analysis.worth import worth
from trialkit.analysis.yields import YIELD
from trialkit.documents.findings import Comparison, Decision, Influence, Losses
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.rounding import ROUNDING
from trialkit.domain.treatment import Treatment
from trialkit.mixed import MixedFit, MixedModelError
from trialkit.rules.check import Trial
from trialkit.words.phrases import VERDICT_WORDS
from trialkit.words.treatments import treatment_words

# Streams of the protocol's seed; the layout is stream 0, an example's records stream 2.
YIELD_STREAM, DAYS_STREAM, DOSE_STREAM, RIPENING_STREAM, CHECKS_STREAM = 1, 3, 4, 5, 6
FEWEST_DF = 2.0
"""Three gardens and two treatments have two; averages over draws of a t with fewer do not settle."""


def decide(
    trial: Trial,
    treatments: pd.DataFrame,
    answers: Mapping[str, Answered],
    losses: Losses,
    without: Callable[[str], Answered],
) -> Decision | str:
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
    if isinstance(judged, str):
        return judged
    decision, case = judged

    def again(bucket: str) -> Decision | None:
        found = _judged(trial, treatments, {**answers, YIELD: without(bucket)}, losses)
        return None if isinstance(found, str) else found[0]

    other = _on_better_scale(trial, answers, case)
    if other is None or (other.verdict, other.recommended) == (decision.verdict, decision.recommended):
        found = influence(case, decision, again)
        return replace(decision, influence=found, cautions=tuple(_cautions(losses, answers[YIELD], found)))
    scale = (
        f"The weights of buckets are so lopsided that this was decided on another scale than grams; in grams the "
        f"verdict would be “{VERDICT_WORDS[decision.verdict]}”, with {treatment_words(decision.recommended)}."
    )
    # What single buckets do is reckoned in grams, and would speak of a decision that was not taken.
    return replace(other, cautions=(scale, *_cautions(losses, answers[YIELD], None)))


CAUTIONED = ("missing", "residuals", "shape", "spread", "outlier")
"""Checks of the yields that, where they fail, are said beside the answer."""


def _cautions(losses: Losses, yields: Answered, found: Influence | None) -> Iterator[str]:
    """What is said beside the answer: whatever could well turn it."""
    if losses.warning:
        yield losses.warning
    if found is not None and not found.ok:
        yield found.statement
    for check in yields.result.checks:
        if check.id in CAUTIONED and not check.ok:
            yield f"{check.finding} {check.consequence}"


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
    drawn = draw_means(fits.joint, candidates, df, seed_of(trial, YIELD_STREAM))
    around = float(fits.joint.variances.filter(regex="^(?!site:(?!block|volunteer))").clip(lower=0).sum())
    average, garden = (from_power(part, scale.chosen, around) / case.heads for part in (drawn.average, drawn.garden))
    field = replace(case.field, yields=MeanDraws(average, garden))
    gains = average - average[:, [field.current]]
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
) -> tuple[Decision, Case] | str:
    """Judge once, on the scale as it is."""
    yields, days = answers[YIELD], answers["days"]
    if yields.fits is None:
        return f"The weight of buckets was not analysed. {yields.result.reason}"
    labels = [label for label in treatments.index if label in yields.fits.joint.model.fixed.factors["treatment"]]
    if current_label(trial, treatments) not in labels:
        return "There is no record of the current practice, so there is nothing to compare the others with."
    if not _enough(yields):
        return (
            f"The trial is too small: a difference from the current practice has only {_df(yields):.1f} degrees of "
            f"freedom for error, and its chances cannot be reckoned from fewer than {FEWEST_DF:g}."
        )
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
            trial.protocol.trial.season,
            bool(yields.model and yields.model.confounded),
            _treatments(treatments.drop(index=labels)),
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
    practice = trial.protocol.decision.current_practice
    names = {FACTOR_COLUMNS[factor]: level for factor, level in practice.items()}
    matches = (treatments == pd.Series({c: names[c] for c in treatments.columns})).all(axis=1)
    return str(treatments.index[matches][0])


def _a_head(comparisons: Sequence[Comparison], heads: int) -> tuple[Comparison, ...]:
    """Comparisons of buckets in grams a planted head."""
    names = ("difference", "se", "lower", "upper")
    return tuple(replace(row, **{name: getattr(row, name) / heads for name in names}) for row in comparisons)


def _field(
    trial: Trial,
    candidates: pd.DataFrame,
    treatments: pd.DataFrame,
    answers: Mapping[str, Answered],
    losses: Losses,
) -> Field:
    """Draw what each candidate would give."""
    by_label = dict(zip(treatments.index, losses.by_treatment, strict=True))
    rows = [by_label[label] for label in candidates.index]
    current = list(candidates.index).index(current_label(trial, treatments))
    unrecorded = [row.heads.unrecorded / row.heads.planned for row in rows]
    yields = _mean_draws(trial, answers[YIELD], candidates, YIELD_STREAM)
    heads = trial.protocol.bucket.heads
    return Field(
        treatments=_treatments(candidates),
        current=current,
        yields=MeanDraws(yields.average / heads, yields.garden / heads),
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
    return draw_means(answered.fits.joint, candidates, _df(answered), seed_of(trial, stream))


def _enough(answered: Answered) -> bool:
    return _df(answered) >= FEWEST_DF - ROUNDING


def _df(answered: Answered) -> float:
    """Smallest degrees of freedom of a difference from the current practice."""
    comparisons: Sequence[Comparison] = answered.result.comparisons
    return min((comparison.df for comparison in comparisons), default=0.0)


def seed_of(trial: Trial, stream: int) -> int:
    """Seed of one stream of draws, from the protocol's."""
    return int(np.random.SeedSequence([trial.protocol.seed, stream]).generate_state(1, np.uint64)[0])


def _treatments(frame: pd.DataFrame) -> tuple[Treatment, ...]:
    return tuple(Treatment.of(row) for row in frame.to_dict("records"))
