"""What would be recommended if the records were read otherwise: by what was really done, or unknown fates as losses.

The answer itself goes by what was randomised, so that no choice of a gardener's decides under which treatment a bucket
counts (intention to treat: Hollis & Campbell 1999, BMJ 319, 670-674).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Annotated

import pandas as pd

from trialkit.advice.gathering import BucketRecords
from trialkit.analysis.advising import Advice, Choice, choose, is_near
from trialkit.analysis.bucket_records import nitrogen_per_tsp, records_of
from trialkit.documents.decision import Decision, NoDecision, OtherReading, ReadingCode
from trialkit.documents.departures import Departure, DepartureKind
from trialkit.domain.factors import FACTOR_COLUMNS
from trialkit.domain.treatment import Level
from trialkit.domain.units import quarter_spoons
from trialkit.rules.trial_folder import CheckedTrial

FARTHEST_STRENGTH = 2.0
"""A bucket of more than so many times the greatest strength tried, or of less than the least by as much, is none of the
trial's treatments: it would draw the dose curve by itself (common practice, no source)."""

NAMED: tuple[tuple[DepartureKind, str], ...] = (("cultivar", "cultivar"), ("acid", "acidifier"))


@dataclass(frozen=True)
class Applied:
    """Buckets by what was really done."""

    buckets: Annotated[pd.DataFrame, "Those that got a treatment of the trial's kind, under that."]
    moved: Annotated[int, "How many count under another strength, cultivar or acid than assigned."]
    left_out: Annotated[int, "How many got what the trial did not try, or got it out of time."]


def as_applied(
    buckets: pd.DataFrame,
    departures: Sequence[Departure],
    tried: Mapping[str, Sequence[Level]],
    n_per_tsp: float,
) -> Applied:
    """Put buckets under what was done to them.

    Parameters
    ----------
    buckets : pandas.DataFrame
        With ``bucket``, ``cultivar``, ``dose_tsp``, ``n_mg_l``, ``acidifier``.
    departures : sequence of Departure
    tried : mapping of str to levels
        By column, of the factors that were varied.
    n_per_tsp : float
        Nitrogen that a level teaspoon brings to a full bucket, mg/L; missing where it is not known.
    """
    found = buckets.set_index("bucket", drop=False)
    left_out, moved = [], 0
    for bucket, own in groupby(sorted(departures, key=lambda one: one.bucket), lambda one: one.bucket):
        if bucket not in found.index:
            continue
        by_kind = {one.kind: one for one in own}
        levels = _levels(by_kind, tried, float(found.at[bucket, "dose_tsp"]))
        if levels is None:
            left_out.append(bucket)
            continue
        if "dose_tsp" in levels:
            levels["n_mg_l"] = round(float(levels["dose_tsp"]) * n_per_tsp, 3)
        changed = any(found.at[bucket, column] != level for column, level in levels.items())
        for column, level in levels.items():
            found.at[bucket, column] = level
        moved += changed
    return Applied(found.drop(index=left_out).reset_index(drop=True), moved, len(left_out))


def _levels(
    by_kind: Mapping[DepartureKind, Departure], tried: Mapping[str, Sequence[Level]], dose_tsp: float
) -> dict[str, Level] | None:
    """Levels that a bucket really had, of those that were other than assigned; None where the trial tried no such."""
    if "transplanting" in by_kind or "mixing" in by_kind:
        return None
    levels: dict[str, Level] = {}
    for kind, column in NAMED:
        if kind in by_kind:
            applied = by_kind[kind].applied
            if applied is None or applied not in tried.get(column, ()):
                return None
            levels[column] = applied
    doses = [float(dose) for dose in tried.get("dose_tsp", ())]
    if not doses:
        return None if "dose" in by_kind else levels
    if "dose" not in by_kind and "volume" not in by_kind:
        return levels
    strength = _number(by_kind["dose"].applied) if "dose" in by_kind else dose_tsp
    if "volume" in by_kind:
        strength *= _number(by_kind["volume"].assigned) / _number(by_kind["volume"].applied)
        strength = quarter_spoons(strength) if strength > 0 else strength
    if not min(doses) / FARTHEST_STRENGTH <= strength <= max(doses) * FARTHEST_STRENGTH:
        return None
    return {**levels, "dose_tsp": strength}


def _number(level: Level | None) -> float:
    assert isinstance(level, float)  # amounts are always known: a departure is seen by them
    return level


def if_all_lost(records: BucketRecords) -> BucketRecords:
    """Take every head without a record for one that was lost; what heads weigh and their days stay as they are."""
    return replace(records, buckets=records.buckets.assign(recorded=records.buckets["planned"]))


def other_readings(
    trial: CheckedTrial,
    records: BucketRecords,
    assigned: pd.DataFrame,
    advice: Advice,
    departures: Sequence[Departure],
) -> Iterator[OtherReading]:
    """Ask the decision's question of the records as they could be read otherwise.

    Parameters
    ----------
    trial : CheckedTrial
    records : BucketRecords
        Those that the decision rests on.
    assigned : pandas.DataFrame
        Their buckets, as `bucket_records` gives them.
    advice : Advice
        With the decision.
    departures : sequence of Departure
    """
    decision, question = advice.decision, advice.asked.question
    varied = trial.protocol.varied_factors
    tried = {FACTOR_COLUMNS[name]: trial.protocol.factors[name].levels for name in varied}
    applied = as_applied(assigned, departures, tried, nitrogen_per_tsp(trial))
    if applied.moved or applied.left_out:
        dose = records.buckets["dose"].dropna()
        within = (float(dose.min()), float(dose.max())) if len(dose) else None
        found = choose(records_of(trial, applied.buckets, records.gardens), replace(question, within=within))
        yield _reading("as_applied", decision, found, applied.moved, applied.left_out)
    unknown = int((assigned["planned"] - assigned["recorded"]).clip(lower=0).sum())
    if unknown:
        lost = replace(records, buckets=records.buckets.assign(recorded=records.buckets["planned"]))
        # Where every bucket has some record, the same buckets tell of weights: the model of these is the one at hand.
        weights = advice.weights if (records.buckets["recorded"] > 0).all() else None
        yield _reading("all_lost", decision, choose(lost, question, weights), unknown)


def _reading(
    code: ReadingCode, decision: Decision, found: Choice | NoDecision, concerned: int, left_out: int = 0
) -> OtherReading:
    if isinstance(found, NoDecision):
        return OtherReading(code, None, None, False, None, concerned, left_out)
    same = is_near(found.treatment, decision.recommended)
    return OtherReading(code, found.treatment, found.verdict, same, found.probability_near_best, concerned, left_out)
