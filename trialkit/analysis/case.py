"""What a trial puts before the decision: candidates, their draws, what they cost, how far the evidence reaches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from trialkit.analysis.answer import Comparison, Decision, Losses, Treatment
from trialkit.analysis.decision import Field, judge
from trialkit.analysis.decision_words import Evidence, Thresholds
from trialkit.analysis.draws import MeanDraws, draw_means, draw_shares
from trialkit.analysis.losses import WORRYING_DIFFERENCE
from trialkit.analysis.response import Answered
from trialkit.analysis.worth import worth
from trialkit.trial.check import Trial
from trialkit.trial.protocol import FACTOR_COLUMNS

# Streams of the protocol's seed; the layout is stream 0, an example's records stream 2.
WEIGHT_STREAM, DAYS_STREAM, SHARES_STREAM = 1, 3, 4
FEWEST_DF = 2.0
"""Three gardens and two treatments have two; averages over draws of a t with fewer do not settle."""
ROUNDING = 1e-6


def decide(
    trial: Trial, treatments: pd.DataFrame, heads: pd.DataFrame, answers: Mapping[str, Answered], losses: Losses
) -> Decision | str:
    """Judge the candidates that were weighed, or say why none can be judged.

    Parameters
    ----------
    trial : Trial
    treatments : pandas.DataFrame
        Combinations by joint label.
    heads : pandas.DataFrame
        One row a recorded head, with bucket, the joint ``treatment``, ``outcome`` and ``marketable``.
    answers : mapping of str to Answered
        Of ``weight_g`` and ``days``.
    losses : Losses
    """
    weight, days = answers["weight_g"], answers["days"]
    if weight.fits is None:
        return f"Head weight was not analysed. {weight.result.reason}"
    labels = [label for label in treatments.index if label in weight.fits.joint.model.fixed.factors["treatment"]]
    if current_label(trial, treatments) not in labels:
        return "No head of the current practice was weighed, so there is nothing to compare the others with."
    if not _enough(weight):
        return (
            f"The trial is too small: a difference from the current practice has only {_df(weight):.1f} degrees of "
            f"freedom for error, and its chances cannot be reckoned from fewer than {FEWEST_DF:g}."
        )
    candidates = treatments.loc[labels]
    field = _field(trial, candidates, treatments, heads, answers, losses)
    solution = trial.solution.merge(trial.layout[["bucket", "acidifier"]], on="bucket")
    return judge(
        field,
        worth(trial.protocol, trial.products, solution, candidates, field.current, field.days is not None),
        _thresholds(trial),
        weight.result.comparisons,
        days.result.comparisons,
        Evidence(
            weight.rows["bucket"].nunique(),
            weight.rows["site"].nunique(),
            trial.protocol.trial.season,
            bool(weight.model and weight.model.confounded),
            _treatments(treatments.drop(index=labels)),
        ),
    )


def current_label(trial: Trial, treatments: pd.DataFrame) -> str:
    """Joint label of the current practice."""
    practice = trial.protocol.decision.current_practice
    names = {FACTOR_COLUMNS[factor]: level for factor, level in practice.items()}
    matches = (treatments == pd.Series({c: names[c] for c in treatments.columns})).all(axis=1)
    return str(treatments.index[matches][0])


def _field(
    trial: Trial,
    candidates: pd.DataFrame,
    treatments: pd.DataFrame,
    heads: pd.DataFrame,
    answers: Mapping[str, Answered],
    losses: Losses,
) -> Field:
    """Draw what each candidate would give."""
    by_label = dict(zip(treatments.index, losses.by_treatment, strict=True))
    rows = [by_label[label] for label in candidates.index]
    current = list(candidates.index).index(current_label(trial, treatments))
    unrecorded = [row.heads.unrecorded / row.heads.planned for row in rows]
    return Field(
        treatments=_treatments(candidates),
        current=current,
        weights=_mean_draws(trial, answers["weight_g"], candidates, WEIGHT_STREAM),
        shares=draw_shares(usable_heads(heads), list(candidates.index), _seed(trial, SHARES_STREAM)),
        days=_days_draws(trial, answers["days"], candidates),
        usable=tuple(row.share_usable or 0.0 for row in rows),
        unrecorded=tuple(unrecorded),
        eligible=tuple(abs(u - unrecorded[current]) <= WORRYING_DIFFERENCE + ROUNDING for u in unrecorded),
    )


def usable_heads(heads: pd.DataFrame) -> pd.DataFrame:
    """Count the heads of each bucket that have a record and, of these, those that came to the table."""
    unmarketable = heads["marketable"].eq(False).fillna(False).astype(bool)
    usable = (heads["outcome"] == "harvested") & ~unmarketable
    grouped = heads.assign(usable=usable.astype(int)).groupby(["bucket", "treatment"], observed=True)["usable"]
    return grouped.agg(usable="sum", recorded="size").reset_index()


def _days_draws(trial: Trial, days: Answered, candidates: pd.DataFrame) -> MeanDraws | None:
    """Draw days to harvest where waiting costs something; None where they are not known for every candidate."""
    if days.fits is None or not trial.protocol.decision.delay_cost_per_day:
        return None
    if not set(candidates.index) <= set(days.fits.joint.model.fixed.factors["treatment"]) or not _enough(days):
        return None
    return _mean_draws(trial, days, candidates, DAYS_STREAM)


def _mean_draws(trial: Trial, answered: Answered, candidates: pd.DataFrame, stream: int) -> MeanDraws:
    assert answered.fits is not None
    return draw_means(answered.fits.joint, candidates, _df(answered), _seed(trial, stream))


def _enough(answered: Answered) -> bool:
    return _df(answered) >= FEWEST_DF - ROUNDING


def _df(answered: Answered) -> float:
    """Smallest degrees of freedom of a difference from the current practice."""
    comparisons: Sequence[Comparison] = answered.result.comparisons
    return min((comparison.df for comparison in comparisons), default=0.0)


def _seed(trial: Trial, stream: int) -> int:
    return int(np.random.SeedSequence([trial.protocol.seed, stream]).generate_state(1, np.uint64)[0])


def _treatments(frame: pd.DataFrame) -> tuple[Treatment, ...]:
    return tuple({str(column): value for column, value in row.items()} for row in frame.to_dict("records"))


def _thresholds(trial: Trial) -> Thresholds:
    decision = trial.protocol.decision
    return Thresholds(
        margin_g=decision.margin_g,
        equivalence_margin_g=decision.equivalence_margin_g,
        adopt_probability=decision.adopt_probability,
        confidence=decision.confidence,
        price_per_kg=decision.price_per_kg,
        cost_per_bucket=decision.cost_per_bucket,
        delay_cost_per_day=decision.delay_cost_per_day,
    )
