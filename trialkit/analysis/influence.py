"""What single buckets do to the decision: each left out in turn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trialkit.analysis.decision import CandidateField, Prospects, choose, simultaneous_limits, value_of
from trialkit.analysis.draws import MeanDraws
from trialkit.analysis.worth import Worth
from trialkit.documents.findings import Choice, Decision, Evidence, Influence, Thresholds, Verdict, WithoutBucket
from trialkit.domain.rounding import TIE_DECIMALS
from trialkit.mixed import MixedFit
from trialkit.mixed.means import mean_rows

FloatArray = NDArray[np.float64]

DRAWS = 2_500
"""Of each half of the draws, which mirror one another; enough to find the buckets worth a closer look."""
MOST_REFITS, FARTHEST = 6, 2


@dataclass(frozen=True)
class Case:
    """What the decision rests on, to be weighed again.

    Attributes
    ----------
    field : CandidateField
    worth : Worth
    thresholds : Thresholds
    evidence : Evidence
    labels : tuple of str
        Joint labels of the field's treatments.
    fit : MixedFit
        Of the yields, one row a bucket, with a joint ``treatment``.
    rows : pandas.DataFrame
        Those rows: bucket, site and the treatment columns.
    heads : int
        Planted in a bucket.
    """

    field: CandidateField
    worth: Worth
    thresholds: Thresholds
    evidence: Evidence
    labels: tuple[str, ...]
    fit: MixedFit
    rows: pd.DataFrame
    heads: int


def shifts_without(fit: MixedFit, labels: tuple[str, ...]) -> tuple[FloatArray, FloatArray]:
    """Change of the treatments' means when one row is left out, variances as they are, and how far each row lies off.

    Returns
    -------
    shifts : ndarray, shape (rows, treatments)
        In units of the response; missing where the row alone determines a treatment.
    off : ndarray, shape (rows,)
        Residual against all other rows, ``(Py)_i / sqrt(P_ii)``, in standard deviations.
    """
    asked = mean_rows(fit.model, "treatment")
    at = [[str(level[0]) for level in asked.levels].index(label) for label in labels]
    shifts = fit.leave_one_out().to_numpy() @ asked.rows[at][:, fit.model.fixed.kept].T
    known = np.isfinite(shifts).all(1)
    return shifts, np.where(known, fit.residuals()["standardised"], 0.0)


def influence(case: Case, decision: Decision, without: Callable[[str], Choice | None]) -> Influence:
    """Leave out each bucket in turn.

    Variances and draws stay as they are, the means move; where that changes verdict or recommendation the trial is
    analysed again without the bucket, for the few that matter most. So it is without the buckets that lie farthest
    off: they may turn the verdict by the variance that they add, which the means do not show.

    Parameters
    ----------
    case : Case
    decision : Decision
        With all buckets.
    without : callable
        What an analysis without the bucket named decides; None where it cannot.
    """
    field, few = case.field, _fewer(case)
    shifts, off = shifts_without(case.fit, case.labels)
    moved = shifts / case.heads
    other = next((i for i, t in enumerate(field.treatments) if t == decision.alternative), field.current)
    means = field.yields.average.mean(0)
    base, *after = _choices_after(np.vstack([np.zeros(len(case.labels)), moved]), few, case)
    changed = [i for i, choice in enumerate(after) if np.isfinite(moved[i]).all() and choice != base]
    towards = np.nan_to_num(moved[:, other] - moved[:, field.current])
    size = np.abs(towards).round(TIE_DECIMALS)
    changed.sort(key=lambda i: -size[i])
    farthest = [int(i) for i in np.argsort(-np.abs(off).round(TIE_DECIMALS), kind="stable")[:FARTHEST]]
    again = {i: without(str(case.rows["bucket"].iloc[i])) for i in dict.fromkeys([*changed[:MOST_REFITS], *farthest])}
    names = zip(*(case.rows[column] for column in ("bucket", "site", "treatment")), strict=True)
    buckets = tuple(
        _without(case, one, float(means[other] - means[field.current] + towards[i]), again.get(i), decision)
        for i, one in enumerate(names)
    )
    return Influence(
        difference=float(means[other] - means[field.current]),
        buckets=buckets,
        more=len(changed) > MOST_REFITS,
        ok=not any(one.choice and one.choice.verdict != decision.verdict for one in buckets),
    )


@dataclass(frozen=True)
class _Few:
    """Some of the draws, each with its mirror image, on the scale of value, and the lower limits of the gains.

    Attributes
    ----------
    expected, lower : ndarray, shape (candidates,)
    gain : ndarray, shape (draws, candidates)
        In a new garden, in order of size for each candidate.
    """

    expected: FloatArray
    gain: FloatArray
    lower: FloatArray


def _fewer(case: Case) -> _Few:
    field, worth = case.field, case.worth
    half = len(field.yields.average) // 2
    kept = np.r_[:DRAWS, half : half + DRAWS]
    days = None if field.days is None else MeanDraws(field.days.average[kept], field.days.garden[kept])
    average = value_of(field.yields.average[kept], None if days is None else days.average, worth)
    garden = value_of(field.yields.garden[kept], None if days is None else days.garden, worth)
    lower = simultaneous_limits(average - average[:, [field.current]], field.current, case.thresholds.confidence)[0]
    return _Few(average.mean(0), np.sort(garden - garden[:, [field.current]], axis=0), lower)


def _choices_after(shifts: FloatArray, few: _Few, case: Case) -> list[tuple[int, Verdict]]:
    """What is chosen where the means move by each of the shifts, (n, candidates), and the gains' limits with them."""
    field, per_gram, thresholds = case.field, case.worth.per_gram, case.thresholds
    gained = (shifts - shifts[:, [field.current]]) * per_gram
    draws, margin, alike = len(few.gain), thresholds.margin_g * per_gram, thresholds.equivalence_margin_g * per_gram

    def share_below(limits: FloatArray, side: Literal["left", "right"]) -> FloatArray:
        columns = [few.gain[:, c].searchsorted(limits[:, c], side) for c in range(limits.shape[1])]
        return np.asarray(np.column_stack(columns) / draws)

    better = 1 - share_below(margin - gained, "right")
    within = share_below(alike - gained, "left") - share_below(-alike - gained, "right")
    eligible, sure = np.array(field.eligible), thresholds.adopt_probability
    every = zip(few.expected + shifts * per_gram, better, np.maximum(within, 0.0), few.lower + gained > 0, strict=True)
    return [choose(Prospects(*one), eligible, case.worth, field.current, sure) for one in every]


def _without(
    case: Case, row: tuple[str, str, str], difference: float, again: Choice | None, decision: Decision
) -> WithoutBucket:
    bucket, site, label = map(str, row)
    return WithoutBucket(
        bucket=bucket,
        site=site,
        treatment=case.field.treatments[case.labels.index(label)],
        difference=difference,
        choice=None if again == decision.choice else again,
    )
