"""What became of the heads, by treatment and by garden."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from trialkit._percent import in_percent
from trialkit.analysis.answer import HeadCounts, Losses, SiteLosses, Treatment, TreatmentLosses

LOST = ("dead", "bolted", "missing")
WORRYING_DIFFERENCE = 0.2
"""A fifth of the heads (common practice, no source)."""


def count_losses(layout: pd.DataFrame, heads: pd.DataFrame, heads_per_bucket: int, treatments: pd.DataFrame) -> Losses:
    """Count planned, harvested and lost heads.

    Parameters
    ----------
    layout : pandas.DataFrame
        One row a bucket, with site and the joint ``treatment``.
    heads : pandas.DataFrame
        One row a recorded head, with site, ``treatment``, ``outcome`` and ``marketable`` (missing where not said).
    heads_per_bucket : int
    treatments : pandas.DataFrame
        Combinations by joint label.
    """
    by_treatment = tuple(
        TreatmentLosses(_treatment(treatments, label), counts, share_usable(counts))
        for label in treatments.index
        for counts in [_counts(layout, heads, heads_per_bucket, "treatment", label)]
    )
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
        statement=_statement(by_treatment, by_site, total),
    )


def share_usable(heads: HeadCounts) -> float | None:
    """Share of the recorded heads that came to the table: harvested, and not marked unmarketable."""
    recorded = heads.planned - heads.unrecorded
    return (heads.harvested - heads.unmarketable) / recorded if recorded else None


def _counts(layout: pd.DataFrame, heads: pd.DataFrame, per_bucket: int, column: str, level: str) -> HeadCounts:
    """Count the heads of one level."""
    here = heads[heads[column] == level]
    planned = int((layout[column] == level).sum()) * per_bucket
    harvested = here["outcome"] == "harvested"
    return HeadCounts(
        planned=planned,
        harvested=int(harvested.sum()),
        lost=int(here["outcome"].isin(LOST).sum()),
        not_ready=int((here["outcome"] == "not_ready").sum()),
        unrecorded=max(planned - len(here), 0),
        unmarketable=int((harvested & here["marketable"].eq(False).fillna(False).astype(bool)).sum()),
    )


def _total(counts: Sequence[HeadCounts]) -> HeadCounts:
    return HeadCounts(**{name: sum(getattr(one, name) for one in counts) for name in HeadCounts.__dataclass_fields__})


def _treatment(treatments: pd.DataFrame, label: str) -> Treatment:
    return {str(column): value for column, value in treatments.loc[label].items()}


def _statement(by_treatment: Sequence[TreatmentLosses], by_site: Sequence[SiteLosses], total: HeadCounts) -> str:
    """Say what became of every planned head, and warn where that differs between treatments or gardens."""
    parts = [f"{total.harvested} of {total.planned} planned heads were harvested", f"{total.lost} lost"]
    parts += [f"{total.not_ready} not ready at the end"] * bool(total.not_ready)
    parts += [f"{total.unrecorded} not recorded"] * bool(total.unrecorded)
    sentences = [", ".join(parts) + "."]
    if total.unmarketable:
        sentences.append(f"{total.unmarketable} of those harvested were not marketable.")
    low, high = _range(by_treatment)
    if high - low > WORRYING_DIFFERENCE:
        sentences.append(
            f"Between treatments, from {in_percent(low)} to {in_percent(high)} of the recorded heads came to the "
            "table: weights are of "
            "the heads that were cut, and the verdict counts the others as nothing."
        )
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
