"""What became of the heads, by treatment and by garden."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from trialkit._percent import in_percent
from trialkit.documents.findings import (
    FactorLosses,
    FactorShare,
    HeadCounts,
    Interval,
    Losses,
    SiteLosses,
    TreatmentLosses,
)
from trialkit.domain.heads import LOST, is_harvested, is_usable
from trialkit.domain.treatment import Treatment
from trialkit.stats.shares import (
    Share,
    compare_shares,
    difference_with_limits,
    factor_counts,
    overdispersion,
    share_with_limits,
    usable_heads,
)
from trialkit.words.phrases import p_value
from trialkit.words.treatments import level_words

WORRYING_DIFFERENCE = 0.2
"""A fifth of the heads (common practice, no source)."""
DIFFER_P = 0.05


def count_losses(
    layout: pd.DataFrame,
    heads: pd.DataFrame,
    heads_per_bucket: int,
    treatments: pd.DataFrame,
    current: str,
    confidence: float,
) -> Losses:
    """Count planned, harvested and lost heads, and compare the shares that came to the table.

    Parameters
    ----------
    layout : pandas.DataFrame
        One row a bucket, with site and the joint ``treatment``.
    heads : pandas.DataFrame
        One row a recorded head, with site, ``treatment``, ``outcome`` and ``marketable`` (missing where not said).
    heads_per_bucket : int
    treatments : pandas.DataFrame
        Combinations by joint label.
    current : str
        Joint label of the current practice.
    confidence : float
    """
    buckets = usable_heads(heads, ["treatment", *treatments.columns])
    design_effect = overdispersion(buckets)
    counted = {
        label: _counts(layout, heads, heads_per_bucket, "treatment", label) for label in map(str, treatments.index)
    }
    by_treatment = tuple(
        TreatmentLosses(
            _treatment(treatments, label),
            counts,
            share_usable(counts),
            _interval(share_with_limits(*_usable(counts), design_effect, confidence)),
            None
            if label == current
            else _interval(
                difference_with_limits(_usable(counts), _usable(counted[current]), design_effect, confidence)
            ),
        )
        for label, counts in counted.items()
    )
    by_factor = tuple(_factor_losses(buckets, str(column), design_effect, confidence) for column in treatments.columns)
    warning = _warning(by_treatment, by_factor)
    by_site = tuple(
        SiteLosses(site, counts, share_usable(counts))
        for site in sorted(layout["site"].unique())
        for counts in [_counts(layout, heads, heads_per_bucket, "site", site)]
    )
    outcomes = heads["outcome"].value_counts()
    by_outcome = {outcome: int(outcomes.get(outcome, 0)) for outcome in LOST}
    total = _total([row.heads for row in by_site])
    return Losses(
        heads=total,
        recorded=len(heads),
        **by_outcome,
        by_treatment=by_treatment,
        by_site=by_site,
        by_factor=by_factor,
        design_effect=design_effect,
        warning=warning,
        statement=_statement(by_site, total, warning),
    )


def _usable(heads: HeadCounts) -> tuple[int, int]:
    """Heads that came to the table, and those with a record."""
    return heads.harvested - heads.unmarketable, heads.planned - heads.unrecorded


def _interval(share: Share | None) -> Interval | None:
    return None if share is None else Interval(share.share, share.lower, share.upper)


def _factor_losses(buckets: pd.DataFrame, column: str, design_effect: float, confidence: float) -> FactorLosses:
    rows = list(factor_counts(buckets, column))
    shares = [(level, int(n), share_with_limits(x, n, design_effect, confidence)) for level, x, n in rows]
    test = compare_shares(np.array([x for _, x, _ in rows]), np.array([n for _, _, n in rows]), design_effect)
    return FactorLosses(
        column,
        tuple(
            FactorShare(
                float(level) if isinstance(level, float) else str(level), n, Interval(s.share, s.lower, s.upper)
            )
            for level, n, s in shares
            if s is not None
        ),
        test.chi_square,
        test.df,
        test.p,
    )


def _warning(by_treatment: Sequence[TreatmentLosses], by_factor: Sequence[FactorLosses]) -> str | None:
    """Warn where losses differ by treatment: weights of the survivors alone would then mislead."""
    sentences = []
    for factor in by_factor:
        if factor.p is None or factor.p >= DIFFER_P:
            continue
        worst = min(factor.levels, key=lambda level: level.usable.estimate)
        best = max(factor.levels, key=lambda level: level.usable.estimate)
        sentences.append(
            f"Losses differ by {factor.column.removesuffix('_tsp')} ({p_value(factor.p)}): "
            f"{in_percent(worst.usable.estimate)} of the recorded heads came to the table with "
            f"{level_words(factor.column, worst.level)}, {in_percent(best.usable.estimate)} with "
            f"{level_words(factor.column, best.level)}."
        )
    low, high = _range(by_treatment)
    if not sentences and high - low > WORRYING_DIFFERENCE:
        sentences.append(
            f"Between treatments, from {in_percent(low)} to {in_percent(high)} of the recorded heads came to the "
            "table, which may be chance."
        )
    if not sentences:
        return None
    sentences.append(
        "Weights and days are of the heads that were harvested, so trust the marketable weight a bucket instead: there "
        "a lost head counts as nothing."
    )
    return " ".join(sentences)


def share_usable(heads: HeadCounts) -> float | None:
    """Share of the recorded heads that came to the table: harvested, and not marked unmarketable."""
    recorded = heads.planned - heads.unrecorded
    return (heads.harvested - heads.unmarketable) / recorded if recorded else None


def _counts(layout: pd.DataFrame, heads: pd.DataFrame, per_bucket: int, column: str, level: str) -> HeadCounts:
    """Count the heads of one level."""
    here = heads[heads[column] == level]
    planned = int((layout[column] == level).sum()) * per_bucket
    harvested = is_harvested(here)
    return HeadCounts(
        planned=planned,
        harvested=int(harvested.sum()),
        lost=int(here["outcome"].isin(LOST).sum()),
        not_ready=int((here["outcome"] == "not_ready").sum()),
        unrecorded=max(planned - len(here), 0),
        unmarketable=int((harvested & ~is_usable(here)).sum()),
    )


def _total(counts: Sequence[HeadCounts]) -> HeadCounts:
    return HeadCounts(**{name: sum(getattr(one, name) for one in counts) for name in HeadCounts.__dataclass_fields__})


def _treatment(treatments: pd.DataFrame, label: str) -> Treatment:
    return Treatment.of(treatments.loc[label])


def _statement(by_site: Sequence[SiteLosses], total: HeadCounts, warning: str | None) -> str:
    """Say what became of every planned head, and warn where that differs between treatments or gardens."""
    parts = [f"{total.harvested} of {total.planned} planned heads were harvested", f"{total.lost} lost"]
    parts += [f"{total.not_ready} not ready at the end"] * bool(total.not_ready)
    parts += [f"{total.unrecorded} not recorded"] * bool(total.unrecorded)
    sentences = [", ".join(parts) + "."]
    if total.unmarketable:
        sentences.append(f"{total.unmarketable} of those harvested were not marketable.")
    sentences += [warning] if warning else []
    low, high = _range(by_site)
    if high - low > WORRYING_DIFFERENCE:
        worst = min(by_site, key=lambda row: 1.0 if row.share_usable is None else row.share_usable)
        sentences.append(f"Gardens differ: at {worst.site}, {in_percent(low)} of the recorded heads came to the table.")
    if total.planned and total.unrecorded / total.planned > WORRYING_DIFFERENCE:
        sentences.append("Many heads have no record yet: the answer is that of an unfinished trial.")
    return " ".join(sentences)


def _range(rows: Sequence[TreatmentLosses | SiteLosses]) -> tuple[float, float]:
    shares = [row.share_usable for row in rows if row.share_usable is not None] or [0.0]
    return min(shares), max(shares)
